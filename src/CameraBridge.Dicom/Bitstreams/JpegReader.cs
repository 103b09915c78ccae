using System.Buffers.Binary;
using System.Globalization;

namespace CameraBridge.Dicom.Bitstreams;

/// <summary>Reads the marker segments of ITU-T T.81 Annex B from front to end, once.</summary>
/// <param name="input">The file, from its beginning.</param>
/// <param name="beforeScans">To read no further than to the first scan.</param>
internal sealed partial class JpegReader(JpegInput input, bool beforeScans = false)
{
    /// <summary>No camera writes so many; a file of nothing but tiny segments must not become a long list.</summary>
    private const int MaximumSegments = 10_000;

    /// <summary>Findings kept; the first ones tell the story.</summary>
    private const int MaximumFindings = 100;

    /// <summary>ICC profiles of cameras have a few hundred bytes, of printers up to some megabytes.</summary>
    private const int MaximumIccBytes = 4 * 1024 * 1024;

    private readonly JpegHeader header = new() { Length = input.Length };
    private readonly List<JpegSegment> segments = [];
    private readonly List<JpegFinding> findings = [];
    private readonly List<IccChunk> iccChunks = [];
    private readonly JpegHuffmanTable?[] dcTables = new JpegHuffmanTable?[4];
    private readonly JpegHuffmanTable?[] acTables = new JpegHuffmanTable?[4];
    private readonly bool[] quantization = new bool[4];
    private int iccBytes;
    private bool allCounted = true;

    public JpegHeader Read()
    {
        if (!input.Ensure(2) || input.Buffered is not [0xFF, 0xD8, ..])
        {
            Find(JpegFlaw.NotJpeg, "The file does not begin with the start-of-image marker FFD8.");
        }
        else
        {
            segments.Add(new JpegSegment(0xD8, 0, 2));
            input.Position += 2;
            while (ReadSegment())
            {
            }

            LookBehindTheEnd();
        }

        header.Segments = segments;
        header.Findings = findings;
        header.IccChunks = iccChunks;
        header.BlocksCounted = allCounted && header.ScanCount > 0;
        return header;
    }

    /// <summary>One marker and what belongs to it.</summary>
    /// <returns>False when there is nothing more to read: the end of the image, of the file, or of what can be understood.</returns>
    private bool ReadSegment()
    {
        long from = input.Offset;
        if (!JpegScanWalk.SkipToMarker(input))
        {
            Find(JpegFlaw.Torn, header.ScanCount == 0
                ? "The file ends before the picture begins."
                : "The file ends without the end-of-image marker FFD9.");
            return false;
        }

        if (input.Offset > from)
        {
            Find(JpegFlaw.Oddity, string.Create(CultureInfo.InvariantCulture, $"{input.Offset - from} bytes stand between marker segments."), from);
        }

        long offset = input.Offset;
        byte marker = input.Window[input.Position + 1];
        if (segments.Count == MaximumSegments)
        {
            Find(JpegFlaw.Malformed, "The file has more than 10,000 marker segments.");
            return false;
        }

        if (marker is 0xD9)
        {
            input.Position += 2;
            segments.Add(new JpegSegment(marker, offset, 2));
            header.EndOfImage = input.Offset;
            if (header.ScanCount == 0)
            {
                Find(JpegFlaw.Torn, "The image ends before its first scan.", offset);
            }

            return false;
        }

        if (marker is 0xD8)
        {
            Find(JpegFlaw.Malformed, "A second image begins before the first one ends.", offset);
            return false;
        }

        if (marker is 0x01 or (>= 0xD0 and <= 0xD7))
        {
            Find(JpegFlaw.Oddity, string.Create(CultureInfo.InvariantCulture, $"A marker FF{marker:X2} stands outside a scan."), offset);
            input.Position += 2;
            return true;
        }

        return ReadSegmentWithLength(marker, offset);
    }

    private bool ReadSegmentWithLength(byte marker, long offset)
    {
        if (!input.Ensure(4))
        {
            Find(JpegFlaw.Torn, "The file ends within a marker segment.", offset);
            return false;
        }

        int length = BinaryPrimitives.ReadUInt16BigEndian(input.Buffered[2..]);
        if (length < 2)
        {
            Find(JpegFlaw.Malformed, string.Create(CultureInfo.InvariantCulture, $"Marker segment FF{marker:X2} has the length {length}."), offset);
            return false;
        }

        if (!input.Ensure(length + 2))
        {
            Find(JpegFlaw.Torn, string.Create(CultureInfo.InvariantCulture, $"The file ends within marker segment FF{marker:X2}."), offset);
            return false;
        }

        ReadOnlySpan<byte> body = input.Buffered.Slice(4, length - 2);
        if (marker == 0xDA)
        {
            return !beforeScans && ReadScan(body, offset, length + 2);
        }

        segments.Add(new JpegSegment(marker, offset, length + 2));
        bool understood = marker switch
        {
            0xC4 => ReadHuffmanTables(body),
            0xDB => ReadQuantizationTables(body),
            0xDD => ReadRestartInterval(body),
            0xCC or 0xC8 => true,
            >= 0xC0 and <= 0xCF => ReadFrame(marker, body),
            0xE0 => ReadJfif(body),
            0xE1 => ReadExif(body),
            0xE2 => ReadApp2(body),
            0xEE => ReadAdobe(body),
            _ => true,
        };
        input.Position += length + 2;
        return understood;
    }

