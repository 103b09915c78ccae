using CameraBridge.Configuration;
using CameraBridge.Persistence;
using CameraBridge.Pipeline.Objects;
using CameraBridge.Pipeline.Objects.Optics;
using CameraBridge.Pipeline.Sittings.Cues;

namespace CameraBridge.Pipeline.Matches;

/// <summary>Everything about a sitting that a step is held against.</summary>
internal static class Circumstances
{
    /// <summary>Nobody is photographed for longer in one go.</summary>
    private static readonly TimeSpan LongestVisit = TimeSpan.FromDays(1);

    /// <summary>Reads it from the state.</summary>
    public static async Task<MatchCircumstances> GatherAsync(
        SiteConfiguration site, IPipelineDatabase database, Sitting sitting, CancellationToken cancellation)
    {
        IReadOnlyList<Capture> captures = await database.GetCapturesOfSittingAsync(sitting.Id, cancellation).ConfigureAwait(false);
        IReadOnlyList<Cue> cues = await database.GetCuesOfSittingAsync(sitting.Id, cancellation).ConfigureAwait(false);
        SourceConfiguration? source = site.FindSource(sitting.Source);
        ILookup<bool, DateTimeOffset> timesByFile = Times(captures);

        // A file's own time may be that of a copy: where a picture tells its time itself, that counts alone.
        DateTimeOffset[] times = [.. timesByFile[!timesByFile.Contains(false)]];
        var said = new SittingCues(sitting, captures, cues);
        Capture[] pictures = [.. captures.Where(capture => !said.IsEvidence(capture))];
        return new MatchCircumstances
        {
            Identity = Identity.Of(sitting, captures, cues),
            First = times.Length > 0 ? times.MinBy(time => time.DateTime) : null,
            Last = times.Length > 0 ? times.MaxBy(time => time.DateTime) : null,
            AreTimesApart = timesByFile.Any(AreApart),
            StationAETitle = source?.StationAETitle,
            Modality = ModalityOf(site.Optics, source, pictures.Select(said.Of)),
            Sides = [.. pictures.Select(picture => said.Of(picture).Said).Where(values => values.One(OpticPart.ByHandKey) != ValueKeys.Side)
                .Select(values => values.One(ValueKeys.Side)).OfType<string>().Distinct(StringComparer.Ordinal).Order(StringComparer.Ordinal)],
            RequireStation = site.Worklists.Count == 0 || site.Worklists.Any(worklist => worklist.RequireStation),
            RequireModality = site.Worklists.Any(worklist => worklist.RequireModality),
            DaysAround = site.Worklists.Select(worklist => worklist.DaysAround).DefaultIfEmpty(0).Min(),
            Worklist = Worklists.NameOf(site),
            Worklists = site.Worklists.ToDictionary(worklist => worklist.Name, StringComparer.Ordinal),
            StepBefore = await StepBeforeAsync(database, sitting, cancellation).ConfigureAwait(false),
        };
    }

    /// <summary>When the pictures were taken: under true by the file's own time, under false by what the camera wrote into the picture.</summary>
    private static ILookup<bool, DateTimeOffset> Times(IReadOnlyList<Capture> captures) => captures
        .Where(capture => capture.TakenAt is not null && !Sidecar.IsSidecar(capture.Place))
        .ToLookup(capture => capture.TakenAtOrigin == CaptureTime.FileOrigin, capture => capture.TakenAt!.Value);

    /// <summary>More than a day between pictures whose times come from the same origin; Exif and file times are not held against each other.</summary>
    private static bool AreApart(IEnumerable<DateTimeOffset> times) => times.Max() - times.Min() > LongestVisit;

    /// <summary>The modality of the source's optic, or of the one that cues name for the pictures; null when there is more than one.</summary>
    private static string? ModalityOf(OpticsTable optics, SourceConfiguration? source, IEnumerable<(string? Optic, OpticValues Said)> pictures)
    {
        string[] modalities =
        [
            .. pictures.Select(picture => picture.Optic ?? source?.Optic ?? "").DefaultIfEmpty(source?.Optic ?? "")
                .Select(name => optics.TryFind(name, out Optic? optic) ? optic.Still.Modality : "")
                .Distinct(StringComparer.Ordinal),
        ];
        return modalities is [{ Length: > 0 } modality] ? modality : null;
    }

    private static async Task<WorklistStep?> StepBeforeAsync(IPipelineDatabase database, Sitting sitting, CancellationToken cancellation) =>
        sitting.FollowsSittingId != 0
        && await database.GetMatchAsync(sitting.FollowsSittingId, cancellation).ConfigureAwait(false) is { StepJson: { } json }
            ? WorklistStep.FromJson(json)
            : null;
}
