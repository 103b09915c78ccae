using System.Buffers.Binary;
using System.Collections.Frozen;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;

namespace CameraBridge.Dicom.Iods;

/// <summary>A condition that tables call by name.</summary>
/// <param name="Says">When the attribute is required, in words.</param>
/// <param name="Holds">True or false; null when this object does not tell.</param>
internal sealed record NamedCondition(string Says, Func<ConditionPlace, bool?> Holds);

/// <summary>
/// The conditions that the tables call by name, each as the standard words it; null means that this object does not tell. A condition that no
/// object can answer is not here: the table says "unchecked" and why.
/// </summary>
internal static partial class IodConditions
{
    private static readonly FrozenDictionary<string, NamedCondition> Named = new Dictionary<string, NamedCondition>(PhotometricConditions())
    {
        [nameof(AmbiguousScheme)] = new("the coding scheme has versions that differ in the meaning of a code", AmbiguousScheme),
        [nameof(BeyondDefaultRepertoire)] = new("a text goes beyond the default repertoire", BeyondDefaultRepertoire),
        [nameof(DeidentifiedWithoutMethodCode)] = new("the identity was removed and no code tells how", DeidentifiedWithoutMethodCode),
        [nameof(DeidentifiedWithoutMethodText)] = new("the identity was removed and no text tells how", DeidentifiedWithoutMethodText),
        [nameof(Derived)] = new("Image Type value 1 is DERIVED", Derived),
        [nameof(FramesInTime)] = new("the frames follow each other in time", FramesInTime),
        [nameof(FramesWithoutSpecimen)] = new("Number of Frames is present and Specimen Description Sequence is not", FramesWithoutSpecimen),
        [nameof(FrameTimePointedTo)] = new("Frame Increment Pointer points to Frame Time", FrameTimePointedTo),
        [nameof(FrameTimeVectorPointedTo)] = new("Frame Increment Pointer points to Frame Time Vector", FrameTimeVectorPointedTo),
        [nameof(NonSquarePixels)] = new("the pixels are not square and no spacing tells so", NonSquarePixels),
        [nameof(Original)] = new("Image Type value 1 is ORIGINAL", Original),
        [nameof(PixelsBehindUrl)] = new("the transfer syntax is one of referenced pixels", PixelsBehindUrl),
        [nameof(PointSequenceNeeded)] = new("the frames are volumetric, or there are several anatomic structures", PointSequenceNeeded),
        [nameof(ScanningLaser)] = new("the device is a scanning laser ophthalmoscope", ScanningLaser),
        [nameof(SidedBodyPartWithoutImageLaterality)] = new("the body part is paired and Image Laterality is not present", SidedBodyPartWithoutImageLaterality),
        [nameof(SpacingNotMapped)] = new("the size of a pixel on the retina is known and no map or view angle tells it", SpacingNotMapped),
        [nameof(StereoPartner)] = new("Image Type value 3 is STEREO L or STEREO R", StereoPartner),
        [nameof(VolumetricWithoutPointSequence)] = new("the object is volumetric and has no reference point sequence", VolumetricWithoutPointSequence),
        [nameof(VolumetricWithoutReferencePoint)] = new("the object is volumetric and has no reference point", VolumetricWithoutReferencePoint),
    }.ToFrozenDictionary();

    /// <summary>The condition with this name, or null.</summary>
    public static NamedCondition? Find(string name) => Named.GetValueOrDefault(name);

    // PS3.3 8.2: "Required if the Value of Coding Scheme Designator is not sufficient to identify the Code Value unambiguously". Of those that
    // visible light uses, the codes of each scheme keep their meaning; of other schemes nothing is known here.
    private static bool? AmbiguousScheme(ConditionPlace place) => ElementText.First(place.Here[Tags.CodingSchemeDesignator]) switch
    {
        "SCT" or "SRT" or "DCM" or "UCUM" or "LN" or "FMA" or "DCMUID" or null => false,
        "BI" or "SCPECG" or "BARI" or "NCDR" => true,
        _ => null,
    };

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

    private static bool? PixelsBehindUrl(ConditionPlace place) => place.TransferSyntaxUID is
        TransferSyntaxes.JPIPReferenced or TransferSyntaxes.JPIPReferencedDeflate
        or TransferSyntaxes.JPIPHTJ2KReferenced or TransferSyntaxes.JPIPHTJ2KReferencedDeflate;

    // PS3.3 C.7.1.1: "... is YES and De-identification Method Code Sequence (0012,0064) is not present", and the other way round.
    private static bool? DeidentifiedWithoutMethodCode(ConditionPlace place) =>
        IsDeidentified(place) && !place.Here.Contains(Tags.DeidentificationMethodCodeSequence);

    private static bool? DeidentifiedWithoutMethodText(ConditionPlace place) =>
        IsDeidentified(place) && !place.Here.Contains(Tags.DeidentificationMethod);

    private static bool IsDeidentified(ConditionPlace place) => ElementText.First(place.Here[Tags.PatientIdentityRemoved]) == "YES";

    // PS3.3 C.8.12.1: "Required if Number of Frames (0028,0008) is present and Specimen Description Sequence (0040,0560) is absent."
    private static bool? FramesWithoutSpecimen(ConditionPlace place) =>
        place.Here.Contains(Tags.NumberOfFrames) && !place.Here.Contains(Tags.SpecimenDescriptionSequence);