    private bool ReadFrame(byte marker, ReadOnlySpan<byte> body)
    {
        if (header.FrameMarker != 0)
        {
            Find(JpegFlaw.Malformed, "The file has a second frame header.");
            return false;
        }

        if (body.Length < 6 || body.Length < 6 + (body[5] * 3))
        {
            Find(JpegFlaw.Malformed, "The frame header is shorter than its components.");
            return false;
        }

        header.FrameMarker = marker;
        header.Precision = body[0];
        header.Rows = BinaryPrimitives.ReadUInt16BigEndian(body[1..]);
        header.Columns = BinaryPrimitives.ReadUInt16BigEndian(body[3..]);
        var components = new JpegComponent[body[5]];
        for (int i = 0; i < components.Length; i++)
        {
            ReadOnlySpan<byte> c = body.Slice(6 + (i * 3), 3);
            components[i] = new JpegComponent(c[0], (byte)(c[1] >> 4), (byte)(c[1] & 15), c[2]);
            if (components[i] is { Horizontal: 0 or > 4 } or { Vertical: 0 or > 4 } or { QuantizationTable: > 3 })
            {
                Find(JpegFlaw.Malformed, "A component has a sampling factor or table number that does not exist.");
                return false;
            }
        }

        header.Components = components;
        return true;
    }

    private bool ReadHuffmanTables(ReadOnlySpan<byte> body)
    {
        bool isRead = JpegHuffmanSegment.Read(body, (isDc, number, counts, symbols) =>
            ((isDc ? dcTables : acTables)[number] = JpegHuffmanTable.Create(counts, symbols, isDc)) is not null);
        if (!isRead)
        {
            Find(JpegFlaw.Malformed, "A Huffman table cannot be what it says.");
        }

        return isRead;
    }

    private bool ReadQuantizationTables(ReadOnlySpan<byte> body)
    {
        while (body.Length > 0)
        {
            int length = body[0] >> 4 == 0 ? 65 : 129;
            if (body[0] >> 4 > 1 || (body[0] & 15) > 3 || body.Length < length)
            {
                Find(JpegFlaw.Malformed, "A quantization table cannot be what it says.");
                return false;
            }

            quantization[body[0] & 15] = true;
            body = body[length..];
        }

        return true;
    }

    private bool ReadRestartInterval(ReadOnlySpan<byte> body)
    {
        if (body.Length < 2)
        {
            Find(JpegFlaw.Malformed, "The restart interval is missing from its segment.");
            return false;
        }

        header.RestartInterval = BinaryPrimitives.ReadUInt16BigEndian(body);
        return true;
    }

    private bool ReadJfif(ReadOnlySpan<byte> body)
    {
        if (body.Length >= 12 && body.StartsWith("JFIF\0"u8))
        {
            header.HasJfif |= header.ScanCount == 0;
        }

        return true;
    }

    private bool ReadAdobe(ReadOnlySpan<byte> body)
    {
        if (body.Length >= 12 && body.StartsWith("Adobe"u8) && header.ScanCount == 0)
        {
            header.AdobeTransform = body[11];
        }

        return true;
    }

    private bool ReadExif(ReadOnlySpan<byte> body)
    {
        if (body.Length > 6 && body.StartsWith("Exif\0"u8))
        {
            if (header.Exif.IsEmpty)
            {
                header.Exif = body[6..].ToArray();
            }
            else
            {
                Find(JpegFlaw.Oddity, "The file has more than one Exif segment; the first is read.");
            }
        }

        return true;
    }

    private bool ReadApp2(ReadOnlySpan<byte> body)
    {
        if (body.Length >= 14 && body.StartsWith("ICC_PROFILE\0"u8))
        {
            iccBytes += body.Length - 14;
            if (iccBytes <= MaximumIccBytes)
            {
                iccChunks.Add(new IccChunk(body[12], body[13], body[14..].ToArray()));
            }
            else
            {
                iccBytes = MaximumIccBytes;
                Find(JpegFlaw.Oddity, "The colour profile is longer than 4 MiB; the rest is not read.");
            }
        }
        else if (body.StartsWith("MPF\0"u8))
        {
            header.HasMultiPictureIndex = true;
        }

        return true;
    }

    private void LookBehindTheEnd()
    {
        if (header.TrailingBytes <= 0)
        {
            return;
        }

        input.Ensure((int)Math.Min(4096, header.TrailingBytes));
        ReadOnlySpan<byte> behind = input.Buffered[..Math.Min(input.Buffered.Length, 4096)];
        ReadOnlySpan<byte> afterZeros = behind.TrimStart((byte)0);
        header.Trailer = afterZeros.IsEmpty ? JpegTrailer.Zeros
            : afterZeros is [0xFF, 0xD8, 0xFF, ..] || header.HasMultiPictureIndex ? JpegTrailer.Picture
            : JpegTrailer.Other;
        Find(JpegFlaw.Oddity, string.Create(CultureInfo.InvariantCulture, $"{header.TrailingBytes} bytes follow the end of the image."));
    }

    private void Find(JpegFlaw flaw, string text, long? offset = null)
    {
        // The last place is kept for a flaw that matters more than an oddity.
        if (findings.Count < (flaw == JpegFlaw.Oddity ? MaximumFindings - 1 : MaximumFindings))
        {
            findings.Add(new JpegFinding(flaw, offset ?? input.Offset, text));
        }
    }
}
