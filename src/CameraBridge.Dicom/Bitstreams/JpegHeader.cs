namespace CameraBridge.Dicom.Bitstreams;

/// <summary>What is wrong with a JPEG file, in the order of how much it matters.</summary>
public enum JpegFlaw
{
    /// <summary>Something unusual that no decoder minds.</summary>
    Oddity,

    /// <summary>A marker segment that cannot be what the standard says: impossible length, missing table, second frame.</summary>
    Malformed,

    /// <summary>The entropy-coded data do not decode with the file's own tables.</summary>
    Damaged,

    /// <summary>The file ends, or its scan ends, before the picture is whole.</summary>
    Torn,

    /// <summary>The file does not begin as a JPEG file does.</summary>
    NotJpeg,
}

/// <summary>One thing found while reading.</summary>
/// <param name="Flaw">Kind of flaw.</param>
/// <param name="Offset">Byte in the file where it was seen.</param>
/// <param name="Text">A sentence without any content of the file's text fields.</param>
public sealed record JpegFinding(JpegFlaw Flaw, long Offset, string Text);

/// <summary>A component of the frame header (ITU-T T.81 section B.2.2).</summary>
/// <param name="Id">Component identifier Ci.</param>
/// <param name="Horizontal">Horizontal sampling factor Hi, 1 to 4.</param>
/// <param name="Vertical">Vertical sampling factor Vi, 1 to 4.</param>
/// <param name="QuantizationTable">Quantization table Tqi, 0 to 3.</param>
public readonly record struct JpegComponent(byte Id, byte Horizontal, byte Vertical, byte QuantizationTable);

/// <summary>A marker segment and where it lies, its marker included; a start-of-scan segment includes its entropy-coded data.</summary>
/// <param name="Marker">Second byte of the marker.</param>
/// <param name="Offset">Where the marker's FFH stands in the file.</param>
/// <param name="Length">Bytes in all.</param>
public readonly record struct JpegSegment(byte Marker, long Offset, long Length)
{
    /// <summary>True for APP0 to APP15 and COM, which no decoder needs in order to decode.</summary>
    public bool IsApplicationData => Marker is >= 0xE0 and <= 0xEF or 0xFE;
}

/// <summary>What stands behind the end of the image.</summary>
public enum JpegTrailer
{
    /// <summary>Nothing.</summary>
    None,

    /// <summary>Zero bytes, as far as they were looked at (the first 4,096).</summary>
    Zeros,

    /// <summary>Another JPEG picture, as in multi-picture files.</summary>
    Picture,

    /// <summary>Something else.</summary>
    Other,
}

/// <summary>
/// What a JPEG file (ITU-T T.81 | ISO/IEC 10918-1) says of itself, read in one pass with a window of fixed size. For sequential Huffman files
/// every block of the scan is stepped over by its codes, so that a file which was cut and closed again is known as torn.
/// </summary>
public sealed class JpegHeader
{
    internal JpegHeader()
    {
    }

    /// <summary>Bytes of the file.</summary>
    public long Length { get; internal set; }

    /// <summary>Second byte of the frame header's marker (C0H baseline, C1H extended sequential, C2H progressive ...); 0 when there is none.</summary>
    public byte FrameMarker { get; internal set; }

    /// <summary>Bits of a sample, as the frame header says.</summary>
    public int Precision { get; internal set; }

    /// <summary>Lines; 0 when they are only known at the end of the first scan (DNL).</summary>
    public int Rows { get; internal set; }

    /// <summary>Samples a line.</summary>
    public int Columns { get; internal set; }

    /// <summary>The components in the order of the frame header.</summary>
    public IReadOnlyList<JpegComponent> Components { get; internal set; } = [];

    /// <summary>MCUs between restart markers as last defined; 0 for none.</summary>
    public int RestartInterval { get; internal set; }

    /// <summary>True when a JFIF APP0 segment stands before the first scan.</summary>
    public bool HasJfif { get; internal set; }

    /// <summary>Transform flag of an Adobe APP14 segment before the first scan (0 none, 1 YCbCr, 2 YCCK); null without such a segment.</summary>
    public int? AdobeTransform { get; internal set; }

    /// <summary>Every marker segment in the order of the file, start and end of image included.</summary>
    public IReadOnlyList<JpegSegment> Segments { get; internal set; } = [];

    /// <summary>Scans.</summary>
    public int ScanCount { get; internal set; }

    /// <summary>Restart markers in all scans.</summary>
    public long RestartMarkerCount { get; internal set; }

    /// <summary>Offset of the byte behind the end-of-image marker; null when there is no such marker.</summary>
    public long? EndOfImage { get; internal set; }

    /// <summary>Bytes behind the end of the image.</summary>
    public long TrailingBytes => EndOfImage is { } end ? Length - end : 0;

    /// <summary>What those bytes are.</summary>
    public JpegTrailer Trailer { get; internal set; }

    /// <summary>The TIFF structure of the first Exif APP1 segment (at most 64 KiB), or empty; for <see cref="Bitstreams.Exif.Read"/>.</summary>
    public ReadOnlyMemory<byte> Exif { get; internal set; }

    /// <summary>The pieces of an ICC profile in the order of the file; for <see cref="IccProfile.Assemble"/>.</summary>
    public IReadOnlyList<IccChunk> IccChunks { get; internal set; } = [];

    /// <summary>True when an APP2 segment of the multi-picture format (CIPA DC-007) is there.</summary>
    public bool HasMultiPictureIndex { get; internal set; }

    /// <summary>True when every block of every scan was stepped over and counted.</summary>
    public bool BlocksCounted { get; internal set; }

    /// <summary>What was found, in the order of the file; at most 100.</summary>
    public IReadOnlyList<JpegFinding> Findings { get; internal set; } = [];

    /// <summary>The first finding of this kind, or null.</summary>
    public JpegFinding? First(JpegFlaw flaw) => Findings.FirstOrDefault(finding => finding.Flaw == flaw);

    /// <summary>Reads a file.</summary>
    /// <exception cref="IOException">The file cannot be read.</exception>
    public static JpegHeader ReadFile(string path)
    {
        using var stream = new FileStream(path, FileMode.Open, FileAccess.Read, FileShare.Read, bufferSize: 0);
        return Read(stream);
    }

    /// <summary>Reads from the stream's beginning to its end. Whatever the bytes are, the answer is a header with findings.</summary>
    /// <exception cref="IOException">The stream cannot be read.</exception>
    /// <exception cref="ArgumentException">The stream cannot be positioned.</exception>
    public static JpegHeader Read(Stream stream)
    {
        ArgumentNullException.ThrowIfNull(stream);
        if (!stream.CanSeek)
        {
            throw new ArgumentException("A JPEG header is read from a stream that can be positioned.", nameof(stream));
        }

        using var input = new JpegInput(stream);
        return new JpegReader(input).Read();
    }
}
