using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;

namespace CameraBridge.Dicom.Part10;

/// <summary>
/// What the records of a directory tell: the keys of PS3.3 sections F.5.1 to F.5.4 (edition 2024e), those that the general profiles add (PS3.11 table H.3-2,
/// which Annex J takes over; edition 2017c), and the description of a series, for people.
/// </summary>
public static class MediaDirectoryKeys
{
    internal static readonly IReadOnlyList<Tag> PatientKnownOrEmpty = [Tags.PatientName];

    internal static readonly IReadOnlyList<Tag> PatientIfKnown = [Tags.IssuerOfPatientID, Tags.PatientBirthDate, Tags.PatientSex];

    internal static readonly IReadOnlyList<Tag> StudyAlways = [Tags.StudyDate, Tags.StudyTime, Tags.StudyInstanceUID];

    internal static readonly IReadOnlyList<Tag> StudyKnownOrEmpty = [Tags.AccessionNumber, Tags.StudyDescription];

    internal static readonly IReadOnlyList<Tag> SeriesAlways = [Tags.Modality, Tags.SeriesInstanceUID];

    internal static readonly IReadOnlyList<Tag> SeriesIfKnown = [Tags.SeriesDescription, Tags.InstitutionName, Tags.InstitutionAddress, Tags.PerformingPhysicianName];

    internal static readonly IReadOnlyList<Tag> ImageAlways = [Tags.Rows, Tags.Columns];

    internal static readonly IReadOnlyList<Tag> ImageIfKnown =
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

    /// <summary>All keys, by record in the order of the levels.</summary>
    public static IReadOnlyList<MediaKey> All { get; } =
    [
        new("PATIENT", Tags.PatientID, MediaKeyPresence.Always),
        .. PatientKnownOrEmpty.Select(tag => new MediaKey("PATIENT", tag, MediaKeyPresence.KnownOrEmpty)),
        .. PatientIfKnown.Select(tag => new MediaKey("PATIENT", tag, MediaKeyPresence.IfKnown)),
        .. StudyAlways.Select(tag => new MediaKey("STUDY", tag, MediaKeyPresence.Always)),
        new("STUDY", Tags.StudyID, MediaKeyPresence.Supplied),
        .. StudyKnownOrEmpty.Select(tag => new MediaKey("STUDY", tag, MediaKeyPresence.KnownOrEmpty)),
        .. SeriesAlways.Select(tag => new MediaKey("SERIES", tag, MediaKeyPresence.Always)),
        new("SERIES", Tags.SeriesNumber, MediaKeyPresence.Supplied),
        .. SeriesIfKnown.Select(tag => new MediaKey("SERIES", tag, MediaKeyPresence.IfKnown)),
        new("IMAGE", Tags.InstanceNumber, MediaKeyPresence.Supplied),
        .. ImageAlways.Select(tag => new MediaKey("IMAGE", tag, MediaKeyPresence.Always)),
        .. ImageIfKnown.Select(tag => new MediaKey("IMAGE", tag, MediaKeyPresence.IfKnown)),
    ];

    /// <summary>Whose picture it is: two objects of one Patient ID that tell different things of these are of two patients, for all that is known.</summary>
    internal static readonly IReadOnlyList<Tag> Identity = [Tags.PatientName, Tags.PatientBirthDate, Tags.PatientSex];
}

/// <summary>A key of directory records.</summary>
/// <param name="RecordType">(0004,1430) of its records.</param>
/// <param name="Tag">The attribute.</param>
/// <param name="Presence">When it is there.</param>
public sealed record MediaKey(string RecordType, Tag Tag, MediaKeyPresence Presence);

/// <summary>When a key is there.</summary>
public enum MediaKeyPresence
{
    /// <summary>Always, with the image's value; an image without it is refused.</summary>
    Always,

    /// <summary>Always, with the image's value or, where it has none, a number.</summary>
    Supplied,

    /// <summary>Always; without a value where none is known.</summary>
    KnownOrEmpty,

    /// <summary>Where an image below tells it.</summary>
    IfKnown,
}
