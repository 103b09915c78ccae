using CameraBridge.Dicom.Dictionary;

namespace CameraBridge.Dicom.Iods;

/// <summary>Conditions on samples, photometric interpretation and transfer syntax: PS3.3 section C.7.6.3.1.2, PS3.5 section 8.2.</summary>
internal static partial class IodConditions
{
    private enum Coding
    {
        Other,
        Native,
        Rle,
        JpegLossy,
        JpegLossless,
        JpegLs,
        JpegLsNear,
        Jpeg2000,
        Jpeg2000Lossless,
        Video,
    }

    private static Dictionary<string, NamedCondition> PhotometricConditions() => new()
    {
        ["ColorPhotometric"] = new("the photometric interpretation has three samples", IsColor),
        ["GreyPhotometric"] = new("the photometric interpretation has one sample", IsGrey),
        ["Jpeg2000LosslessOneSample"] = Samples(Coding.Jpeg2000Lossless, "1"),
        ["Jpeg2000LosslessThreeSamples"] = Samples(Coding.Jpeg2000Lossless, "3"),
        ["Jpeg2000OneSample"] = Samples(Coding.Jpeg2000, "1"),
        ["Jpeg2000ThreeSamples"] = Samples(Coding.Jpeg2000, "3"),
        ["JpegLosslessOneSample"] = Samples(Coding.JpegLossless, "1"),
        ["JpegLosslessThreeSamples"] = Samples(Coding.JpegLossless, "3"),
        ["JpegLossyOneSample"] = Samples(Coding.JpegLossy, "1"),
        ["JpegLossyThreeSamples"] = Samples(Coding.JpegLossy, "3"),
        ["JpegLsNearOneSample"] = Samples(Coding.JpegLsNear, "1"),
        ["JpegLsNearThreeSamples"] = Samples(Coding.JpegLsNear, "3"),
        ["JpegLsOneSample"] = Samples(Coding.JpegLs, "1"),
        ["JpegLsThreeSamples"] = Samples(Coding.JpegLs, "3"),
        ["Monochrome1"] = new("the photometric interpretation is MONOCHROME1", place => Photometric(place) == "MONOCHROME1"),
        ["Monochrome2"] = new("the photometric interpretation is MONOCHROME2", place => Photometric(place) == "MONOCHROME2"),
        ["MoreThanOneSample"] = new("Samples per Pixel is greater than 1", place => SampleCount(place) is { } samples && samples != "1"),
        ["NativeThreeSamples"] = Samples(Coding.Native, "3"),
        ["RleOneSample"] = Samples(Coding.Rle, "1"),
        ["RleThreeSamples"] = Samples(Coding.Rle, "3"),
        ["VideoSyntax"] = new("the transfer syntax is one of video", place => CodingOf(place.TransferSyntaxUID) == Coding.Video),
    };

    private static NamedCondition Samples(Coding coding, string samples) => new(
        $"the transfer syntax is one of {coding} and there are {samples} samples",
        place => CodingOf(place.TransferSyntaxUID) == coding && SampleCount(place) == samples);

    private static bool? IsGrey(ConditionPlace place) => Photometric(place) is "MONOCHROME1" or "MONOCHROME2" or "PALETTE COLOR";

    private static bool? IsColor(ConditionPlace place) =>
        Photometric(place) is "RGB" or "YBR_FULL" or "YBR_FULL_422" or "YBR_PARTIAL_420" or "YBR_RCT" or "YBR_ICT" or "XYB";

    private static string? Photometric(ConditionPlace place) => ElementText.First(place.Here[Tags.PhotometricInterpretation]);

    private static string? SampleCount(ConditionPlace place) => ElementText.First(place.Here[Tags.SamplesPerPixel]);

    private static Coding CodingOf(string TransferSyntaxUID) => TransferSyntaxUID switch
    {
        TransferSyntaxes.ImplicitVRLittleEndian or TransferSyntaxes.ExplicitVRLittleEndian or TransferSyntaxes.ExplicitVRBigEndian
            or TransferSyntaxes.DeflatedExplicitVRLittleEndian => Coding.Native,
        TransferSyntaxes.RLELossless => Coding.Rle,
        TransferSyntaxes.JPEGBaseline8Bit or TransferSyntaxes.JPEGExtended12Bit => Coding.JpegLossy,
        TransferSyntaxes.JPEGLossless or TransferSyntaxes.JPEGLosslessSV1 => Coding.JpegLossless,
        TransferSyntaxes.JPEGLSLossless => Coding.JpegLs,
        TransferSyntaxes.JPEGLSNearLossless => Coding.JpegLsNear,
        TransferSyntaxes.JPEG2000Lossless => Coding.Jpeg2000Lossless,
        TransferSyntaxes.JPEG2000 => Coding.Jpeg2000,
        _ when TransferSyntaxUID.StartsWith("1.2.840.10008.1.2.4.10", StringComparison.Ordinal) => Coding.Video,
        _ => Coding.Other,
    };
}
