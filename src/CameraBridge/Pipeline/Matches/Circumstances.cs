using CameraBridge.Configuration;
using CameraBridge.Persistence;
using CameraBridge.Pipeline.Sittings.Cues;

namespace CameraBridge.Pipeline.Matches;

/// <summary>Everything about a sitting that a step is held against.</summary>
internal static class Circumstances
{
    /// <summary>A folder divided into more parts than this was divided by mistake; parts further back are not looked at for its sidecar.</summary>
    private const int MostPartsBack = 200;

    /// <summary>Reads it from the state.</summary>
    public static async Task<MatchCircumstances> GatherAsync(
        SiteConfiguration site, IPipelineDatabase database, Sitting sitting, string worklistName, CancellationToken cancellation)
    {
        IReadOnlyList<Capture> captures = await database.GetCapturesOfSittingAsync(sitting.Id, cancellation).ConfigureAwait(false);
        IReadOnlyList<Cue> cues = await database.GetCuesOfSittingAsync(sitting.Id, cancellation).ConfigureAwait(false);
        SourceConfiguration? source = site.Sources.FirstOrDefault(source => source.Name == sitting.Source);
        DateTimeOffset[] times = [.. captures.Where(capture => !Sidecar.IsSidecar(capture.Place)).Select(capture => capture.TakenAt).OfType<DateTimeOffset>()];
        return new MatchCircumstances
        {
            Identity = Identity.Of(sitting, captures, cues, await FolderSidecarsAsync(database, sitting, cancellation).ConfigureAwait(false)),
            First = times.Length > 0 ? times.MinBy(time => time.DateTime) : null,
            Last = times.Length > 0 ? times.MaxBy(time => time.DateTime) : null,
            StationAETitle = source?.StationAETitle,
            Modality = null,
            RequireStation = site.Worklist?.RequireStation ?? true,
            RequireModality = site.Worklist?.RequireModality ?? false,
            DaysAround = site.Worklist?.DaysAround ?? 0,
            Worklist = worklistName,
            StepBefore = await StepBeforeAsync(database, sitting, cancellation).ConfigureAwait(false),
        };
    }

    /// <summary>Where a folder was divided, its sidecar lies with one part and speaks for all.</summary>
    private static async Task<IReadOnlyList<Cue>> FolderSidecarsAsync(IPipelineDatabase database, Sitting sitting, CancellationToken cancellation)
    {
        var sidecars = new List<Cue>();
        long earlier = sitting.FollowsSittingId;
        for (int i = 0; i < MostPartsBack && earlier != 0; i++)
        {
            if (await database.GetSittingAsync(earlier, cancellation).ConfigureAwait(false) is not { } part)
            {
                break;
            }

            IReadOnlyList<Cue> cues = await database.GetCuesOfSittingAsync(part.Id, cancellation).ConfigureAwait(false);
            if (cues.Any(cue => cue.Kind == CueKind.Sidecar))
            {
                IReadOnlyList<Capture> captures = await database.GetCapturesOfSittingAsync(part.Id, cancellation).ConfigureAwait(false);
                var folderWide = captures
                    .Where(capture => Sidecar.IsSidecar(capture.Place) && Sidecar.PictureOf(capture.Place) is null)
                    .Select(capture => capture.Id)
                    .ToHashSet();
                sidecars.AddRange(cues.Where(cue => cue.Kind == CueKind.Sidecar && folderWide.Contains(cue.CaptureId)));
            }

            earlier = part.FollowsSittingId;
        }

        return sidecars;
    }

    private static async Task<WorklistStep?> StepBeforeAsync(IPipelineDatabase database, Sitting sitting, CancellationToken cancellation) =>
        sitting.FollowsSittingId != 0
        && await database.GetMatchAsync(sitting.FollowsSittingId, cancellation).ConfigureAwait(false) is { StepJson: { } json }
            ? WorklistStep.FromJson(json)
            : null;
}
