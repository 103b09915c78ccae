using System.Buffers.Binary;
using System.Globalization;
using System.Numerics;
using System.Text;
using CameraBridge.Dicom.Dictionary;

namespace CameraBridge.Dicom.Data;

/// <content>
/// Strict writing of typed values: what breaks a rule of its representation (<see cref="ValueRules"/>) throws <see cref="ValueException"/> and leaves
/// the data set as it was. The representation is the dictionary's; private elements need the overloads that name one. Values are not padded
/// here, the encoder does that.
/// </content>
public sealed partial class DataSet
{
    /// <summary>One value of text; null or "" is an empty element. A backslash is no delimiter here but a breach, except in LT, ST and UT.</summary>
    /// <exception cref="ValueException">The value breaks a rule, or the tag's representation is not text or not known.</exception>
    public void Set(Tag tag, string? value) => Set(tag, VrOf(tag), value);

    /// <summary>One value of text in a representation of the caller's choice.</summary>
    /// <exception cref="ValueException">The value breaks a rule, or the representation is not text.</exception>
    public void Set(Tag tag, Vr vr, string? value) => SetText(tag, vr, string.IsNullOrEmpty(value) ? [] : [value], ValueRules.Flaw);

    /// <summary>Values of text, in order; none is an empty element.</summary>
    /// <exception cref="ValueException">A value breaks a rule, or the tag's representation is not text, has one value only, or is not known.</exception>
    public void Set(Tag tag, params IEnumerable<string> values) => Set(tag, VrOf(tag), values);

    /// <summary>Values of text in a representation of the caller's choice.</summary>
    /// <exception cref="ValueException">A value breaks a rule, or the representation is not text or has one value only.</exception>
    public void Set(Tag tag, Vr vr, params IEnumerable<string> values)
    {
        ArgumentNullException.ThrowIfNull(values);
        SetText(tag, vr, [.. values], ValueRules.Flaw);
    }

    /// <summary>
    /// A matching key of a query: a value, wildcards, or a range such as "20260101-20260103" (PS3.4 section C.2.2.2, edition 2025e);
    /// null or "" is universal matching.
    /// </summary>
    /// <exception cref="ValueException">The key is none of these.</exception>
    public void SetKey(Tag tag, string? key) => SetText(tag, VrOf(tag), string.IsNullOrEmpty(key) ? [] : [key], ValueRules.FlawOfKey);

    /// <summary>Names, of PN.</summary>
    /// <exception cref="ValueException">A name breaks a rule, or the tag is no PN.</exception>
    public void SetPersonName(Tag tag, params IEnumerable<PersonName> names)
    {
        ArgumentNullException.ThrowIfNull(names);
        Demand(tag, VrOf(tag), Vr.PN);
        Set(tag, Vr.PN, names.Select(name => name.ToString()));
    }

    /// <summary>A date, of DA.</summary>
    /// <exception cref="ValueException">The tag is no DA.</exception>
    public void SetDate(Tag tag, DateOnly date)
    {
        Demand(tag, VrOf(tag), Vr.DA);
        Set(tag, Vr.DA, date.ToString("yyyyMMdd", CultureInfo.InvariantCulture));
    }

    /// <summary>A time of day, of TM, with six fraction digits where it is not a whole second; what is below a microsecond is cut off.</summary>
    /// <exception cref="ValueException">The tag is no TM.</exception>
    public void SetTime(Tag tag, TimeOnly time)
    {
        Demand(tag, VrOf(tag), Vr.TM);
        Set(tag, Vr.TM, DicomTime.From(time).ToString());
    }

    /// <summary>A moment with its zone, of DT.</summary>
    /// <exception cref="ValueException">The tag is no DT.</exception>
    public void SetDateTime(Tag tag, DateTimeOffset moment) => SetDateTime(tag, DicomDateTime.From(moment));

    /// <summary>A moment without a zone, of DT.</summary>
    /// <exception cref="ValueException">The tag is no DT.</exception>
    public void SetDateTime(Tag tag, DateTime moment) => SetDateTime(tag, DicomDateTime.From(moment));

    /// <summary>A moment as precise as it is, of DT.</summary>
    /// <exception cref="ValueException">The tag is no DT.</exception>
    public void SetDateTime(Tag tag, DicomDateTime moment)
    {
        Demand(tag, VrOf(tag), Vr.DT);
        Set(tag, Vr.DT, moment.ToString());
    }

    /// <summary>Whole numbers, of US, SS, UL, SL, UV, SV, AT, IS, DS, or the units of OB, OW, OL and OV.</summary>
    /// <exception cref="ValueException">A number is out of range, or the tag's representation has no whole numbers.</exception>
    public void SetInt(Tag tag, params IEnumerable<long> values) => SetInt(tag, VrOf(tag), values);

