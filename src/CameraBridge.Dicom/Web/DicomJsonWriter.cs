using System.Globalization;
using System.Text.Json;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;

namespace CameraBridge.Dicom.Web;

/// <summary>Writes the DICOM JSON model (PS3.18 sections F.2.2 to F.2.6, edition 2025e).</summary>
internal sealed class DicomJsonWriter(Utf8JsonWriter writer, Func<Element, string?>? bulkDataUri)
{
    /// <summary>Largest whole number that every JSON reader keeps: 2 to the 53rd (RFC 8259 section 6). SV and UV beyond it are written as text.</summary>
    private const long LargestExact = 1L << 53;

    public void Write(DataSet dataSet)
    {
        writer.WriteStartObject();
        foreach (Element element in dataSet)
        {
            if (element.Tag.IsGroupLength)
            {
                continue;
            }

            writer.WriteStartObject(Digits(element.Tag));
            writer.WriteString("vr"u8, element.Vr.ToString());
            if (element.Tag == Tags.SpecificCharacterSet)
            {
                writer.WriteStartArray("Value"u8);
                writer.WriteStringValue("ISO_IR 192"u8);
                writer.WriteEndArray();
            }
            else if (!element.IsEmpty)
            {
                WriteContent(dataSet, element);
            }

            writer.WriteEndObject();
        }

        writer.WriteEndObject();
    }

    private static string Digits(Tag tag) => tag.Value.ToString("X8", CultureInfo.InvariantCulture);

    private void WriteContent(DataSet dataSet, Element element)
    {
        if (element.Items is { } items)
        {
            writer.WriteStartArray("Value"u8);
            foreach (DataSet item in items)
            {
                Write(item);
            }

            writer.WriteEndArray();
            return;
        }

        if (element.Vr is Vr.OB or Vr.OD or Vr.OF or Vr.OL or Vr.OV or Vr.OW or Vr.UN or Vr.None || element.Pixels is not null)
        {
            WriteBytes(element);
            return;
        }

        writer.WriteStartArray("Value"u8);
        switch (element.Vr)
        {
            case Vr.PN:
                WriteNames(dataSet.GetStrings(element.Tag));
                break;
            case Vr.DS or Vr.IS:
                WriteDecimals(dataSet.GetStrings(element.Tag));
                break;
            case Vr.AT:
                foreach (Tag tag in dataSet.GetTags(element.Tag))
                {
                    writer.WriteStringValue(Digits(tag));
                }

                break;
            case Vr.FL or Vr.FD:
                WriteFloats(dataSet.GetDoubles(element.Tag), element.Vr == Vr.FL);
                break;
            case Vr.UV:
                foreach (ulong value in dataSet.GetUInt64s(element.Tag))
                {
                    WriteWhole(value, value <= LargestExact);
                }

                break;
            case Vr.SL or Vr.SS or Vr.SV or Vr.UL or Vr.US:
                foreach (long value in dataSet.GetInt64s(element.Tag))
                {
                    WriteWhole(value, value is >= -LargestExact and <= LargestExact);
                }

                break;
            default:
                WriteTexts(dataSet.GetStrings(element.Tag));
                break;
        }

        writer.WriteEndArray();
    }

    private void WriteBytes(Element element)
    {
        if (bulkDataUri?.Invoke(element) is { } uri)
        {
            writer.WriteString("BulkDataURI"u8, uri);
        }
        else if (element.Encapsulated is not null)
        {
            throw new ArgumentException($"{element.Tag} is encapsulated and needs a bulk data URI (PS3.18 F.2.6).");
        }
        else if (element.Pixels is { } pixels)
        {
            byte[] bytes = new byte[pixels.Length];
            using Stream stream = pixels.OpenRead();
            stream.ReadExactly(bytes);
            writer.WriteBase64String("InlineBinary"u8, bytes);
        }
        else
        {
            writer.WriteBase64String("InlineBinary"u8, element.Value.Span);
        }
    }

    /// <summary>An empty value among others is null (PS3.18 section F.2.5).</summary>
    private void WriteTexts(IReadOnlyList<string> values)
    {
        foreach (string value in values)
        {
            if (value.Length == 0)
            {
                writer.WriteNullValue();
            }
            else
            {
                writer.WriteStringValue(value);
            }
        }
    }

    private void WriteNames(IReadOnlyList<string> values)
    {
        ReadOnlySpan<string> groups = ["Alphabetic", "Ideographic", "Phonetic"];
        foreach (string value in values)
        {
            if (value.Length == 0)
            {
                writer.WriteNullValue();
                continue;
            }

            writer.WriteStartObject();
            string[] spellings = value.Split('=', groups.Length);
            for (int group = 0; group < spellings.Length; group++)
            {
                if (spellings[group].Length > 0)
                {
                    writer.WriteString(groups[group], spellings[group]);
                }
            }

            writer.WriteEndObject();
        }
    }

    /// <summary>DS and IS with their digits as they are; what is no number goes out as the text it is.</summary>
    private void WriteDecimals(IReadOnlyList<string> values)
    {
        const NumberStyles Form = NumberStyles.AllowLeadingSign | NumberStyles.AllowDecimalPoint | NumberStyles.AllowExponent;
        foreach (string value in values)
        {
            if (value.Length == 0)
            {
                writer.WriteNullValue();
            }
            else if (!value.Contains('E', StringComparison.OrdinalIgnoreCase) && decimal.TryParse(value, Form, CultureInfo.InvariantCulture, out decimal exact))
            {
                writer.WriteNumberValue(exact);
            }
            else if (double.TryParse(value, Form, CultureInfo.InvariantCulture, out double number) && double.IsFinite(number))
            {
                writer.WriteNumberValue(number);
            }
            else
            {
                writer.WriteStringValue(value);
            }
        }
    }

    /// <summary>JSON has no infinities and no NaN; they are written as text, which readers of numbers here and elsewhere take.</summary>
    private void WriteFloats(IReadOnlyList<double> values, bool isSingle)
    {
        foreach (double value in values)
        {
            if (!double.IsFinite(value))
            {
                writer.WriteStringValue(value.ToString(CultureInfo.InvariantCulture));
            }
            else if (isSingle)
            {
                writer.WriteNumberValue((float)value);
            }
            else
            {
                writer.WriteNumberValue(value);
            }
        }
    }

    private void WriteWhole(decimal value, bool isExact)
    {
        if (isExact)
        {
            writer.WriteNumberValue(value);
        }
        else
        {
            writer.WriteStringValue(value.ToString(CultureInfo.InvariantCulture));
        }
    }
}
