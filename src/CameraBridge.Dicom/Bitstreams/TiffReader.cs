using System.Buffers.Binary;
using System.Text;

namespace CameraBridge.Dicom.Bitstreams;

/// <summary>An image file directory: where its entries stand and how many lie inside the bytes.</summary>
internal readonly record struct TiffDirectory(int FirstEntry, int Count);

/// <summary>Reads image file directories of a TIFF structure (TIFF 6.0, section 2). Nothing outside the given bytes is ever followed.</summary>
internal ref struct TiffReader
{
    private const int EntryLength = 12;

    /// <summary>Cameras write some fifty; more are not looked at.</summary>
    private const int MaximumEntries = 1_000;

    /// <summary>Longest text kept, in bytes: more than any attribute it may become takes.</summary>
    private const int MaximumText = 256;

    private readonly ReadOnlySpan<byte> bytes;
    private readonly bool bigEndian;
    private readonly List<string> flaws = [];

    public TiffReader(ReadOnlySpan<byte> bytes)
    {
        this.bytes = bytes;
        bigEndian = bytes.StartsWith("MM"u8);
        IsTiff = bytes.Length >= 8 && (bigEndian || bytes.StartsWith("II"u8)) && UInt16(2) == 42;
    }

    /// <summary>True when the header is there.</summary>
    public bool IsTiff { get; }

    /// <summary>Offset of the first directory.</summary>
    public readonly uint FirstDirectory => UInt32(4);

    /// <summary>What could not be read.</summary>
    public readonly IReadOnlyList<string> Flaws => flaws;

    /// <summary>The directory at an offset; one without entries when it lies outside.</summary>
    public readonly TiffDirectory ReadDirectory(uint offset)
    {
        if (offset < 8 || offset > bytes.Length - 2)
        {
            flaws.Add("A directory of the Exif segment lies outside of it.");
            return default;
        }

        int claimed = UInt16((int)offset);
        int first = (int)offset + 2;
        int count = Math.Min(Math.Min(claimed, MaximumEntries), (bytes.Length - first) / EntryLength);
        if (count < claimed)
        {
            flaws.Add("A directory of the Exif segment is cut short.");
        }

        return new TiffDirectory(first, count);
    }

    /// <summary>The directory that an entry points to; one without entries when there is no such entry.</summary>
    public readonly TiffDirectory Child(TiffDirectory directory, ushort tag) =>
        Find(directory, tag) is { } entry && UInt16(entry + 2) is 4 or 13 ? ReadDirectory(UInt32(entry + 8)) : default;

    /// <summary>The first value of a whole number of any type: some software writes SLONG where Exif wants SHORT.</summary>
    public readonly int? Number(TiffDirectory directory, ushort tag)
    {
        if (Find(directory, tag) is not { } entry || UInt32(entry + 4) == 0)
        {
            return null;
        }

        return UInt16(entry + 2) switch
        {
            1 => bytes[entry + 8],
            3 => UInt16(entry + 8),
            4 when UInt32(entry + 8) <= int.MaxValue => (int)UInt32(entry + 8),
            6 => (sbyte)bytes[entry + 8],
            8 => (short)UInt16(entry + 8),
            9 => (int)UInt32(entry + 8),
            _ => null,
        };
    }

    /// <summary>A fraction of whole numbers (RATIONAL or SRATIONAL); null when there is none, or it is divided by nothing.</summary>
    public readonly decimal? Fraction(TiffDirectory directory, ushort tag)
    {
        if (Find(directory, tag) is not { } entry || UInt16(entry + 2) is not (5 or 10) || UInt32(entry + 4) == 0)
        {
            return null;
        }

        uint offset = UInt32(entry + 8);
        if (bytes.Length < 8 || offset > bytes.Length - 8)
        {
            flaws.Add("A number of the Exif segment lies outside of it.");
            return null;
        }

        (uint above, uint below) = (UInt32((int)offset), UInt32((int)offset + 4));
        return below == 0 ? null : UInt16(entry + 2) == 5 ? (decimal)above / below : (decimal)(int)above / (int)below;
    }

    /// <summary>An ASCII entry up to its first NUL, trimmed; null when it is blank or unreadable. Bytes beyond ASCII are read as UTF-8.</summary>
    public readonly string? Text(TiffDirectory directory, ushort tag)
    {
        // Type 129 is the UTF-8 of Exif 3.0.
        if (Find(directory, tag) is not { } entry || UInt16(entry + 2) is not (2 or 129))
        {
            return null;
        }

        uint count = UInt32(entry + 4);
        uint offset = count <= 4 ? (uint)entry + 8 : UInt32(entry + 8);
        if (offset >= bytes.Length)
        {
            flaws.Add("A text of the Exif segment lies outside of it.");
            return null;
        }

        long length = Math.Min(Math.Min(count, MaximumText), bytes.Length - offset);
        ReadOnlySpan<byte> value = bytes.Slice((int)offset, (int)length);
        int end = value.IndexOf((byte)0);
        string text = Encoding.UTF8.GetString(end < 0 ? value : value[..end]).Trim();
        return text.Length == 0 ? null : text;
    }

    private readonly int? Find(TiffDirectory directory, ushort tag)
    {
        for (int i = 0; i < directory.Count; i++)
        {
            int entry = directory.FirstEntry + (i * EntryLength);
            if (UInt16(entry) == tag)
            {
                return entry;
            }
        }

        return null;
    }

    private readonly ushort UInt16(int offset) => bigEndian
        ? BinaryPrimitives.ReadUInt16BigEndian(bytes[offset..])
        : BinaryPrimitives.ReadUInt16LittleEndian(bytes[offset..]);

    private readonly uint UInt32(int offset) => bigEndian
        ? BinaryPrimitives.ReadUInt32BigEndian(bytes[offset..])
        : BinaryPrimitives.ReadUInt32LittleEndian(bytes[offset..]);
}
