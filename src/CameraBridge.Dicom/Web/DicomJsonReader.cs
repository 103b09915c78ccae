using System.Buffers.Binary;
using System.Globalization;
using System.Numerics;
using System.Text;
using System.Text.Json;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Part10;

namespace CameraBridge.Dicom.Web;

/// <summary>Reads the DICOM JSON model (PS3.18 sections F.2.2 to F.2.6, edition 2025e), tolerant of what servers make of it.</summary>
internal sealed class DicomJsonReader(Func<Tag, Vr, string, PixelSource?>? bulkData, ReadLimits limits, ICollection<ReadFinding>? findings)
{
    private const int MaxFindings = 100;
    private const int DecimalStringLength = 16;

    private readonly List<Tag> path = [];
    private int elementCount;
    private bool goesBeyondAscii;

    public DataSet ReadDataSet(JsonElement json)
    {
        goesBeyondAscii = false;
        elementCount = 0;
        DataSet dataSet;
        try
        {
            dataSet = ReadItem(json);
        }
        catch (InvalidOperationException broken)
        {
            // What System.Text.Json says of half a surrogate pair, when the string is asked for.
            throw new MalformedException(0, PathText(), "a JSON string is no Unicode text (RFC 8259 section 8.2)", broken);
        }

        // The text of JSON is Unicode, whatever the server copied into (0008,0005).
        if (goesBeyondAscii || dataSet.Contains(Tags.SpecificCharacterSet))
        {
            dataSet.Put(Element.FromBytes(Tags.SpecificCharacterSet, Vr.CS, "ISO_IR 192"u8.ToArray()));
        }

        dataSet.ResolveCharacterSets();
        return dataSet;
    }

    private DataSet ReadItem(JsonElement json)
    {
        if (json.ValueKind != JsonValueKind.Object)
        {
            throw Malformed("a data set is a JSON object (PS3.18 F.2.2)");
        }

        // Sorted by a tree: members may come in any order, which costs nothing but must not cost much either.
        var elements = new SortedDictionary<uint, Element>();
        foreach (JsonProperty property in json.EnumerateObject())
        {
            if (!Tag.TryParse(property.Name, out Tag tag))
            {
                Find("a member's name is no tag of eight hexadecimal digits (PS3.18 F.2.2); left out");
                continue;
            }

            if (++elementCount > limits.MaxElements)
            {
                throw Malformed($"more elements than {nameof(ReadLimits)}.{nameof(ReadLimits.MaxElements)} = {limits.MaxElements}");
            }

            path.Add(tag);
            if (!(tag == Tags.SpecificCharacterSet && path.Count > 1) && !tag.IsGroupLength)
            {
                elements[tag.Value] = ReadElement(tag, property.Value);
            }

            path.RemoveAt(path.Count - 1);
        }

        var dataSet = new DataSet();
        foreach (Element element in elements.Values)
        {
            dataSet.Put(element);
        }

        return dataSet;
    }

    private Element ReadElement(Tag tag, JsonElement attribute)
    {
        if (attribute.ValueKind != JsonValueKind.Object)
        {
            throw Malformed("an attribute is a JSON object (PS3.18 F.2.2)");
        }

        Vr vr = ReadVr(tag, attribute);
        if (attribute.TryGetProperty("InlineBinary"u8, out JsonElement inline))
        {
            return inline.ValueKind == JsonValueKind.String && inline.TryGetBytesFromBase64(out byte[]? bytes)
                ? FromBytes(tag, vr, bytes)
                : throw Malformed("InlineBinary is not base64 (PS3.18 F.2.6)");
        }

        if (attribute.TryGetProperty("BulkDataURI"u8, out JsonElement uri))
        {
            if (uri.ValueKind == JsonValueKind.String && bulkData?.Invoke(tag, vr, uri.GetString()!) is { } source)
            {
                return Element.FromPixels(tag, vr, source);
            }

            Find("the bytes behind BulkDataURI were not fetched; left empty");
            return FromBytes(tag, vr, []);
        }

        if (!attribute.TryGetProperty("Value"u8, out JsonElement values) || values.ValueKind == JsonValueKind.Null)
        {
            return vr == Vr.SQ ? Element.FromItems(tag) : FromBytes(tag, vr, []);
        }

        if (values.ValueKind != JsonValueKind.Array)
        {
            throw Malformed("Value is a JSON array (PS3.18 F.2.4)");
        }

        if (vr == Vr.SQ)
        {
            if (path.Count > limits.MaxDepth)
            {
                throw Malformed($"sequences are nested deeper than {nameof(ReadLimits)}.{nameof(ReadLimits.MaxDepth)} = {limits.MaxDepth}");
            }

            // An empty item may come as null.
            return Element.FromItems(tag, [.. values.EnumerateArray().Select(item => item.ValueKind == JsonValueKind.Null ? new DataSet() : ReadItem(item))]);
        }

        return vr.IsText() ? ReadText(tag, vr, values) : ReadNumbers(tag, vr, values);
    }

    private Vr ReadVr(Tag tag, JsonElement attribute)
    {
        if (attribute.TryGetProperty("vr"u8, out JsonElement text) && text.ValueKind == JsonValueKind.String
            && text.GetString() is { Length: 2 } letters && (Vr)((letters[0] << 8) | letters[1]) is var vr && vr.IsKnown())
        {
            return vr;
        }

        Find("no known value representation (PS3.18 F.2.3); taken from the dictionary");
        return TagDictionary.VrOf(tag);
    }

