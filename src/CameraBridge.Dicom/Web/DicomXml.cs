using System.Buffers;
using System.Globalization;
using System.Text;
using System.Text.Json;
using System.Xml;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Part10;

namespace CameraBridge.Dicom.Web;

/// <summary>
/// Reads the Native DICOM Model (PS3.19 section A.1, edition 2024d), the XML that some servers answer with (application/dicom+xml). The JSON model is derived from
/// it member by member (PS3.18 section F.2), so each element is rewritten as that and read by the one reader for both. Private attributes, which the model
/// names without their block, are passed over: no answer needs them. No document type, no entities, no links.
/// </summary>
public static class DicomXml
{
    /// <summary>A sequence is two elements of XML: its attribute and the item.</summary>
    private const int LevelsPerSequence = 2;

    /// <summary>Reads one document, a data set.</summary>
    /// <param name="utf8">The document, in UTF-8 or as its declaration says; how long it may be is for the caller to limit.</param>
    /// <param name="limits">What it may cost; the default when null.</param>
    /// <param name="findings">Takes what was forgiven; positions are 0.</param>
    /// <exception cref="MalformedException">It is no XML, or no data set of the model.</exception>
    public static DataSet Read(ReadOnlyMemory<byte> utf8, ReadLimits? limits = null, ICollection<ReadFinding>? findings = null)
    {
        limits ??= ReadLimits.Default;
        var settings = new XmlReaderSettings
        {
            DtdProcessing = DtdProcessing.Prohibit,
            XmlResolver = null,
            IgnoreComments = true,
            IgnoreProcessingInstructions = true,
            MaxCharactersInDocument = Math.Max(1, utf8.Length),
        };
        utf8 = WithoutFaultyDeclaration(utf8);
        var json = new ArrayBufferWriter<byte>();
        try
        {
            using (var reader = XmlReader.Create(new MemoryStream(utf8.ToArray(), writable: false), settings))
            using (var writer = new Utf8JsonWriter(json))
            {
                if (reader.MoveToContent() != XmlNodeType.Element || reader.LocalName != "NativeDicomModel")
                {
                    throw Malformed("the document is no NativeDicomModel");
                }

                new Rewriting(reader, writer, (limits.MaxDepth + 1) * LevelsPerSequence).Item();
                while (reader.Read())
                {
                    // To the end, so that a torn or doubled document is seen.
                }
            }
        }
        catch (XmlException broken)
        {
            throw new MalformedException(0, "", "the text is no XML (XML 1.0), or has a document type, which nothing here needs", broken);
        }
        catch (Exception broken) when (broken is InvalidOperationException or ArgumentException)
        {
            // What Utf8JsonWriter says of text that is no Unicode, or of a member out of place.
            throw new MalformedException(0, "", "the text is no Unicode, or its elements are out of place (PS3.19 section A.1.6)", broken);
        }

        IReadOnlyList<DataSet> read = DicomJson.ReadArray(json.WrittenMemory, null, limits, findings);
        return read.Count == 1 ? read[0] : throw Malformed("the document holds no data set");
    }

    /// <summary>An XML declaration with xml:space in it, as an example of the standard has it (PS3.19 section A.1, from memory), is no XML; the document is UTF-8 then.</summary>
    private static ReadOnlyMemory<byte> WithoutFaultyDeclaration(ReadOnlyMemory<byte> utf8)
    {
        const int LongestDeclaration = 200;
        ReadOnlySpan<byte> head = utf8.Span[..Math.Min(utf8.Length, LongestDeclaration)];
        int end = head.StartsWith("<?xml "u8) ? head.IndexOf("?>"u8) : -1;
        return end > 0 && head[..end].IndexOf("xml:space"u8) > 0 ? utf8[(end + 2)..] : utf8;
    }

    private static MalformedException Malformed(string rule) => new(0, "", rule + " (PS3.19 section A.1.6)");

    /// <summary>One document on its way to JSON. Names are compared without their namespace, which servers forget.</summary>
    private sealed class Rewriting(XmlReader reader, Utf8JsonWriter writer, int maxDepth)
    {
        /// <summary>The element that the reader stands on holds DicomAttribute elements: one JSON object.</summary>
        public void Item()
        {
            if (reader.Depth > maxDepth)
            {
                throw Malformed($"sequences are nested deeper than {nameof(ReadLimits)}.{nameof(ReadLimits.MaxDepth)}");
            }

            writer.WriteStartObject();
            ForEachChild(name =>
            {
                if (name == "DicomAttribute" && reader.GetAttribute("privateCreator") is null)
                {
                    Attribute();
                }
                else
                {
                    reader.Skip();
                }
            });
            writer.WriteEndObject();
        }

