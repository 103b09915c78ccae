using CameraBridge.Configuration;
using CameraBridge.Persistence;
using CameraBridge.Pipeline.Matches.Clocks;
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
        SiteConfiguration site, IPipelineDatabase database, SourceClocks clocks, Sitting sitting, CancellationToken cancellation)
    {
        IReadOnlyList<Capture> captures = await database.GetCapturesOfSittingAsync(sitting.Id, cancellation).ConfigureAwait(false);
        IReadOnlyList<Cue> cues = await database.GetCuesOfSittingAsync(sitting.Id, cancellation).ConfigureAwait(false);
        SourceConfiguration? source = site.FindSource(sitting.Source);
        TimeZoneInfo zone = source?.TimeZone ?? site.TimeZone;
        Capture[] timed = [.. captures.Where(capture => capture.TakenAt is not null && !Sidecar.IsSidecar(capture.Place))];
        ILookup<bool, DateTimeOffset> timesByFile = timed.ToLookup(capture => capture.TakenAtOrigin == CaptureTime.FileOrigin, capture => capture.TakenAt!.Value);
        string? camera = CameraOf(timed);

        // A file's own time may be that of a copy: where a picture tells its time itself, that counts alone.
        DateTimeOffset[] times = [.. timesByFile[!timesByFile.Contains(false)]];
        var said = new SittingCues(sitting, captures, cues);
        Capture[] pictures = [.. captures.Where(capture => !said.IsEvidence(capture))];
        return new MatchCircumstances
        {
            Identity = Identity.Of(sitting, captures, cues),
            First = times.Length > 0 ? times.MinBy(time => time.DateTime) : null,
            Last = times.Length > 0 ? times.MaxBy(time => time.DateTime) : null,
            Arrived = captures.Count > 0 ? TimeZoneInfo.ConvertTime(captures.Max(capture => capture.SettledAt), zone).DateTime : null,
            Clock = await ClockOfAsync(clocks, sitting, timed, cues, source, zone, camera, cancellation).ConfigureAwait(false),
            Camera = camera,
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

    /// <summary>The one camera that the pictures name; clips name none, and several are none.</summary>
    private static string? CameraOf(IEnumerable<Capture> pictures) =>
        pictures.Select(picture => picture.Camera).OfType<string>().Distinct(StringComparer.Ordinal).ToArray() is [var only] ? only : null;

    private static async Task<CameraClock> ClockOfAsync(
        SourceClocks clocks,
        Sitting sitting,
        Capture[] pictures,
        IReadOnlyList<Cue> cues,
        SourceConfiguration? source,
        TimeZoneInfo zone,
        string? camera,
        CancellationToken cancellation)
    {
        // Where a picture tells its time itself, the files' times count for nothing.
        bool isFileTime = pictures.All(picture => picture.TakenAtOrigin == CaptureTime.FileOrigin);
        Capture[] telling = [.. pictures.Where(picture => picture.Camera == camera && (picture.TakenAtOrigin == CaptureTime.FileOrigin) == isFileTime).OrderBy(picture => picture.TakenAt!.Value.DateTime)];
        if (telling is not [var first, ..])
        {
            return CameraClock.Unknown;
        }

        long mustKnow = cues.FirstOrDefault(cue => cue.Card?.Clock is not null)?.CaptureId ?? 0;
        CameraTracks tracks = await clocks.OfAsync(sitting.Source, camera, mustKnow, cancellation).ConfigureAwait(false);
        return new CameraClock(
            tracks.All.When(first.TakenAt!.Value.DateTime, TimeZoneInfo.ConvertTime(first.SettledAt, zone).DateTime),
            ClockFindings.Of(telling, source, zone, tracks));
    }

    /// <summary>More than a day between pictures whose times come from the same origin; Exif and file times are not held against each other.</summary>
    private static bool AreApart(IEnumerable<DateTimeOffset> times) => times.Max() - times.Min() > LongestVisit;

    /// <summary>The modality of the source's optic, or of the one that cues name for the pictures; null when there is more than one.</summary>
    public static string? ModalityOf(OpticsTable optics, SourceConfiguration? source, IEnumerable<(string? Optic, OpticValues Said)> pictures)
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