    /// <summary>Whole numbers in a representation of the caller's choice.</summary>
    /// <exception cref="ValueException">A number is out of range, or the representation has no whole numbers.</exception>
    public void SetInt(Tag tag, Vr vr, params IEnumerable<long> values)
    {
        ArgumentNullException.ThrowIfNull(values);
        if (vr is Vr.IS or Vr.DS)
        {
            Set(tag, vr, values.Select(value => value.ToString(CultureInfo.InvariantCulture)));
            return;
        }

        SetIntegers(tag, vr, [.. values.Select(value => (BigInteger)value)]);
    }

    /// <summary>Whole numbers without sign up to 64 bits, of UV, or of any representation that <see cref="SetInt(Tag, IEnumerable{long})"/> takes but text.</summary>
    /// <exception cref="ValueException">A number is out of range, or the tag's representation has no whole numbers.</exception>
    public void SetUInt64(Tag tag, params IEnumerable<ulong> values)
    {
        ArgumentNullException.ThrowIfNull(values);
        SetIntegers(tag, VrOf(tag), [.. values.Select(value => (BigInteger)value)]);
    }

    /// <summary>Tags, of AT.</summary>
    /// <exception cref="ValueException">The tag is no AT.</exception>
    public void SetTags(Tag tag, params IEnumerable<Tag> values)
    {
        ArgumentNullException.ThrowIfNull(values);
        Demand(tag, VrOf(tag), Vr.AT);
        SetIntegers(tag, Vr.AT, [.. values.Select(value => (BigInteger)value.Value)]);
    }

    /// <summary>Numbers, of FD, FL, OD, OF, or DS, which keeps as many digits as sixteen bytes hold.</summary>
    /// <exception cref="ValueException">A number does not fit, or the tag's representation has no fractions.</exception>
    public void SetDouble(Tag tag, params IEnumerable<double> values) => SetDouble(tag, VrOf(tag), values);

    /// <summary>Numbers in a representation of the caller's choice.</summary>
    /// <exception cref="ValueException">A number does not fit, or the representation has no fractions.</exception>
    public void SetDouble(Tag tag, Vr vr, params IEnumerable<double> values)
    {
        ArgumentNullException.ThrowIfNull(values);
        double[] numbers = [.. values];
        switch (vr)
        {
            case Vr.DS when numbers.All(double.IsFinite):
                Set(tag, vr, numbers.Select(DecimalText.Format));
                break;
            case Vr.DS:
                throw Breach(tag, "DS has no infinities and no NaN (PS3.5 6.2)");
            case Vr.FD or Vr.OD:
                PutUnits(tag, vr, numbers, BinaryPrimitives.WriteDoubleLittleEndian);
                break;
            case Vr.FL or Vr.OF when numbers.All(number => !double.IsFinite(number) || float.IsFinite((float)number)):
                PutUnits(tag, vr, numbers, (bytes, number) => BinaryPrimitives.WriteSingleLittleEndian(bytes, (float)number));
                break;
            case Vr.FL or Vr.OF:
                throw Breach(tag, $"{vr} holds numbers of 32 bits (PS3.5 6.2)");
            default:
                throw Breach(tag, $"{vr} has no fractions; set it as text or as whole numbers");
        }
    }

    /// <summary>Decimal numbers, of DS: exact where sixteen bytes are enough.</summary>
    /// <exception cref="ValueException">The tag is no DS.</exception>
    public void SetDecimal(Tag tag, params IEnumerable<decimal> values)
    {
        ArgumentNullException.ThrowIfNull(values);
        Demand(tag, VrOf(tag), Vr.DS);
        Set(tag, Vr.DS, values.Select(DecimalText.Format));
    }

    /// <summary>
    /// The items of a sequence, in order. Items that stand in another data set are copied; text beyond ASCII in them becomes UTF-8, as all text
    /// of this data set then does.
    /// </summary>
    /// <exception cref="ValueException">The tag is no SQ.</exception>
    public void SetItems(Tag tag, params IEnumerable<DataSet> items)
    {
        ArgumentNullException.ThrowIfNull(items);
        if (!tag.IsPrivate)
        {
            Demand(tag, VrOf(tag), Vr.SQ);
        }

        Put(Element.FromItems(tag, [.. items]));
        Naturalize(GetItems(tag));
    }

    /// <summary>An empty value, or a sequence without items.</summary>
    /// <exception cref="ValueException">The tag's representation is not known.</exception>
    public void SetEmpty(Tag tag) => SetEmpty(tag, VrOf(tag));

    /// <summary>An empty value in a representation of the caller's choice.</summary>
    public void SetEmpty(Tag tag, Vr vr) => Put(vr == Vr.SQ ? Element.FromItems(tag) : Element.FromBytes(tag, vr, default));

    /// <summary>A value field in little endian, as it is.</summary>
    /// <exception cref="ValueException">The length is no multiple of the unit, or the tag's representation is SQ or not known.</exception>
    public void SetBytes(Tag tag, ReadOnlyMemory<byte> value) => SetBytes(tag, VrOf(tag), value);

