using System.Globalization;

namespace CameraBridge.Dicom.Data;

/// <summary>The tag of a data element: group and element number (PS3.5 section 7.1, edition 2025e).</summary>
/// <param name="Group">Group number; odd groups are private.</param>
/// <param name="Number">Element number within the group.</param>
public readonly record struct Tag(ushort Group, ushort Number) : IComparable<Tag>
{
    /// <summary>Item (FFFE,E000), item delimitation (FFFE,E00D) and sequence delimitation (FFFE,E0DD) of PS3.5 section 7.5.</summary>
    public static readonly Tag Item = new(0xFFFE, 0xE000), ItemDelimitation = new(0xFFFE, 0xE00D), SequenceDelimitation = new(0xFFFE, 0xE0DD);

    /// <summary>A tag from its 32-bit form, 0xGGGGEEEE.</summary>
    public Tag(uint value) : this((ushort)(value >> 16), (ushort)value)
    {
    }

    /// <summary>The 32-bit form, 0xGGGGEEEE; its order is the order in which a data set is written.</summary>
    public uint Value => ((uint)Group << 16) | Number;

    /// <summary>True for odd groups, whose meaning belongs to a private creator (PS3.5 section 7.8).</summary>
    public bool IsPrivate => (Group & 1) != 0;

    /// <summary>True for (gggg,0010) to (gggg,00FF) of an odd group, which name the creator of a private block.</summary>
    public bool IsPrivateCreator => IsPrivate && Number is >= 0x0010 and <= 0x00FF;

    /// <summary>True for (gggg,0000), the retired group length.</summary>
    public bool IsGroupLength => Number == 0;

    /// <inheritdoc />
    public int CompareTo(Tag other) => Value.CompareTo(other.Value);

    /// <summary>Order by 32-bit value.</summary>
    public static bool operator <(Tag left, Tag right) => left.Value < right.Value;

    /// <summary>Order by 32-bit value.</summary>
    public static bool operator >(Tag left, Tag right) => left.Value > right.Value;

    /// <summary>Order by 32-bit value.</summary>
    public static bool operator <=(Tag left, Tag right) => left.Value <= right.Value;

    /// <summary>Order by 32-bit value.</summary>
    public static bool operator >=(Tag left, Tag right) => left.Value >= right.Value;

    /// <summary>Reads "GGGGEEEE", "GGGG,EEEE" or "(GGGG,EEEE)", hexadecimal in either case.</summary>
    /// <returns>False when the text is none of these.</returns>
    public static bool TryParse(string? text, out Tag tag)
    {
        ReadOnlySpan<char> span = (text ?? "").AsSpan().Trim();
        if (span is ['(', .. var inner, ')'])
        {
            span = inner;
        }

        Span<char> digits = stackalloc char[8];
        tag = default;
        if (span.Length == 9 && span[4] == ',')
        {
            span[..4].CopyTo(digits);
            span[5..].CopyTo(digits[4..]);
        }
        else if (span.Length == 8)
        {
            span.CopyTo(digits);
        }
        else
        {
            return false;
        }

        if (!uint.TryParse(digits, NumberStyles.AllowHexSpecifier, CultureInfo.InvariantCulture, out uint value))
        {
            return false;
        }

        tag = new Tag(value);
        return true;
    }

    /// <summary>The form of the standard's text, "(GGGG,EEEE)".</summary>
    public override string ToString() => string.Create(CultureInfo.InvariantCulture, $"({Group:X4},{Number:X4})");
}
