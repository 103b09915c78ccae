using System.Buffers.Binary;
using System.Globalization;

namespace CameraBridge.Dicom.UpperLayer;

/// <summary>Reads big endian fields out of a PDU; every length is compared with what is left before anything is taken.</summary>
internal ref struct PduReader(ReadOnlySpan<byte> bytes)
{
    private ReadOnlySpan<byte> rest = bytes;

    public readonly bool AtEnd => rest.IsEmpty;

    public readonly int Left => rest.Length;

    public byte Byte(string field) => Take(1, field)[0];

    public ushort UInt16(string field) => BinaryPrimitives.ReadUInt16BigEndian(Take(2, field));

    public uint UInt32(string field) => BinaryPrimitives.ReadUInt32BigEndian(Take(4, field));

    public void Skip(int count, string field) => Take(count, field);

    public ReadOnlySpan<byte> Take(int count, string field)
    {
        if (count > rest.Length)
        {
            throw new MalformedPduException(string.Create(
                CultureInfo.InvariantCulture, $"{field} should take {count} bytes, and {rest.Length} are left of what it stands in"));
        }

        ReadOnlySpan<byte> taken = rest[..count];
        rest = rest[count..];
        return taken;
    }

    /// <summary>The next item or sub-item: type, a reserved byte, a 16-bit length (PS3.8 section 9.3.1).</summary>
    public PduReader Item(string field, out byte type)
    {
        type = Byte(field);
        Skip(1, field);
        return new PduReader(Take(UInt16(field), field));
    }

    /// <summary>A field with a 16-bit length before it.</summary>
    public ReadOnlySpan<byte> Counted(string field) => Take(UInt16(field), field);

    /// <summary>All that is left.</summary>
    public ReadOnlySpan<byte> Remainder()
    {
        ReadOnlySpan<byte> all = rest;
        rest = [];
        return all;
    }

    /// <summary>
    /// A UID or a title as text, without the padding that some peers add. Bytes that no UID or title has become "?": unequal to everything,
    /// and harmless in a log.
    /// </summary>
    public static string Text(ReadOnlySpan<byte> bytes) => string.Create(bytes.Length, bytes, (text, source) =>
    {
        for (int i = 0; i < text.Length; i++)
        {
            text[i] = source[i] is >= 0x20 and < 0x7F or 0 ? (char)source[i] : '?';
        }
    }).Trim('\0', ' ');
}
