using System.Globalization;
using System.Numerics;
using System.Runtime.InteropServices;
using CameraBridge.Dicom.Dictionary;

namespace CameraBridge.Dicom.Data;

/// <content>
/// Tolerant reading of typed values: what is absent, empty or malformed is null or left out, and nothing throws. Numbers are read from the text of DS
/// and IS as well as from binary representations. An element that came as UN is read as the dictionary says.
/// </content>
public sealed partial class DataSet
{
    private const NumberStyles DecimalForm = NumberStyles.AllowLeadingSign | NumberStyles.AllowDecimalPoint | NumberStyles.AllowExponent;

    /// <summary>The first value as text without its padding, or the whole of LT, ST, UT and UR; null when absent or empty.</summary>
    public string? GetString(Tag tag) => GetStrings(tag) is [{ Length: > 0 } first, ..] ? first : null;

    /// <summary>
    /// All values as text, each without the spaces that do not count; numbers in invariant form. Empty values between others stay, as empty
    /// strings. Empty when the element is absent, empty, a sequence or bytes.
    /// </summary>
    public IReadOnlyList<string> GetStrings(Tag tag)
    {
        if (!TryFind(tag, out Element? element) || element.Value.IsEmpty)
        {
            return [];
        }

        Vr vr = ReadAs(element);
        if (!vr.IsText())
        {
            return vr switch
            {
                Vr.FL => [.. Units<float>(element).Select(value => value.ToString("R", CultureInfo.InvariantCulture))],
                Vr.FD => [.. Units<double>(element).Select(value => value.ToString("R", CultureInfo.InvariantCulture))],
                Vr.AT => [.. GetTags(tag).Select(value => value.ToString())],
                Vr.US or Vr.SS or Vr.UL or Vr.SL or Vr.UV or Vr.SV =>
                    [.. Integers(element, vr).Select(value => value.ToString(CultureInfo.InvariantCulture))],
                _ => [],
            };
        }

        string text = CharacterSet.Decode(element.Value.Span, vr, out bool _);
        if (vr.IsSingleText())
        {
            string trimmed = text.TrimEnd(' ', '\0');
            return trimmed.Length == 0 ? [] : [trimmed];
        }

        string[] values = text.Split('\\');
        for (int at = 0; at < values.Length; at++)
        {
            values[at] = vr is Vr.UC ? values[at].TrimEnd(' ', '\0') : values[at].Trim(' ', '\0');
        }

        return values is [""] ? [] : values;
    }

    /// <summary>The first value as a whole number; null when it is none, or does not fit.</summary>
    public int? GetInt32(Tag tag) => GetInt32s(tag) is [var first, ..] ? first : null;

    /// <summary>All values as whole numbers; empty when any is none or does not fit.</summary>
    public IReadOnlyList<int> GetInt32s(Tag tag) =>
        GetInt64s(tag) is var values && values.All(value => value is >= int.MinValue and <= int.MaxValue) ? [.. values.Select(value => (int)value)] : [];

    /// <summary>The first value as a whole number; null when it is none, or does not fit.</summary>
    public long? GetInt64(Tag tag) => GetInt64s(tag) is [var first, ..] ? first : null;

    /// <summary>All values as whole numbers, also the bytes, words and longs of OB, OW, OL and OV; empty when any is none or does not fit.</summary>
    public IReadOnlyList<long> GetInt64s(Tag tag)
    {
        IReadOnlyList<BigInteger> values = GetIntegers(tag);
        return values.All(value => value >= long.MinValue && value <= long.MaxValue) ? [.. values.Select(value => (long)value)] : [];
    }

    /// <summary>All values as whole numbers of 64 bits without sign (UV); empty when any is none or negative.</summary>
    public IReadOnlyList<ulong> GetUInt64s(Tag tag)
    {
        IReadOnlyList<BigInteger> values = GetIntegers(tag);
        return values.All(value => value >= 0 && value <= ulong.MaxValue) ? [.. values.Select(value => (ulong)value)] : [];
    }

    /// <summary>The first value as a number; null when it is none.</summary>
    public double? GetDouble(Tag tag) => GetDoubles(tag) is [var first, ..] ? first : null;

    /// <summary>All values as numbers, also those of OF and OD; empty when any is none.</summary>
    public IReadOnlyList<double> GetDoubles(Tag tag)
    {
        if (!TryFind(tag, out Element? element))
        {
            return [];
        }

        switch (ReadAs(element))
        {
            case Vr.FL or Vr.OF:
                return [.. Units<float>(element).Select(value => (double)value)];
            case Vr.FD or Vr.OD:
                return Units<double>(element);
            case Vr.DS:
                var values = new List<double>();
                foreach (string text in GetStrings(tag))
                {
                    if (!double.TryParse(text, DecimalForm, CultureInfo.InvariantCulture, out double value))
                    {
                        return [];
                    }

                    values.Add(value);
                }

                return values;
            default:
                return [.. GetIntegers(tag).Select(value => (double)value)];
        }
    }

    /// <summary>The first value as a decimal number, for DS exactly as it was written; null when it is none or does not fit.</summary>
    public decimal? GetDecimal(Tag tag)
    {
        if (!TryFind(tag, out Element? element))
        {
            return null;
        }

        if (ReadAs(element) is Vr.DS or Vr.IS)
        {
            return decimal.TryParse(GetString(tag), DecimalForm, CultureInfo.InvariantCulture, out decimal value) ? value : null;
        }

        return GetDouble(tag) is { } number && Math.Abs(number) < 7.9e28 ? (decimal)number : null;
    }