    private static Element FromBytes(Tag tag, Vr vr, byte[] bytes) =>
        tag == Tags.PixelData ? Element.FromPixels(tag, vr, PixelSource.FromBytes(bytes)) : Element.FromBytes(tag, vr, bytes);

    private Element ReadText(Tag tag, Vr vr, JsonElement values)
    {
        string joined = string.Join('\\', values.EnumerateArray().Select(value => TextOf(vr, value)));
        goesBeyondAscii |= !Ascii.IsValid(joined);
        return Element.FromBytes(tag, vr, Encoding.UTF8.GetBytes(joined));
    }

    private string TextOf(Vr vr, JsonElement value) => (value.ValueKind, vr) switch
    {
        (JsonValueKind.Null, _) => "",
        (JsonValueKind.String, _) => value.GetString()!,
        (JsonValueKind.Number, Vr.DS) when value.GetRawText().Length > DecimalStringLength && value.TryGetDouble(out double number)
            && double.IsFinite(number) => DecimalText.Format(number),
        (JsonValueKind.Number, Vr.IS) when value.TryGetDecimal(out decimal number) && decimal.Truncate(number) == number =>
            decimal.Truncate(number).ToString("F0", CultureInfo.InvariantCulture),
        (JsonValueKind.Number, _) => value.GetRawText(),
        (JsonValueKind.Object, Vr.PN) => NameOf(value),
        _ => throw Malformed($"a value of {vr} is a JSON string (PS3.18 F.2.3)"),
    };

    private static string NameOf(JsonElement name)
    {
        return string.Join('=', Group("Alphabetic"), Group("Ideographic"), Group("Phonetic")).TrimEnd('=');

        string Group(string spelling) =>
            name.TryGetProperty(spelling, out JsonElement text) && text.ValueKind == JsonValueKind.String ? text.GetString()! : "";
    }

    private Element ReadNumbers(Tag tag, Vr vr, JsonElement values)
    {
        int size = vr == Vr.AT ? 4 : vr.UnitSize();
        byte[] bytes = new byte[values.GetArrayLength() * size];
        int at = 0;
        foreach (JsonElement value in values.EnumerateArray())
        {
            if (value.ValueKind == JsonValueKind.Null)
            {
                // Binary values have no empty one; it is left out.
                Find("a null among binary numbers (PS3.18 F.2.5); left out");
                continue;
            }

            WriteNumber(vr, TextOf(vr, value).Trim(), bytes.AsSpan(at, size));
            at += size;
        }

        return Element.FromBytes(tag, vr, bytes.AsMemory(0, at));
    }

    private void WriteNumber(Vr vr, string text, Span<byte> bytes)
    {
        switch (vr)
        {
            case Vr.AT when Tag.TryParse(text, out Tag tag):
                BinaryPrimitives.WriteUInt16LittleEndian(bytes, tag.Group);
                BinaryPrimitives.WriteUInt16LittleEndian(bytes[2..], tag.Number);
                return;
            case Vr.FL or Vr.OF when TryReadDouble(text, out double number):
                BinaryPrimitives.WriteSingleLittleEndian(bytes, (float)number);
                return;
            case Vr.FD or Vr.OD when TryReadDouble(text, out double number):
                BinaryPrimitives.WriteDoubleLittleEndian(bytes, number);
                return;
            case Vr.SL or Vr.SS or Vr.SV or Vr.UL or Vr.US or Vr.UV when TryReadWhole(text, out BigInteger number) && Fits(number, vr, bytes.Length):
                bytes.Fill(number.Sign < 0 ? (byte)0xFF : (byte)0);
                byte[] little = number.ToByteArray();
                little.AsSpan(0, Math.Min(little.Length, bytes.Length)).CopyTo(bytes);
                return;
            default:
                throw Malformed($"a value is no {vr} (PS3.18 F.2.3)");
        }
    }

    private static bool TryReadDouble(string text, out double number) =>
        double.TryParse(text, NumberStyles.Float, CultureInfo.InvariantCulture, out number);

    private static bool TryReadWhole(string text, out BigInteger number)
    {
        // "1e3" and "5.0" are whole numbers too; the exponent is bounded by decimal, not by what BigInteger would build.
        if (decimal.TryParse(text, NumberStyles.Float, CultureInfo.InvariantCulture, out decimal value) && decimal.Truncate(value) == value)
        {
            number = (BigInteger)value;
            return true;
        }

        number = default;
        return false;
    }

    private static bool Fits(BigInteger number, Vr vr, int size)
    {
        bool isSigned = vr is Vr.SL or Vr.SS or Vr.SV;
        BigInteger span = BigInteger.One << (size * 8);
        return isSigned ? number >= -span / 2 && number < span / 2 : number.Sign >= 0 && number < span;
    }

    private void Find(string rule)
    {
        if (findings is not null && findings.Count < MaxFindings)
        {
            findings.Add(new ReadFinding(0, PathText(), rule));
        }
    }

    private MalformedException Malformed(string rule) => new(0, PathText(), rule);

    private string PathText() => string.Join('.', path);
}
