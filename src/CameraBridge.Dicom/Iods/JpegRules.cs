using CameraBridge.Dicom.Bitstreams;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;

namespace CameraBridge.Dicom.Iods;

/// <summary>A JPEG bit stream (ITU-T T.81 | ISO/IEC 10918-1) against the transfer syntax and the attributes of the picture.</summary>
internal static class JpegRules
{
    private const string Encapsulation = "PS3.5 8.2.1", Pixels = "PS3.3 C.7.6.3";

    public static void Check(DataSet dataSet, string TransferSyntaxUID, byte[] bytes, int frame, int frames, FindingList findings)
    {
        JpegHeader header;
        using (var stream = new MemoryStream(bytes, writable: false))
        {
            header = JpegHeader.Read(stream);
        }

        string where = frames == 1 ? "the bit stream" : $"frame {frame}";
        if (header.First(JpegFlaw.NotJpeg) is not null || header.FrameMarker == 0)
        {
            findings.Add(Severity.Error, "jpeg.none", null, "PixelData", Encapsulation, $"{where} is no JPEG picture", "a JPEG bit stream");
            return;
        }

        CheckWhole(header, where, findings);
        CheckProcess(TransferSyntaxUID, header, where, findings);
        CheckNumber(dataSet, Tags.Rows, "Rows", header.Rows, where, findings);
        CheckNumber(dataSet, Tags.Columns, "Columns", header.Columns, where, findings);
        CheckNumber(dataSet, Tags.SamplesPerPixel, "SamplesPerPixel", header.Components.Count, where, findings);
        CheckNumber(dataSet, Tags.BitsStored, "BitsStored", header.Precision, where, findings);
        CheckColor(dataSet, TransferSyntaxUID, header, where, findings);
        CheckMetadata(bytes, header, where, findings);
    }

    private static void CheckWhole(JpegHeader header, string where, FindingList findings)
    {
        foreach (JpegFlaw flaw in (JpegFlaw[])[JpegFlaw.Malformed, JpegFlaw.Damaged, JpegFlaw.Torn])
        {
            if (header.First(flaw) is { } finding)
            {
                findings.Add(Severity.Error, "jpeg.torn", null, "PixelData", Encapsulation, $"{where}: {finding.Text}", "a whole JPEG picture");
                return;
            }
        }

        // One zero pads to an even length (PS3.5 section A.4).
        if (header.TrailingBytes > 1)
        {
            findings.Add(
                Severity.Warning, "jpeg.trailer", null, "PixelData", "PS3.5 A.4", $"{header.TrailingBytes} bytes behind the end of the picture in {where}", "one byte of padding at most");
        }
    }

    // PS3.5 section A.4.1, PS3.6 Annex A: process 1 (SOF0) in .50, processes 2 and 4 (SOF1) in .51, lossless process 14 (SOF3) in .57 and .70.
    private static void CheckProcess(string TransferSyntaxUID, JpegHeader header, string where, FindingList findings)
    {
        byte right = TransferSyntaxUID switch
        {
            TransferSyntaxes.JPEGBaseline8Bit => 0xC0,
            TransferSyntaxes.JPEGExtended12Bit => 0xC1,
            _ => 0xC3,
        };
        if (header.FrameMarker != right)
        {
            findings.Add(Severity.Error, "jpeg.process", null, "PixelData", "PS3.5 A.4.1", $"{where} has frame marker SOF{header.FrameMarker - 0xC0}", $"SOF{right - 0xC0} in this transfer syntax");
        }
    }

    private static void CheckNumber(DataSet dataSet, Tag tag, string keyword, int inStream, string where, FindingList findings)
    {
        if (inStream > 0 && dataSet.GetInt32(tag) is { } told && told != inStream)
        {
            findings.Add(Severity.Error, "stream.differs", null, keyword, Pixels, $"{told}", $"{inStream}, as in {where}");
        }
    }

    private static void CheckColor(DataSet dataSet, string TransferSyntaxUID, JpegHeader header, string where, FindingList findings)
    {
        if (ElementText.First(dataSet[Tags.PhotometricInterpretation]) is not { } told || header.Components.Count is not (1 or 3))
        {
            return;
        }

        // What a bit stream is, it says itself only by convention: JFIF, Adobe's segment, the identifiers of its components.
        bool isLossless = TransferSyntaxUID is TransferSyntaxes.JPEGLossless or TransferSyntaxes.JPEGLosslessSV1;
        JpegColor color = JpegColors.Of(header);
        bool saysSo = header.HasJfif || header.AdobeTransform is not null || color == JpegColor.Rgb;
        if (color == JpegColor.Rgb && told.StartsWith("YBR", StringComparison.Ordinal))
        {
            findings.Add(Severity.Error, "jpeg.color", null, "PhotometricInterpretation", Pixels, $"{told}, where {where} says that it is RGB", "RGB");
        }
        else if (color == JpegColor.YCbCr && told == "RGB" && saysSo && !isLossless)
        {
            findings.Add(Severity.Error, "jpeg.color", null, "PhotometricInterpretation", Pixels, $"RGB, where {where} says that it is YCbCr", "YBR_FULL_422");
        }

        if (told == "YBR_FULL_422" && header.Components is [{ Horizontal: var h, Vertical: var v }, { Horizontal: var ch, Vertical: var cv }, ..] && (h != ch * 2 || v != cv))
        {
            findings.Add(
                Severity.Note, "jpeg.sampling", null, "PhotometricInterpretation", "PS3.5 8.2.1 Note 1", $"YBR_FULL_422, where {where} halves the colour {Sampling(h, v, ch, cv)}",
                "this label for every lossy YCbCr stream; readers go by the stream");
        }
    }

    private static string Sampling(int h, int v, int ch, int cv) => (h / Math.Max(ch, 1), v / Math.Max(cv, 1)) switch
    {
        (1, 1) => "not at all (4:4:4)",
        (2, 2) => "both ways (4:2:0)",
        (1, 2) => "upright only (4:4:0)",
        _ => "in another way",
    };

    private static void CheckMetadata(byte[] bytes, JpegHeader header, string where, FindingList findings)
    {
        if (header.Exif.IsEmpty)
        {
            return;
        }

        if (Exif.Read(header.Exif.Span).Orientation is { } orientation and not (0 or 1))
        {
            findings.Add(
                Severity.Warning, "jpeg.orientation", null, "PixelData", Encapsulation, $"{where} asks for orientation {orientation}, which readers of DICOM do not know", "a picture that stands upright as it is encoded");
        }

        findings.Add(
            Severity.Note, "jpeg.exif", null, "PixelData", Encapsulation + " Note 3", $"{where} of {bytes.Length} bytes carries Exif data, which may tell place, device or owner", "application segments left out, or kept on purpose");
    }
}