    /// <summary>The first value as a name; null when absent or empty.</summary>
    public PersonName? GetPersonName(Tag tag) => GetString(tag) is { } text && PersonName.Parse(text) is { IsEmpty: false } name ? name : null;

    /// <summary>The first value as a date, of DA or the day of a DT; null when it is none.</summary>
    public DateOnly? GetDate(Tag tag)
    {
        string? text = GetString(tag);
        return DicomDateTime.TryParseDate(text, out DateOnly date) ? date
            : DicomDateTime.TryParse(text, out DicomDateTime moment) && moment.Day is not null ? DateOnly.FromDateTime(moment.Earliest)
            : null;
    }

    /// <summary>The first value as a time of day, of TM; null when it is none.</summary>
    public DicomTime? GetTime(Tag tag) => DicomTime.TryParse(GetString(tag), out DicomTime time) ? time : null;

    /// <summary>The first value as a moment, of DT; null when it is none.</summary>
    public DicomDateTime? GetDateTime(Tag tag) => DicomDateTime.TryParse(GetString(tag), out DicomDateTime moment) ? moment : null;

    /// <summary>The moment of a pair of DA and TM, such as Content Date and Content Time; null without a date, midnight without a time.</summary>
    public DateTime? GetDateTime(Tag date, Tag time) =>
        GetDate(date) is { } day ? day.ToDateTime(GetTime(time)?.Earliest ?? TimeOnly.MinValue) : null;

    /// <summary>All values as tags, of AT; empty when there are none.</summary>
    public IReadOnlyList<Tag> GetTags(Tag tag)
    {
        ushort[] halves = TryFind(tag, out Element? element) && ReadAs(element) == Vr.AT ? Units<ushort>(element) : [];
        return [.. halves.Chunk(2).Where(pair => pair.Length == 2).Select(pair => new Tag(pair[0], pair[1]))];
    }

    /// <summary>The value field in little endian, padding included; empty when absent, a sequence or streamed.</summary>
    public ReadOnlyMemory<byte> GetBytes(Tag tag) => TryFind(tag, out Element? element) ? element.Value : default;

    /// <summary>The items of a sequence; empty when there are none.</summary>
    public IReadOnlyList<DataSet> GetItems(Tag tag) => TryFind(tag, out Element? element) ? element.Items ?? [] : [];

    /// <summary>The first item of a sequence, or null.</summary>
    public DataSet? GetItem(Tag tag) => GetItems(tag) is [var first, ..] ? first : null;

    /// <summary>True when the element is there and has a value, an item or a pixel.</summary>
    public bool HasValue(Tag tag) => TryFind(tag, out Element? element) && !element.IsEmpty;

    /// <summary>How an element is read: as it says, or for UN as the dictionary says, or else as text.</summary>
    private static Vr ReadAs(Element element)
    {
        if (element.Vr != Vr.UN)
        {
            return element.Vr;
        }

        return element.Tag.IsPrivateCreator ? Vr.LO : TagDictionary.Find(element.Tag)?.Vr is { } vr and not (Vr.None or Vr.SQ) ? vr : Vr.LO;
    }

    /// <summary>The value field as numbers; bytes that are too few for another one at the end are left out.</summary>
    private static T[] Units<T>(Element element)
        where T : unmanaged
    {
        // The value is little endian; so is every machine that .NET 10 runs on but s390x, where the bytes of each unit are turned.
        T[] units = MemoryMarshal.Cast<byte, T>(element.Value.Span).ToArray();
        if (!BitConverter.IsLittleEndian)
        {
            Span<byte> bytes = MemoryMarshal.AsBytes(units.AsSpan());
            int size = bytes.Length / Math.Max(units.Length, 1);
            for (int at = 0; at < bytes.Length; at += size)
            {
                bytes.Slice(at, size).Reverse();
            }
        }

        return units;
    }

    private static BigInteger[] Integers(Element element, Vr vr) => vr switch
    {
        Vr.OB => [.. Units<byte>(element).Select(value => (BigInteger)value)],
        Vr.US or Vr.OW => [.. Units<ushort>(element).Select(value => (BigInteger)value)],
        Vr.SS => [.. Units<short>(element).Select(value => (BigInteger)value)],
        Vr.UL or Vr.OL => [.. Units<uint>(element).Select(value => (BigInteger)value)],
        Vr.SL => [.. Units<int>(element).Select(value => (BigInteger)value)],
        Vr.UV or Vr.OV => [.. Units<ulong>(element).Select(value => (BigInteger)value)],
        Vr.SV => [.. Units<long>(element).Select(value => (BigInteger)value)],
        _ => [],
    };

    private IReadOnlyList<BigInteger> GetIntegers(Tag tag)
    {
        if (!TryFind(tag, out Element? element))
        {
            return [];
        }

        Vr vr = ReadAs(element);
        if (vr == Vr.AT)
        {
            return [.. GetTags(tag).Select(value => (BigInteger)value.Value)];
        }

        if (!vr.IsText())
        {
            return Integers(element, vr);
        }

        var values = new List<BigInteger>();
        foreach (string text in GetStrings(tag))
        {
            // Peers write "1.0" in IS and "5" in DS; a fraction that is not zero is no whole number.
            if (!decimal.TryParse(text, DecimalForm, CultureInfo.InvariantCulture, out decimal value) || decimal.Truncate(value) != value)
            {
                return [];
            }

            values.Add((BigInteger)value);
        }

        return values;
    }
}
