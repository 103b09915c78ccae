using System.Buffers.Binary;
using System.Text;

namespace CameraBridge.Tests.Dicom.Bitstreams;

/// <summary>Writes TIFF structures as Exif has them (TIFF 6.0 section 2; CIPA DC-008), in either byte order.</summary>
internal sealed class TestTiff(bool bigEndian)
{
    private readonly List<(ushort Tag, ushort Type, uint Count, byte[] Value)> main = [], exif = [], interoperability = [];

    public TestTiff Main(ushort tag, object value) => Add(main, tag, value);

    public TestTiff Exif(ushort tag, object value) => Add(exif, tag, value);

    public TestTiff Interoperability(ushort tag, object value) => Add(interoperability, tag, value);

    public byte[] ToBytes()
    {
        var bytes = new List<byte>();
        bytes.AddRange(bigEndian ? "MM"u8 : "II"u8);
        bytes.AddRange(Short(42));
        bytes.AddRange(Long(8));
        int exifAt = 8 + Size(main, 1);
        int interoperabilityAt = exifAt + Size(exif, 1);
        Write(bytes, main, (0x8769, exifAt));
        Write(bytes, exif, (0xA005, interoperabilityAt));
        Write(bytes, interoperability, null);
        return [.. bytes];
    }

    private static int Size(List<(ushort Tag, ushort Type, uint Count, byte[] Value)> entries, int more) =>
        2 + ((entries.Count + more) * 12) + 4 + entries.Where(entry => entry.Value.Length > 4).Sum(entry => entry.Value.Length);

    private TestTiff Add(List<(ushort, ushort, uint, byte[])> entries, ushort tag, object value)
    {
        entries.Add(value switch
        {
            string text => (tag, 2, (uint)text.Length + 1, [.. Encoding.UTF8.GetBytes(text), 0]),
            int number => (tag, 3, 1, [.. Short((ushort)number), 0, 0]),
            _ => throw new ArgumentException("text or number", nameof(value)),
        });
        return this;
    }

    private void Write(List<byte> bytes, List<(ushort Tag, ushort Type, uint Count, byte[] Value)> entries, (ushort Tag, int Offset)? pointer)
    {
        int values = bytes.Count + 2 + ((entries.Count + (pointer is null ? 0 : 1)) * 12) + 4;
        var behind = new List<byte>();
        bytes.AddRange(Short((ushort)(entries.Count + (pointer is null ? 0 : 1))));
        foreach ((ushort tag, ushort type, uint count, byte[] value) in entries)
        {
            bytes.AddRange([.. Short(tag), .. Short(type), .. Long(count)]);
            if (value.Length <= 4)
            {
                bytes.AddRange([.. value, .. new byte[4 - value.Length]]);
            }
            else
            {
                bytes.AddRange(Long((uint)(values + behind.Count)));
                behind.AddRange(value);
            }
        }

        if (pointer is { } child)
        {
            bytes.AddRange([.. Short(child.Tag), .. Short(4), .. Long(1), .. Long((uint)child.Offset)]);
        }

        bytes.AddRange([.. Long(0), .. behind]);
    }

    private byte[] Short(ushort value)
    {
        byte[] bytes = new byte[2];
        if (bigEndian)
        {
            BinaryPrimitives.WriteUInt16BigEndian(bytes, value);
        }
        else
        {
            BinaryPrimitives.WriteUInt16LittleEndian(bytes, value);
        }

        return bytes;
    }

    private byte[] Long(uint value)
    {
        byte[] bytes = new byte[4];
        if (bigEndian)
        {
            BinaryPrimitives.WriteUInt32BigEndian(bytes, value);
        }
        else
        {
            BinaryPrimitives.WriteUInt32LittleEndian(bytes, value);
        }

        return bytes;
    }
}
