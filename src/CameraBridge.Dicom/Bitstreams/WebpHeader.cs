using System.Buffers.Binary;

namespace CameraBridge.Dicom.Bitstreams;

/// <summary>What a WebP file (Google's "WebP Container Specification", RFC 9649) says of itself; the picture is not decoded.</summary>
public sealed class WebpHeader
{
    /// <summary>Larger chunks of data about the picture are passed over.</summary>
    private const int MaximumAncillary = 4 << 20;

    /// <summary>Chunks of a file, at most: a still picture has a handful.</summary>
    private const int MaximumChunks = 1_000;

    private WebpHeader()
    {
    }

    /// <summary>The picture is coded without loss (VP8L).</summary>
    public bool IsLossless { get; private set; }

    /// <summary>Several pictures one after the other.</summary>
    public bool IsAnimated { get; private set; }

    /// <summary>The colour profile as one chunk for <see cref="Bitstreams.IccProfile.Assemble"/>; empty when there is none.</summary>
    public IReadOnlyList<IccChunk> IccChunks { get; private set; } = [];

    /// <summary>The TIFF structure of the Exif chunk, for <see cref="Bitstreams.Exif.Read"/>, or empty.</summary>
    public ReadOnlyMemory<byte> Exif { get; private set; }

    /// <summary>Why the picture cannot be taken as whole, or null.</summary>
    public string? Flaw { get; private set; }

    /// <summary>Reads a file.</summary>
    /// <exception cref="IOException">The file cannot be read.</exception>
    public static WebpHeader ReadFile(string path)
    {
        using FileStream stream = File.OpenRead(path);
        return Read(stream);
    }

    /// <summary>Reads a stream that can be positioned. Whatever the bytes are, the answer is a header.</summary>
    /// <exception cref="IOException">The stream cannot be read.</exception>
    public static WebpHeader Read(Stream stream)
    {
        ArgumentNullException.ThrowIfNull(stream);
        var header = new WebpHeader();
        Span<byte> head = stackalloc byte[12];
        if (stream.ReadAtLeast(head, 12, throwOnEndOfStream: false) < 12 || !head.StartsWith("RIFF"u8) || !head[8..].SequenceEqual("WEBP"u8))
        {
            header.Flaw = "The file does not begin as a WebP file does.";
            return header;
        }

        // The length counts from behind itself (RFC 9649 section 2.4).
        header.Flaw = header.ReadChunks(stream, 8L + BinaryPrimitives.ReadUInt32LittleEndian(head[4..]));
        return header;
    }

    private string? ReadChunks(Stream stream, long end)
    {
        if (end > stream.Length)
        {
            return "The file is shorter than its header says.";
        }

        Span<byte> head = stackalloc byte[8];
        bool hasPicture = false;
        for (int chunk = 0; chunk < MaximumChunks && stream.Position + 8 <= end; chunk++)
        {
            stream.ReadExactly(head);
            uint length = BinaryPrimitives.ReadUInt32LittleEndian(head[4..]);
            long next = stream.Position + length + (length & 1);
            if (stream.Position + length > end)
            {
                return "A chunk is longer than the file.";
            }

            ReadOnlySpan<byte> type = head[..4];
            hasPicture |= type.SequenceEqual("VP8 "u8) || type.SequenceEqual("VP8L"u8);
            IsLossless |= type.SequenceEqual("VP8L"u8);
            IsAnimated |= type.SequenceEqual("ANIM"u8) || type.SequenceEqual("ANMF"u8);
            if (length <= MaximumAncillary && type.SequenceEqual("ICCP"u8))
            {
                IccChunks = [new IccChunk(1, 1, Take(stream, length))];
            }
            else if (length <= MaximumAncillary && type.SequenceEqual("EXIF"u8))
            {
                byte[] exif = Take(stream, length);
                // Some programs put JPEG's own mark before it.
                Exif = exif.AsSpan().StartsWith("Exif\0\0"u8) ? exif.AsMemory(6) : exif;
            }

            stream.Position = Math.Min(next, stream.Length);
        }

        return hasPicture || IsAnimated ? null : "The file has no picture data.";
    }

    private static byte[] Take(Stream stream, uint length)
    {
        byte[] bytes = new byte[length];
        stream.ReadExactly(bytes);
        return bytes;
    }
}