    // PS3.3 C.8.12.1: "Required if Image Type (0008,0008) Value 3 is present and has a Value of STEREO L or STEREO R."
    private static bool? StereoPartner(ConditionPlace place) =>
        place.Here[Tags.ImageType] is { } type && ElementText.Values(type) is [_, _, "STEREO L" or "STEREO R", ..];

    // PS3.3 C.8.17.2.
    private static bool? Original(ConditionPlace place) => FirstImageType(place) is { } type ? type == "ORIGINAL" : null;

    private static bool? Derived(ConditionPlace place) => FirstImageType(place) is { } type ? type == "DERIVED" : null;

    private static string? FirstImageType(ConditionPlace place) => ElementText.First(place.Root[Tags.ImageType]);

    // PS3.3 C.7.6.5: "Required if Frame Increment Pointer (0028,0009) points to Frame Time", or to Frame Time Vector.
    private static bool? FrameTimePointedTo(ConditionPlace place) => PointsTo(place.Root, Tags.FrameTime);

    private static bool? FrameTimeVectorPointedTo(ConditionPlace place) => PointsTo(place.Root, Tags.FrameTimeVector);

    // PS3.3 Table A.41-1: "Required if there is a sequential temporal relationship between all Frames". One frame stands alone; frames that are
    // counted by time follow each other.
    private static bool? FramesInTime(ConditionPlace place) =>
        ElementText.First(place.Root[Tags.NumberOfFrames]) is { } frames && frames != "1"
        && (PointsTo(place.Root, Tags.FrameTime) == true || PointsTo(place.Root, Tags.FrameTimeVector) == true) ? true : null;

    private static bool? PointsTo(DataSet root, Tag tag)
    {
        if (root[Tags.FrameIncrementPointer] is not { IsEmpty: false, Vr: Vr.AT } pointer)
        {
            return null;
        }

        ReadOnlySpan<byte> value = pointer.Value.Span;
        for (; value.Length >= 4; value = value[4..])
        {
            if (BinaryPrimitives.ReadUInt16LittleEndian(value) == tag.Group && BinaryPrimitives.ReadUInt16LittleEndian(value[2..]) == tag.Number)
            {
                return true;
            }
        }

        return false;
    }

    // PS3.3 C.7.6.3: "Required if the aspect ratio values do not have a ratio of 1:1 and the physical pixel spacing is not specified".
    private static bool? NonSquarePixels(ConditionPlace place) =>
        place.Here.Contains(Tags.PixelSpacing) || place.Here.Contains(Tags.ImagerPixelSpacing)
        || (place.Here[Tags.PixelAspectRatio] is { } ratio && ElementText.Values(ratio) is [var vertical, var horizontal] && vertical == horizontal)
            ? false : null;

    // PS3.3 C.8.17.2: not beside a map of the retina or view angles. Whether the size of a pixel is known, the object does not tell.
    private static bool? SpacingNotMapped(ConditionPlace place) =>
        place.Here.Contains(Tags.TwoDimensionalToThreeDimensionalMapSequence)
        || (place.Here.Contains(Tags.XCoordinatesCenterPixelViewAngle) && place.Here.Contains(Tags.YCoordinatesCenterPixelViewAngle))
            ? false : null;

    // PS3.3 C.8.17.5.
    private static bool? VolumetricWithoutPointSequence(ConditionPlace place) =>
        IsVolumetric(place) && !place.Here.Contains(Tags.OphthalmicAnatomicReferencePointSequence);

    private static bool? VolumetricWithoutReferencePoint(ConditionPlace place) =>
        IsVolumetric(place)
        && (place.Here[Tags.OphthalmicAnatomicReferencePointXCoordinate] is not { IsEmpty: false }
            || place.Here[Tags.OphthalmicAnatomicReferencePointYCoordinate] is not { IsEmpty: false });

    private static bool? PointSequenceNeeded(ConditionPlace place) =>
        IsVolumetric(place) || place.Here[Tags.PrimaryAnatomicStructureSequence] is { Items.Count: > 1 };

    private static bool IsVolumetric(ConditionPlace place) => ElementText.First(place.Root[Tags.OphthalmicVolumetricPropertiesFlag]) == "YES";

    // PS3.3 C.8.17.3: (392001008, SCT, "Scanning Laser Ophthalmoscope") in Acquisition Device Type Code Sequence.
    private static bool? ScanningLaser(ConditionPlace place) =>
        place.Root[Tags.AcquisitionDeviceTypeCodeSequence]?.Items is [var device, ..] && ElementText.First(device[Tags.CodeValue]) == "392001008";

    // PS3.3 C.7.3.1: "Required if the body part examined is a paired structure and Image Laterality (0020,0062) or Frame Laterality (0020,9072)
    // or Measurement Laterality (0024,0113) are not present." Which parts are paired, the object does not say: BodyParts has a table.
    private static bool? SidedBodyPartWithoutImageLaterality(ConditionPlace place) =>
        place.Root[Tags.ImageLaterality] is { IsEmpty: false } ? false : BodyParts.IsPaired(place.Root);
}
