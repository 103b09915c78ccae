using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;

namespace CameraBridge.Dicom.Iods;

/// <summary>A video bit stream against the transfer syntax and the attributes of the clip (PS3.5 sections 8.2.5 to 8.2.12).</summary>
internal static class ClipRules
{
    private const string VideoSyntaxes = "1.2.840.10008.1.2.4.10";

    public static bool IsVideo(string TransferSyntaxUID) => TransferSyntaxUID.StartsWith(VideoSyntaxes, StringComparison.Ordinal);

    public static void Check(DataSet dataSet, string TransferSyntaxUID, EncapsulatedPixels pixels, FindingList findings)
    {
        if (pixels.OffsetTable.Length > 0)
        {
            findings.Add(Severity.Error, "video.offsets", null, "PixelData", "PS3.5 8.2.5", $"an offset table of {pixels.OffsetTable.Length} bytes", "an empty one");
        }

        // .100 to .106 hold the whole stream in one fragment; the fragmentable ones and HEVC may part it.
        if (pixels.Fragments.Count > 1 && TransferSyntaxUID is TransferSyntaxes.MPEG2MPML or TransferSyntaxes.MPEG2MPHL or TransferSyntaxes.MPEG4HP41
            or TransferSyntaxes.MPEG4HP41BD or TransferSyntaxes.MPEG4HP422D or TransferSyntaxes.MPEG4HP423D or TransferSyntaxes.MPEG4HP42STEREO)
        {
            findings.Add(Severity.Error, "video.fragments", null, "PixelData", "PS3.5 8.2.5", $"{pixels.Fragments.Count} fragments", "one fragment with the whole bit stream");
        }

        if (TransferSyntaxUID != TransferSyntaxes.MPEG2MPML && dataSet.Contains(Tags.PixelAspectRatio))
        {
            findings.Add(Severity.Error, "video.aspect", null, "PixelAspectRatio", "PS3.5 8.2.6", "it is present", "absent: the pixels of this transfer syntax are square");
        }
    }
}
