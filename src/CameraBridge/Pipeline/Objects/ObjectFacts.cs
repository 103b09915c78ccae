using CameraBridge.Configuration;
using CameraBridge.Dicom.Data;
using CameraBridge.Pipeline.Objects.Optics;
using CameraBridge.Pipeline.Sittings.Cues.Cards;

namespace CameraBridge.Pipeline.Objects;

/// <summary>All that the objects of a series are made of besides their pictures, so that the same facts always give the same bytes.</summary>
internal sealed record SeriesFacts
{
    /// <summary>The worklist item of the match.</summary>
    public required DataSet Step { get; init; }

    public required InstitutionConfiguration Institution { get; init; }

    public required SourceConfiguration Source { get; init; }

    /// <summary>What the pictures become.</summary>
    public required Optic Optic { get; init; }

    public CaptureKind Kind { get; init; }

    /// <summary>Made for this series.</summary>
    public required string SeriesInstanceUID { get; init; }

    /// <summary>Number in the study.</summary>
    public required int SeriesNumber { get; init; }

    /// <summary>When the sitting's first picture was taken; told in the zone of <see cref="StudyStartedAt"/>.</summary>
    public required DateTimeOffset StartedAt { get; init; }

    /// <summary>When the study's first sitting began; its offset is the zone of all dates and times in the objects.</summary>
    public required DateTimeOffset StudyStartedAt { get; init; }

    /// <summary>Made for the sitting.</summary>
    public required string PerformedProcedureStepID { get; init; }

    /// <summary>SOP Instance UID of the performed step that the RIS is told of; null where it is told of none.</summary>
    public string? PerformedStepUID { get; init; }

    public string SOPClassUID => Optic.Of(Kind).SOPClassUID;
}

/// <summary>What is known of one capture.</summary>
internal sealed record PictureFacts
{
    public required string SOPInstanceUID { get; init; }

    /// <summary>Number in the series, from 1: the capture's place among those of its sitting.</summary>
    public required int InstanceNumber { get; init; }

    /// <summary>What goes into Pixel Data.</summary>
    public required Content Content { get; init; }

    /// <summary>When it was taken, with zone; null when nobody knows.</summary>
    public DateTimeOffset? TakenAt { get; init; }

    /// <summary>What cues say of it: side, optic's options and values.</summary>
    public OpticValues Said { get; init; } = OpticValues.None;

    /// <summary>The scale that holds for it, where the site allows it to be said; null for clips and where none is known.</summary>
    public ScaleMeasure? Scale { get; init; }

    /// <summary>The clip during which a still was taken, or null.</summary>
    public ClipMoment? During { get; init; }
}

/// <summary>A moment in a clip that has become an object of the same study.</summary>
/// <param name="SOPClassUID">Of the clip's object.</param>
/// <param name="SOPInstanceUID">Of the clip's object.</param>
/// <param name="SeriesInstanceUID">Of the clip's series.</param>
/// <param name="Frame">Number of the frame that is shown then, from 1.</param>
/// <param name="Since">Time since the first frame; not negative. As exact as the camera's clock tells its pictures' times.</param>
internal sealed record ClipMoment(string SOPClassUID, string SOPInstanceUID, string SeriesInstanceUID, int Frame, TimeSpan Since);

/// <summary>What came of it: an object that may leave, or the reason why the capture is held.</summary>
internal abstract record ObjectOutcome
{
    /// <summary>The object.</summary>
    /// <param name="DataSet">Its attributes.</param>
    /// <param name="Encoded">The bytes that are sent in <see cref="TransferSyntaxUID"/>: literal ones, and ranges of files in the spool.</param>
    /// <param name="TransferSyntaxUID">How they are encoded.</param>
    /// <param name="Notes">What was left out or shortened, in words without patient data.</param>
    internal sealed record Made(DataSet DataSet, PixelSource Encoded, string TransferSyntaxUID, IReadOnlyList<string> Notes) : ObjectOutcome;

    /// <summary>No object.</summary>
    internal sealed record Held(Reason Reason) : ObjectOutcome;
}
