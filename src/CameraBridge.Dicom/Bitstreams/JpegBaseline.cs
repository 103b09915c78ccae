using System.Globalization;
using CameraBridge.Dicom.Data;

namespace CameraBridge.Dicom.Bitstreams;

/// <summary>Why a JPEG file cannot go into an object bit for bit as JPEG Baseline (Process 1).</summary>
public enum JpegObstacle
{
    /// <summary>It is no JPEG file.</summary>
    NotJpeg,

    /// <summary>The picture is not whole.</summary>
    Torn,

    /// <summary>The entropy-coded data cannot be decoded.</summary>
    Damaged,

    /// <summary>Marker segments are impossible or missing.</summary>
    Malformed,

    /// <summary>Progressive (SOF2).</summary>
    Progressive,

    /// <summary>Extended sequential (SOF1), 8 or 12 bits.</summary>
    Extended,

    /// <summary>Lossless, hierarchical or arithmetic coding.</summary>
    OtherProcess,

    /// <summary>The number of lines is only given behind the first scan.</summary>
    LinesUnknown,

    /// <summary>Four components, CMYK or YCCK.</summary>
    Cmyk,

    /// <summary>A number or sampling of components that has no photometric interpretation.</summary>
    Components,

    /// <summary>More pixels than may be rearranged in memory at once.</summary>
    TooLarge,
}

/// <summary>An obstacle and a sentence that tells it.</summary>
/// <param name="Obstacle">Kind.</param>
/// <param name="Text">What it is, in words, without any content of the picture.</param>
public sealed record JpegRefusal(JpegObstacle Obstacle, string Text);

/// <summary>The bit stream of an object, and what its Image Pixel attributes must say (PS3.3 section C.7.6.3, PS3.5 Table 8.2.1-1).</summary>
/// <param name="Pixels">The bytes of the only fragment, padded to an even length.</param>
/// <param name="StreamLength">Length without the padding.</param>
/// <param name="PhotometricInterpretation">MONOCHROME2, YBR_FULL_422 or RGB.</param>
/// <param name="SamplesPerPixel">1 or 3.</param>
/// <param name="Rows">Lines, 1 to 65,535.</param>
/// <param name="Columns">Samples a line, 1 to 65,535.</param>
public sealed record JpegStream(
    PixelSource Pixels, long StreamLength, string PhotometricInterpretation, int SamplesPerPixel, int Rows, int Columns);

/// <summary>
/// Makes the bit stream of transfer syntax 1.2.840.10008.1.2.4.50 from a camera's file without touching a bit of its scan. Application data and
/// comments (Exif with place and thumbnail, XMP, colour profile, multi-picture index) and whatever follows the end of the image stay out. The
/// tables, the frame and the scans are ranges of the file. A JFIF or Adobe segment is kept, without thumbnail, only where a decoder would take
/// the picture for another colour model without it (PS3.5 section 8.2.1 lets it be there and recommends its absence).
/// </summary>
public static class JpegBaseline
{
    /// <summary>APP0 "JFIF" version 1.01, no units, 1:1, no thumbnail (ITU-T T.871 section 10.1).</summary>
    private static readonly byte[] BareJfif =
        [0xFF, 0xE0, 0x00, 0x10, (byte)'J', (byte)'F', (byte)'I', (byte)'F', 0, 1, 1, 0, 0, 1, 0, 1, 0, 0];

    private static readonly byte[] StartOfImage = [0xFF, 0xD8];

    /// <summary>Tells whether the file can go as it is.</summary>
    /// <returns>Null when it can, else the first obstacle.</returns>
    public static JpegRefusal? Judge(JpegHeader header)
    {
        ArgumentNullException.ThrowIfNull(header);
        if (header.First(JpegFlaw.NotJpeg) is { } notJpeg)
        {
            return new JpegRefusal(JpegObstacle.NotJpeg, notJpeg.Text);
        }

        // A file that is cut in its headers is torn whatever else may seem wrong with it.
        if (header.First(JpegFlaw.Torn) is { } torn)
        {
            return new JpegRefusal(JpegObstacle.Torn, torn.Text);
        }

        if (header.First(JpegFlaw.Malformed) is { } malformed)
        {
            return new JpegRefusal(JpegObstacle.Malformed, malformed.Text);
        }

        return JudgeProcess(header) ?? JudgeFrame(header);
    }

