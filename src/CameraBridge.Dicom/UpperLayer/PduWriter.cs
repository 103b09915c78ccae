using System.Buffers.Binary;
using System.Globalization;
using System.Text;

namespace CameraBridge.Dicom.UpperLayer;

/// <summary>Builds a PDU: big endian fields, and lengths that are filled in when their content is known.</summary>
internal sealed class PduWriter
{
    private byte[] buffer = new byte[512];
    private int count;

    public void Byte(byte value) => Reserve(1)[0] = value;

    public void UInt16(ushort value) => BinaryPrimitives.WriteUInt16BigEndian(Reserve(2), value);

    public void UInt32(uint value) => BinaryPrimitives.WriteUInt32BigEndian(Reserve(4), value);

    public void Zeros(int number) => Reserve(number).Clear();

    public void Bytes(ReadOnlySpan<byte> bytes) => bytes.CopyTo(Reserve(bytes.Length));

    /// <summary>An AE title, padded with spaces to 16.</summary>
    public void Title(string title)
    {
        Span<byte> field = Reserve(16);
        field.Fill((byte)' ');
        Encoding.ASCII.GetBytes(title, field);
    }

    /// <summary>Text with a 16-bit length before it. UIDs are not padded in PDUs (PS3.8 annex F).</summary>
    public void Counted(string text) => Counted(Encoding.ASCII.GetBytes(text));

    /// <summary>Bytes with a 16-bit length before them.</summary>
    public void Counted(ReadOnlySpan<byte> bytes)
    {
        int at = Begin();
        Bytes(bytes);
        End(at);
    }

    /// <summary>A whole item that holds text.</summary>
    public void TextItem(byte type, string text)
    {
        Byte(type);
        Byte(0);
        Counted(text);
    }

    /// <summary>Begins an item.</summary>
    /// <returns>What <see cref="End"/> wants.</returns>
    public int BeginItem(byte type)
    {
        Byte(type);
        Byte(0);
        return Begin();
    }

    /// <summary>Begins a field with a 16-bit length.</summary>
    public int Begin()
    {
        UInt16(0);
        return count;
    }

    /// <summary>Fills in the length of what was begun.</summary>
    /// <exception cref="ArgumentException">The content is longer than 65,535 bytes.</exception>
    public void End(int at)
    {
        int length = count - at;
        if (length > ushort.MaxValue)
        {
            throw new ArgumentException(string.Create(
                CultureInfo.InvariantCulture, $"An item of a PDU holds at most 65,535 bytes; {length} were put in it."));
        }

        BinaryPrimitives.WriteUInt16BigEndian(buffer.AsSpan(at - 2), (ushort)length);
    }

    /// <summary>The bytes with the PDU's own length (bytes 2 to 5) filled in.</summary>
    public byte[] ToPdu()
    {
        BinaryPrimitives.WriteUInt32BigEndian(buffer.AsSpan(2), (uint)(count - PduCodec.HeadLength));
        return buffer[..count];
    }

    private Span<byte> Reserve(int number)
    {
        if (count + number > buffer.Length)
        {
            Array.Resize(ref buffer, Math.Max(buffer.Length * 2, count + number));
        }

        Span<byte> span = buffer.AsSpan(count, number);
        count += number;
        return span;
    }
}