        private void Attribute()
        {
            writer.WriteStartObject(reader.GetAttribute("tag") ?? "");
            if (reader.GetAttribute("vr") is { } vr)
            {
                writer.WriteString("vr", vr);
            }

            // What holds the value decides; a second kind in the same attribute is passed over.
            string? kind = null;
            int next = 1;
            ForEachChild(name =>
            {
                if (name is "Item" or "Value" or "PersonName" or "InlineBinary" or "BulkData")
                {
                    kind ??= name;
                }

                if (kind != name)
                {
                    reader.Skip();
                    return;
                }

                switch (name)
                {
                    case "Item" or "Value" or "PersonName":
                        if (next == 1)
                        {
                            writer.WriteStartArray("Value");
                        }

                        FillTo(ref next, name);
                        Value(name);
                        break;
                    case "InlineBinary" when next++ == 1:
                        writer.WriteString("InlineBinary", Text().Trim());
                        break;
                    case "BulkData" when next++ == 1:
                        writer.WriteString("BulkDataURI", reader.GetAttribute("uri") ?? reader.GetAttribute("uuid") ?? "");
                        reader.Skip();
                        break;
                    default:
                        reader.Skip();
                        break;
                }
            });
            if (kind is "Item" or "Value" or "PersonName")
            {
                writer.WriteEndArray();
            }

            writer.WriteEndObject();
        }

        /// <summary>Values are numbered from 1; what is empty may be left out (PS3.19 Table A.1.5-2) and is null in JSON.</summary>
        private void FillTo(ref int next, string name)
        {
            const int MaxGap = 10;
            int number = int.TryParse(reader.GetAttribute("number"), CultureInfo.InvariantCulture, out int given) && given >= next && given - next <= MaxGap ? given : next;
            for (; next < number && name != "Item"; next++)
            {
                writer.WriteNullValue();
            }

            next = number + 1;
        }

        private void Value(string name)
        {
            switch (name)
            {
                case "Item":
                    Item();
                    break;
                case "PersonName":
                    writer.WriteStartObject();
                    var groups = new HashSet<string>(StringComparer.Ordinal);
                    ForEachChild(group =>
                    {
                        if (group is "Alphabetic" or "Ideographic" or "Phonetic" && groups.Add(group))
                        {
                            writer.WriteString(group, NameGroup());
                        }
                        else
                        {
                            reader.Skip();
                        }
                    });
                    writer.WriteEndObject();
                    break;
                default:
                    writer.WriteStringValue(Text());
                    break;
            }
        }

        private string NameGroup()
        {
            string[] components = ["FamilyName", "GivenName", "MiddleName", "NamePrefix", "NameSuffix"];
            string[] parts = ["", "", "", "", ""];
            ForEachChild(component =>
            {
                int at = Array.IndexOf(components, component);
                if (at >= 0)
                {
                    parts[at] = Text();
                }
                else
                {
                    reader.Skip();
                }
            });
            return string.Join('^', parts).TrimEnd('^');
        }

        /// <summary>The text of the element that the reader stands on, which is then behind it; elements inside it are passed over.</summary>
        private string Text()
        {
            var text = new StringBuilder();
            bool empty = reader.IsEmptyElement;
            reader.Read();
            while (!empty && reader.NodeType != XmlNodeType.EndElement)
            {
                if (reader.NodeType == XmlNodeType.Element)
                {
                    reader.Skip();
                }
                else
                {
                    text.Append(reader.Value);
                    Next();
                }
            }

            if (!empty)
            {
                reader.Read();
            }

            return text.ToString();
        }

        /// <summary>Leads the reader over the children of its element, and then behind it. Each visit leaves the reader behind its child.</summary>
        private void ForEachChild(Action<string> visit)
        {
            bool empty = reader.IsEmptyElement;
            reader.Read();
            while (!empty && reader.NodeType != XmlNodeType.EndElement)
            {
                if (reader.NodeType == XmlNodeType.Element)
                {
                    visit(reader.LocalName);
                }
                else
                {
                    Next();
                }
            }

            if (!empty)
            {
                reader.Read();
            }
        }

        private void Next()
        {
            if (!reader.Read())
            {
                throw Malformed("the document ends within an element");
            }
        }
    }
}
