using System.Buffers.Binary;
using System.IO.Compression;

namespace CameraBridge.Dicom.Bitstreams;

/// <summary>
/// What a PNG file (ISO/IEC 15948) says of itself, read chunk by chunk with a buffer of fixed size. Every chunk's check value is verified, so that a
/// file which was cut or altered is known; the picture itself is not decoded.
/// </summary>
public sealed class PngHeader
{
    /// <summary>Larger chunks of data about the picture are passed over; profiles of cameras have a few hundred bytes.</summary>
    private const int MaximumAncillary = 4 << 20;

    private const int BufferLength = 64 * 1024;

    private static readonly uint[] CrcTable = MakeCrcTable();

    private PngHeader()
    {
    }

    /// <summary>Lines.</summary>
    public int Rows { get; private set; }

    /// <summary>Samples a line.</summary>
    public int Columns { get; private set; }

    /// <summary>Bits of a sample or palette index: 1, 2, 4, 8 or 16.</summary>
    public int BitDepth { get; private set; }

    /// <summary>0 grey, 2 RGB, 3 palette, 4 grey with alpha, 6 RGB with alpha.</summary>
    public int ColorType { get; private set; }

    /// <summary>Written in seven passes (Adam7).</summary>
    public bool IsInterlaced { get; private set; }

    /// <summary>Several pictures one after the other (acTL).</summary>
    public bool IsAnimated { get; private set; }

    /// <summary>The file says that its colours are sRGB.</summary>
    public bool IsSrgb { get; private set; }

    /// <summary>The colour profile, unpacked, as one chunk for <see cref="Bitstreams.IccProfile.Assemble"/>; empty when there is none.</summary>
    public IReadOnlyList<IccChunk> IccChunks { get; private set; } = [];

    /// <summary>The TIFF structure of the Exif chunk, for <see cref="Bitstreams.Exif.Read"/>, or empty.</summary>
    public ReadOnlyMemory<byte> Exif { get; private set; }

    /// <summary>Why the picture cannot be taken as whole, or null.</summary>
    public string? Flaw { get; private set; }

    /// <summary>Reads a file.</summary>
    /// <exception cref="IOException">The file cannot be read.</exception>
    public static PngHeader ReadFile(string path)
    {
        using FileStream stream = File.OpenRead(path);
        return Read(stream);
    }

    /// <summary>Reads from the stream's beginning to the end of the picture. Whatever the bytes are, the answer is a header.</summary>
    /// <exception cref="IOException">The stream cannot be read.</exception>
    public static PngHeader Read(Stream stream)
    {
        ArgumentNullException.ThrowIfNull(stream);
        var header = new PngHeader();
        Span<byte> head = stackalloc byte[8];
        if (stream.ReadAtLeast(head, 8, throwOnEndOfStream: false) < 8 || head is not [0x89, (byte)'P', (byte)'N', (byte)'G', 0x0D, 0x0A, 0x1A, 0x0A])
        {
            header.Flaw = "The file does not begin as a PNG file does.";
            return header;
        }

        header.Flaw = header.ReadChunks(stream);
        return header;
    }

    private string? ReadChunks(Stream stream)
    {
        Span<byte> head = stackalloc byte[8];
        byte[] buffer = new byte[BufferLength];
        bool hasData = false;
        for (bool isFirst = true; ; isFirst = false)
        {
            if (stream.ReadAtLeast(head, 8, throwOnEndOfStream: false) < 8)
            {
                return "The file ends before the end of the picture.";
            }

            uint length = BinaryPrimitives.ReadUInt32BigEndian(head);
            ReadOnlySpan<byte> type = head[4..];
            bool keeps = length <= MaximumAncillary && (type.SequenceEqual("IHDR"u8) || type.SequenceEqual("iCCP"u8) || type.SequenceEqual("eXIf"u8));
            if (TakeChunk(stream, type, length, buffer, keeps, out byte[] kept) is { } flaw)
            {
                return flaw;
            }

            if (isFirst != type.SequenceEqual("IHDR"u8) || (isFirst && !ReadHeader(kept)))
            {
                return "The file's header chunk is not what it must be.";
            }

            if (type.SequenceEqual("IEND"u8))
            {
                return hasData ? null : "The file has no picture data.";
            }

            hasData |= type.SequenceEqual("IDAT"u8);
            IsAnimated |= type.SequenceEqual("acTL"u8);
            IsSrgb |= type.SequenceEqual("sRGB"u8);
            Exif = type.SequenceEqual("eXIf"u8) && Exif.IsEmpty ? kept : Exif;
            if (type.SequenceEqual("iCCP"u8) && Unpack(kept) is { } profile)
            {
                IccChunks = [new IccChunk(1, 1, profile)];
            }
        }
    }

