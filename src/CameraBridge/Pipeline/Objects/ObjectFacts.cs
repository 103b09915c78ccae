using CameraBridge.Configuration;
using CameraBridge.Dicom.Bitstreams;
using CameraBridge.Dicom.Data;

namespace CameraBridge.Pipeline.Objects;

/// <summary>All that an object is made of, so that the same facts always give the same bytes.</summary>
internal sealed record ObjectFacts
{
    /// <summary>The worklist item of the match.</summary>
    public required DataSet Step { get; init; }

    public required InstitutionConfiguration Institution { get; init; }

    public required SourceConfiguration Source { get; init; }

    public required SeriesFacts Series { get; init; }

    public required PictureFacts Picture { get; init; }
}

/// <summary>What the objects of one optic in a sitting have in common.</summary>
/// <param name="Optic">What the pictures become.</param>
/// <param name="SeriesInstanceUID">Made for this series.</param>
/// <param name="SeriesNumber">Number in the study.</param>
/// <param name="StartedAt">When the sitting's first picture was taken; told in the zone of <paramref name="StudyStartedAt"/>.</param>
/// <param name="StudyStartedAt">When the study's first sitting began; its offset is the zone of all dates and times in the objects.</param>
/// <param name="PerformedProcedureStepID">Made for the sitting.</param>
internal sealed record SeriesFacts(
    Optic Optic, string SeriesInstanceUID, int SeriesNumber, DateTimeOffset StartedAt, DateTimeOffset StudyStartedAt, string PerformedProcedureStepID);

/// <summary>What is known of one capture.</summary>
internal sealed record PictureFacts
{
    public required string SOPInstanceUID { get; init; }

    /// <summary>Number in the series, from 1.</summary>
    public required int InstanceNumber { get; init; }

    /// <summary>What the file says of itself.</summary>
    public required JpegHeader Header { get; init; }

    public required Exif Exif { get; init; }

    /// <summary>The file in the spool.</summary>
    public required string Path { get; init; }

    /// <summary>When it was taken, with zone; null when nobody knows.</summary>
    public DateTimeOffset? TakenAt { get; init; }

    /// <summary>"R", "L", or null when no cue says it.</summary>
    public string? Side { get; init; }
}

/// <summary>What came of it: an object that may leave, or the reason why the capture is held.</summary>
internal abstract record ObjectOutcome
{
    /// <summary>The object.</summary>
    /// <param name="DataSet">Its attributes.</param>
    /// <param name="Encoded">The bytes that are sent in <see cref="TransferSyntaxUID"/>: literal ones, and ranges of the spool file.</param>
    /// <param name="TransferSyntaxUID">How they are encoded.</param>
    /// <param name="Notes">What was left out or shortened, in words without patient data.</param>
    internal sealed record Made(DataSet DataSet, PixelSource Encoded, string TransferSyntaxUID, IReadOnlyList<string> Notes) : ObjectOutcome;

    /// <summary>No object.</summary>
    internal sealed record Held(Reason Reason) : ObjectOutcome;
}