    /// <summary>A value field in little endian in a representation of the caller's choice.</summary>
    /// <exception cref="ValueException">The length is no multiple of the unit, or the representation is SQ.</exception>
    public void SetBytes(Tag tag, Vr vr, ReadOnlyMemory<byte> value)
    {
        if (vr == Vr.SQ)
        {
            throw Breach(tag, "SQ has items, not bytes");
        }

        int unit = vr == Vr.AT ? 4 : vr.UnitSize();
        if (value.Length % unit != 0)
        {
            throw Breach(tag, string.Create(CultureInfo.InvariantCulture, $"{vr} has values of {unit} bytes each (PS3.5 6.2)"));
        }

        Put(Element.FromBytes(tag, vr, value));
    }

    private static Vr VrOf(Tag tag)
    {
        if (tag.IsPrivateCreator)
        {
            return Vr.LO;
        }

        return TagDictionary.Find(tag)?.Vr is { } vr and not Vr.None ? vr
            : throw Breach(tag, "no dictionary knows its representation; use the overload that names one");
    }

    private static void Demand(Tag tag, Vr actual, Vr demanded)
    {
        if (actual != demanded)
        {
            throw Breach(tag, $"its representation is {actual}, not {demanded} (PS3.6)");
        }
    }

    private static ValueException Breach(Tag tag, string rule) => new(tag, TagDictionary.Find(tag)?.Keyword, rule);

    private void SetText(Tag tag, Vr vr, string[] values, Func<Vr, string, string?> flawOf)
    {
        if (!vr.IsText())
        {
            throw Breach(tag, $"{vr} is not text; set it as numbers, items or bytes");
        }

        if (values.Length > 1 && vr.IsSingleText())
        {
            throw Breach(tag, $"{vr} has one value (PS3.5 6.2)");
        }

        foreach (string value in values)
        {
            if (flawOf(vr, value) is { } rule)
            {
                throw Breach(tag, rule);
            }
        }

        PutText(tag, vr, string.Join('\\', values));
    }

    private void SetIntegers(Tag tag, Vr vr, BigInteger[] values)
    {
        (BigInteger Low, BigInteger High, int Size) range = vr switch
        {
            Vr.OB => (BigInteger.Zero, (BigInteger)byte.MaxValue, 1),
            Vr.US or Vr.OW => (BigInteger.Zero, ushort.MaxValue, 2),
            Vr.SS => (short.MinValue, short.MaxValue, 2),
            Vr.UL or Vr.OL or Vr.AT => (BigInteger.Zero, uint.MaxValue, 4),
            Vr.SL => (int.MinValue, int.MaxValue, 4),
            Vr.UV or Vr.OV => (BigInteger.Zero, ulong.MaxValue, 8),
            Vr.SV => (long.MinValue, long.MaxValue, 8),
            _ => throw Breach(tag, $"{vr} has no whole numbers"),
        };
        (BigInteger low, BigInteger high, int size) = range;
        if (values.Any(value => value < low || value > high))
        {
            throw Breach(tag, string.Create(CultureInfo.InvariantCulture, $"{vr} holds whole numbers of {low} to {high} (PS3.5 6.2)"));
        }

        byte[] bytes = new byte[values.Length * size];
        for (int at = 0; at < values.Length; at++)
        {
            Span<byte> unit = bytes.AsSpan(at * size, size);
            unit.Fill(values[at].Sign < 0 ? (byte)0xFF : (byte)0);
            byte[] number = values[at].ToByteArray();
            number.AsSpan(0, Math.Min(number.Length, size)).CopyTo(unit);
            if (vr == Vr.AT)
            {
                // A tag is two numbers of 16 bits, the group first.
                (unit[0], unit[1], unit[2], unit[3]) = (unit[2], unit[3], unit[0], unit[1]);
            }
        }

        Put(Element.FromBytes(tag, vr, bytes));
    }

    private void PutUnits(Tag tag, Vr vr, double[] values, Action<Span<byte>, double> write)
    {
        int size = vr.UnitSize();
        byte[] bytes = new byte[values.Length * size];
        for (int at = 0; at < values.Length; at++)
        {
            write(bytes.AsSpan(at * size, size), values[at]);
        }

        Put(Element.FromBytes(tag, vr, bytes));
    }

    /// <summary>Text that was checked, in ASCII where it is, else in UTF-8, which the outermost data set then declares.</summary>
    private void PutText(Tag tag, Vr vr, string text)
    {
        if (tag == Tags.SpecificCharacterSet)
        {
            DeclareByHand(text);
            return;
        }

        if (vr.UsesCharacterSet() && (!Ascii.IsValid(text) || !CharacterSet.ReadsAsciiAsAscii))
        {
            ConvertToUtf8();
        }

        Put(Element.FromBytes(tag, vr, Encoding.UTF8.GetBytes(text)));
    }
}
