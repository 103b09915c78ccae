using System.Collections.Frozen;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;

namespace CameraBridge.Dicom.Iods;

/// <summary>
/// The conditions that the tables call by name, each as the standard words it; null means that this object does not tell. A condition that no
/// object can answer is not here: the table says "unchecked" and why.
/// </summary>
internal static class IodConditions
{
    private static readonly FrozenDictionary<string, Func<ConditionPlace, bool?>> Named = new Dictionary<string, Func<ConditionPlace, bool?>>
    {
        [nameof(BeyondDefaultRepertoire)] = BeyondDefaultRepertoire,
        [nameof(ColorPhotometric)] = ColorPhotometric,
        [nameof(DeidentifiedWithoutMethodCode)] = DeidentifiedWithoutMethodCode,
        [nameof(DeidentifiedWithoutMethodText)] = DeidentifiedWithoutMethodText,
        [nameof(FramesWithoutSpecimen)] = FramesWithoutSpecimen,
        [nameof(GreyPhotometric)] = GreyPhotometric,
        [nameof(JpegLossyOneSample)] = JpegLossyOneSample,
        [nameof(JpegLossyThreeSamples)] = JpegLossyThreeSamples,
        [nameof(Monochrome2)] = Monochrome2,
        [nameof(MoreThanOneSample)] = MoreThanOneSample,
        [nameof(NativeThreeSamples)] = NativeThreeSamples,
        [nameof(PixelsBehindUrl)] = PixelsBehindUrl,
        [nameof(SidedBodyPartWithoutImageLaterality)] = SidedBodyPartWithoutImageLaterality,
        [nameof(StereoPartner)] = StereoPartner,
        [nameof(VideoSyntax)] = VideoSyntax,
    }.ToFrozenDictionary();

    /// <summary>The condition with this name, or null.</summary>
    public static Func<ConditionPlace, bool?>? Find(string name) => Named.GetValueOrDefault(name);

    // PS3.3 C.12.1: "Required if an expanded or replacement character set is used."
    private static bool? BeyondDefaultRepertoire(ConditionPlace place) => UsesOtherRepertoire(place.Root);

    private static bool UsesOtherRepertoire(DataSet dataSet)
    {
        const byte escape = 0x1B;
        foreach (Element element in dataSet)
        {
            ReadOnlySpan<byte> value = element.Value.Span;
            if (element.Vr.UsesCharacterSet() && (value.ContainsAnyExceptInRange((byte)0, (byte)0x7F) || value.Contains(escape)))
            {
                return true;
            }

            foreach (DataSet item in element.Items ?? [])
            {
                if (UsesOtherRepertoire(item))
                {
                    return true;
                }
            }
        }

        return false;
    }

    // PS3.3 C.7.6.3.1.2: which interpretations have one sample, and which three.
    private static bool? GreyPhotometric(ConditionPlace place) =>
        Photometric(place) is "MONOCHROME1" or "MONOCHROME2" or "PALETTE COLOR";

    private static bool? ColorPhotometric(ConditionPlace place) =>
        Photometric(place) is "RGB" or "YBR_FULL" or "YBR_FULL_422" or "YBR_PARTIAL_420" or "YBR_RCT" or "YBR_ICT" or "XYB";

    private static bool? Monochrome2(ConditionPlace place) => Photometric(place) == "MONOCHROME2";

    private static bool? MoreThanOneSample(ConditionPlace place) => Samples(place) is { } samples && samples != "1";

    // PS3.5 Table 8.2.1-1.
    private static bool? JpegLossyOneSample(ConditionPlace place) => IsJpegLossy(place) && Samples(place) == "1";

    private static bool? JpegLossyThreeSamples(ConditionPlace place) => IsJpegLossy(place) && Samples(place) == "3";

    private static bool? NativeThreeSamples(ConditionPlace place) =>
        Samples(place) == "3" && place.TransferSyntaxUID is TransferSyntaxes.ImplicitVRLittleEndian or TransferSyntaxes.ExplicitVRLittleEndian
            or TransferSyntaxes.ExplicitVRBigEndian or TransferSyntaxes.DeflatedExplicitVRLittleEndian;

    // PS3.5 sections 8.2.5 to 8.2.11.
    private static bool? VideoSyntax(ConditionPlace place) =>
        place.TransferSyntaxUID.StartsWith("1.2.840.10008.1.2.4.10", StringComparison.Ordinal);

    private static bool? PixelsBehindUrl(ConditionPlace place) => place.TransferSyntaxUID is
        TransferSyntaxes.JPIPReferenced or TransferSyntaxes.JPIPReferencedDeflate
        or TransferSyntaxes.JPIPHTJ2KReferenced or TransferSyntaxes.JPIPHTJ2KReferencedDeflate;

    // PS3.3 C.7.1.1: "... is YES and De-identification Method Code Sequence (0012,0064) is not present", and the other way round.
    private static bool? DeidentifiedWithoutMethodCode(ConditionPlace place) =>
        IsDeidentified(place) && !place.Here.Contains(Tags.DeidentificationMethodCodeSequence);

    private static bool? DeidentifiedWithoutMethodText(ConditionPlace place) =>
        IsDeidentified(place) && !place.Here.Contains(Tags.DeidentificationMethod);

    // PS3.3 C.8.12.1: "Required if Number of Frames (0028,0008) is present and Specimen Description Sequence (0040,0560) is absent."
    private static bool? FramesWithoutSpecimen(ConditionPlace place) =>
        place.Here.Contains(Tags.NumberOfFrames) && !place.Here.Contains(Tags.SpecimenDescriptionSequence);

    // PS3.3 C.8.12.1: "Required if Image Type (0008,0008) Value 3 is present and has a Value of STEREO L or STEREO R."
    private static bool? StereoPartner(ConditionPlace place) =>
        place.Here[Tags.ImageType] is { } type && ElementText.Values(type) is [_, _, "STEREO L" or "STEREO R", ..];

    // PS3.3 C.7.3.1: "Required if the body part examined is a paired structure and Image Laterality (0020,0062) or Frame Laterality (0020,9072)
    // or Measurement Laterality (0024,0113) are not present." Which parts are paired, the object does not say: BodyParts has a table.
    private static bool? SidedBodyPartWithoutImageLaterality(ConditionPlace place) =>
        place.Root[Tags.ImageLaterality] is { IsEmpty: false } ? false : BodyParts.IsPaired(place.Root);

    private static string? Photometric(ConditionPlace place) => ElementText.First(place.Here[Tags.PhotometricInterpretation]);

    private static string? Samples(ConditionPlace place) => ElementText.First(place.Here[Tags.SamplesPerPixel]);

    private static bool IsJpegLossy(ConditionPlace place) =>
        place.TransferSyntaxUID is TransferSyntaxes.JPEGBaseline8Bit or TransferSyntaxes.JPEGExtended12Bit;

    private static bool IsDeidentified(ConditionPlace place) => ElementText.First(place.Here[Tags.PatientIdentityRemoved]) == "YES";
}