    private static JpegRefusal? JudgeProcess(JpegHeader header) => header.FrameMarker switch
    {
        0xC0 when header.Precision == 8 => null,
        0xC2 => new JpegRefusal(JpegObstacle.Progressive, "The picture is a progressive JPEG (SOF2), not a baseline one (SOF0)."),
        0xC0 or 0xC1 => new JpegRefusal(JpegObstacle.Extended, string.Create(
            CultureInfo.InvariantCulture,
            $"The picture is an extended sequential JPEG (SOF{header.FrameMarker - 0xC0}, {header.Precision} bits a sample), not a baseline one (SOF0, 8 bits).")),
        _ => new JpegRefusal(JpegObstacle.OtherProcess, string.Create(
            CultureInfo.InvariantCulture,
            $"The picture is coded by a JPEG process (SOF{header.FrameMarker - 0xC0}: lossless, hierarchical or arithmetic) other than baseline (SOF0).")),
    };

    private static JpegRefusal? JudgeFrame(JpegHeader header)
    {
        if (header.Rows == 0)
        {
            return new JpegRefusal(JpegObstacle.LinesUnknown, "The frame header does not give the number of lines (DNL).");
        }

        if (header.Columns == 0)
        {
            return new JpegRefusal(JpegObstacle.Malformed, "The frame header gives a width of 0.");
        }

        if (header.First(JpegFlaw.Damaged) is { } damaged)
        {
            return new JpegRefusal(JpegObstacle.Damaged, damaged.Text);
        }

        switch (JpegColors.Of(header))
        {
            case JpegColor.Cmyk:
                return new JpegRefusal(JpegObstacle.Cmyk, "The picture has four colour components (CMYK); DICOM has no such photometric interpretation.");
            case JpegColor.Unknown:
                return new JpegRefusal(JpegObstacle.Components, string.Create(
                    CultureInfo.InvariantCulture, $"The picture has {header.Components.Count} components; 1 or 3 are possible."));
            case JpegColor.YCbCr or JpegColor.Rgb when header.Components.Any(component =>
                component.Horizontal > header.Components[0].Horizontal || component.Vertical > header.Components[0].Vertical):
                return new JpegRefusal(JpegObstacle.Components, "The picture's first component has fewer samples than another one.");
            default:
                return JudgeScans(header);
        }
    }

    private static JpegRefusal? JudgeScans(JpegHeader header)
    {
        if (header.ScanCount > header.Components.Count)
        {
            return new JpegRefusal(JpegObstacle.Malformed, "The picture has more scans than components.");
        }

        return header.Segments.Any(segment => segment.Marker is 0xDC or 0xDE or 0xDF)
            ? new JpegRefusal(JpegObstacle.Malformed, "The picture has a marker segment that no baseline file has (DNL, DHP or EXP).")
            : null;
    }

    /// <summary>The bit stream for the object.</summary>
    /// <param name="header">What <see cref="JpegHeader.ReadFile"/> said of the file.</param>
    /// <param name="path">The file; it must not change from now on.</param>
    /// <exception cref="InvalidOperationException"><see cref="Judge"/> names an obstacle.</exception>
    public static JpegStream Plan(JpegHeader header, string path)
    {
        if (Judge(header) is { } refusal)
        {
            throw new InvalidOperationException(refusal.Text);
        }

        JpegColor color = JpegColors.Of(header);
        bool needsMarker = JpegColors.WithoutMarkers(header) != color;
        var pieces = new List<PixelSource> { PixelSource.FromBytes(StartOfImage) };
        if (needsMarker)
        {
            pieces.Add(PixelSource.FromBytes(header.HasJfif ? BareJfif : BareAdobe((byte)(header.AdobeTransform ?? 0))));
        }

        AddRanges(pieces, header.Segments, path);
        long length = pieces.Sum(piece => piece.Length);
        if ((length & 1) != 0)
        {
            pieces.Add(PixelSource.FromBytes(new byte[1]));
        }

        return new JpegStream(
            PixelSource.Concat(pieces),
            length,
            color switch { JpegColor.Monochrome => "MONOCHROME2", JpegColor.Rgb => "RGB", _ => "YBR_FULL_422" },
            header.Components.Count,
            header.Rows,
            header.Columns);
    }

    /// <summary>The segments that make the picture; neighbours become one range, so that most files need one or two reads.</summary>
    private static void AddRanges(List<PixelSource> pieces, IReadOnlyList<JpegSegment> segments, string path)
    {
        long start = 0;
        long end = 0;
        foreach (JpegSegment segment in segments.Where(segment => segment.Marker != 0xD8 && !segment.IsApplicationData))
        {
            if (segment.Offset != end)
            {
                pieces.Add(PixelSource.FromFile(path, start, end - start));
                start = segment.Offset;
            }

            end = segment.Offset + segment.Length;
        }

        pieces.Add(PixelSource.FromFile(path, start, end - start));
    }

    /// <summary>APP14 "Adobe" version 100, no flags (Adobe technical note 5116).</summary>
    private static byte[] BareAdobe(byte transform) =>
        [0xFF, 0xEE, 0x00, 0x0E, (byte)'A', (byte)'d', (byte)'o', (byte)'b', (byte)'e', 0, 100, 0, 0, 0, 0, transform];
}
