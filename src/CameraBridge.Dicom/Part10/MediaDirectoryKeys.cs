using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;

namespace CameraBridge.Dicom.Part10;

/// <summary>
/// What the records of a directory tell: the keys of PS3.3 sections F.5.1 to F.5.4 (edition 2024e), those that the general profiles add (PS3.11 table H.3-2,
/// which Annex J takes over; edition 2017c), and the description of a series, for people.
/// </summary>
internal static class MediaDirectoryKeys
{
    /// <summary>Type 2: there with or without a value.</summary>
    public static readonly IReadOnlyList<Tag> PatientKnownOrEmpty = [Tags.PatientName];

    public static readonly IReadOnlyList<Tag> PatientIfKnown = [Tags.IssuerOfPatientID, Tags.PatientBirthDate, Tags.PatientSex];

    public static readonly IReadOnlyList<Tag> StudyAlways = [Tags.StudyDate, Tags.StudyTime, Tags.StudyInstanceUID];

    public static readonly IReadOnlyList<Tag> StudyKnownOrEmpty = [Tags.AccessionNumber, Tags.StudyDescription];

    public static readonly IReadOnlyList<Tag> SeriesAlways = [Tags.Modality, Tags.SeriesInstanceUID];

    public static readonly IReadOnlyList<Tag> SeriesIfKnown = [Tags.SeriesDescription, Tags.InstitutionName, Tags.InstitutionAddress, Tags.PerformingPhysicianName];

    public static readonly IReadOnlyList<Tag> ImageAlways = [Tags.Rows, Tags.Columns];

    public static readonly IReadOnlyList<Tag> ImageIfKnown =
    [
        Tags.ImageType,
        Tags.AcquisitionDateTime,
        Tags.ReferencedImageSequence,
        Tags.AcquisitionTimeSynchronized,
        Tags.ImagePositionPatient,
        Tags.ImageOrientationPatient,
        Tags.FrameOfReferenceUID,
        Tags.SynchronizationFrameOfReferenceUID,
        Tags.NumberOfFrames,
        Tags.PixelSpacing,
        Tags.LossyImageCompressionRatio,
        Tags.CalibrationImage,
    ];

    /// <summary>Whose picture it is: two objects of one Patient ID that tell different things of these are of two patients, for all that is known.</summary>
    public static readonly IReadOnlyList<Tag> Identity = [Tags.PatientName, Tags.PatientBirthDate, Tags.PatientSex];
}