    /// <summary>Reads a chunk's data and its check value (section 5.5), and keeps the data where they are asked for.</summary>
    private static string? TakeChunk(Stream stream, ReadOnlySpan<byte> type, uint length, byte[] buffer, bool keeps, out byte[] kept)
    {
        uint crc = Crc(uint.MaxValue, type);
        kept = [];
        using var data = new MemoryStream();
        for (long left = length; left > 0;)
        {
            int read = stream.Read(buffer, 0, (int)Math.Min(left, buffer.Length));
            if (read == 0)
            {
                return "The file ends within a chunk.";
            }

            crc = Crc(crc, buffer.AsSpan(0, read));
            left -= read;
            if (keeps)
            {
                data.Write(buffer, 0, read);
            }
        }

        kept = data.ToArray();
        Span<byte> check = stackalloc byte[4];
        return stream.ReadAtLeast(check, 4, throwOnEndOfStream: false) < 4 ? "The file ends within a chunk."
            : BinaryPrimitives.ReadUInt32BigEndian(check) != ~crc ? "A chunk's check value does not fit its data."
            : null;
    }

    /// <summary>IHDR (section 11.2.2).</summary>
    private bool ReadHeader(byte[] data)
    {
        if (data.Length != 13)
        {
            return false;
        }

        uint columns = BinaryPrimitives.ReadUInt32BigEndian(data);
        uint rows = BinaryPrimitives.ReadUInt32BigEndian(data.AsSpan(4));
        (BitDepth, ColorType, IsInterlaced) = (data[8], data[9], data[12] == 1);
        (Columns, Rows) = columns <= int.MaxValue && rows <= int.MaxValue ? ((int)columns, (int)rows) : (0, 0);
        return Columns > 0 && Rows > 0 && BitDepth is 1 or 2 or 4 or 8 or 16 && ColorType is 0 or 2 or 3 or 4 or 6;
    }

    /// <summary>iCCP (section 11.3.3.3): a name, a zero, the method 0, and the profile packed with zlib.</summary>
    private static byte[]? Unpack(byte[] data)
    {
        int end = Array.IndexOf(data, (byte)0);
        if (end < 0 || end + 2 > data.Length || data[end + 1] != 0)
        {
            return null;
        }

        try
        {
            using var packed = new ZLibStream(new MemoryStream(data, end + 2, data.Length - end - 2), CompressionMode.Decompress);
            byte[] profile = new byte[MaximumAncillary];
            int length = packed.ReadAtLeast(profile, profile.Length, throwOnEndOfStream: false);
            return length < profile.Length ? profile[..length] : null;
        }
        catch (InvalidDataException)
        {
            return null;
        }
    }

    /// <summary>The check value of section 5.5: ITU-T V.42's, least bit first.</summary>
    private static uint Crc(uint crc, ReadOnlySpan<byte> bytes)
    {
        foreach (byte next in bytes)
        {
            crc = CrcTable[(byte)(crc ^ next)] ^ (crc >> 8);
        }

        return crc;
    }

    private static uint[] MakeCrcTable()
    {
        uint[] table = new uint[256];
        for (uint i = 0; i < table.Length; i++)
        {
            uint value = i;
            for (int bit = 0; bit < 8; bit++)
            {
                value = (value & 1) != 0 ? 0xEDB88320 ^ (value >> 1) : value >> 1;
            }

            table[i] = value;
        }

        return table;
    }
}
