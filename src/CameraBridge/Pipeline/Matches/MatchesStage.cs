using CameraBridge.Configuration;
using CameraBridge.Persistence;
using CameraBridge.Pipeline.Sittings.Cues;

namespace CameraBridge.Pipeline.Matches;

/// <summary>
/// Finds the scheduled procedure step of each closed sitting, or holds it. A batch asks the worklist over one association. A worklist that is
/// down is asked again later; nothing is guessed meanwhile.
/// </summary>
internal sealed class MatchesStage(SiteConfiguration site, IPipelineDatabase database, TimeProvider clock, ILogger<MatchesStage> logger) : IStage
{
    /// <summary>A folder divided into more parts than this was divided by mistake; parts further back are not looked at for its sidecar.</summary>
    private const int MostPartsBack = 200;

    private readonly Dictionary<string, SourceConfiguration> _sources = site.Sources.ToDictionary(source => source.Name, StringComparer.Ordinal);

    public Stage Stage => Stage.Matches;

    public IReadOnlyList<string> Lanes { get; } = [""];

    public int Batch => 64;

    /// <summary>One: sittings that come together ask together.</summary>
    public int Workers => 1;

    public TimeSpan Lease { get; } = TimeSpan.FromMinutes(5);

    public async Task RunAsync(IReadOnlyList<Work> batch, CancellationToken cancellation)
    {
        if (site.Worklist is not { } configuration)
        {
            foreach (Work work in batch)
            {
                await HoldWithoutWorklistAsync(work, cancellation).ConfigureAwait(false);
            }

            return;
        }

        var worklist = new Worklist(site, configuration, clock);
        await using (worklist.ConfigureAwait(false))
        {
            int waiting = 0;
            Reason? down = null;
            DateTimeOffset dueAt = clock.GetUtcNow() + configuration.RetryAfter;
            foreach (Work work in batch)
            {
                if (await DecideAsync(work, worklist, configuration, dueAt, cancellation).ConfigureAwait(false) is { } failure)
                {
                    waiting++;
                    down ??= failure;
                }
            }

            if (down is not null)
            {
                logger.WorklistDown(waiting, dueAt, down.Words);
            }
        }
    }

    /// <returns>Why the worklist gave no answer, or null when the sitting is decided.</returns>
    private async Task<Reason?> DecideAsync(
        Work work, Worklist worklist, WorklistConfiguration configuration, DateTimeOffset dueAt, CancellationToken cancellation)
    {
        Sitting sitting = await GetSittingAsync(work, cancellation).ConfigureAwait(false);
        MatchCircumstances circumstances = await GatherAsync(sitting, worklist.Name, cancellation).ConfigureAwait(false);
        WorklistQuestion broad = Broad(circumstances, configuration);
        var answers = new List<WorklistAnswers>();
        foreach (WorklistQuestion question in MatchRules.FirstQuestions(circumstances.Identity, broad))
        {
            answers.Add(await worklist.AskAsync(question, cancellation).ConfigureAwait(false));
        }

        foreach (WorklistQuestion question in MatchRules.FurtherQuestions(circumstances.Identity, broad, answers))
        {
            answers.Add(await worklist.AskAsync(question, cancellation).ConfigureAwait(false));
        }

        Match match = MatchRules.Decide(sitting.Id, circumstances, answers, clock.GetUtcNow());
        if (answers.FirstOrDefault(answer => answer.Failure is not null)?.Failure is { } failure)
        {
            await database.DeferMatchAsync(work, match, dueAt, cancellation).ConfigureAwait(false);
            return failure;
        }

        if (answers.Any(answer => answer.KeysNotSupported))
        {
            logger.KeysNotSupported(worklist.Name);
        }

        if (await database.CompleteMatchAsync(work, match, cancellation).ConfigureAwait(false))
        {
            Tell(match);
        }

        return null;
    }

    private async Task HoldWithoutWorklistAsync(Work work, CancellationToken cancellation)
    {
        var match = new Match
        {
            SittingId = work.SubjectId,
            HeldReasons = [new Reason("no-worklist", "No worklist is configured, so nothing tells which order the pictures belong to; add one under 'worklist'.")],
            DecidedAt = clock.GetUtcNow(),
        };
        if (await database.CompleteMatchAsync(work, match, cancellation).ConfigureAwait(false))
        {
            Tell(match);
        }
    }

    /// <summary>Everything about a sitting that a step is held against.</summary>
    internal async Task<MatchCircumstances> GatherAsync(Sitting sitting, string worklistName, CancellationToken cancellation)
    {
        IReadOnlyList<Capture> captures = await database.GetCapturesOfSittingAsync(sitting.Id, cancellation).ConfigureAwait(false);
        IReadOnlyList<Cue> cues = await database.GetCuesOfSittingAsync(sitting.Id, cancellation).ConfigureAwait(false);
        SourceConfiguration? source = _sources.GetValueOrDefault(sitting.Source);
        DateTimeOffset[] times = [.. captures.Where(capture => !Sidecar.IsSidecar(capture.Place)).Select(capture => capture.TakenAt).OfType<DateTimeOffset>()];
        return new MatchCircumstances
        {
            Identity = Identity.Of(sitting, captures, cues, await FolderSidecarsAsync(sitting, cancellation).ConfigureAwait(false)),
            First = times.Length > 0 ? times.MinBy(time => time.DateTime) : null,
            Last = times.Length > 0 ? times.MaxBy(time => time.DateTime) : null,
            StationAETitle = source?.StationAETitle,
            Modality = null,
            RequireStation = site.Worklist?.RequireStation ?? true,
            RequireModality = site.Worklist?.RequireModality ?? false,
            DaysAround = site.Worklist?.DaysAround ?? 0,
            Worklist = worklistName,
            StepBefore = await StepBeforeAsync(sitting, cancellation).ConfigureAwait(false),
        };
    }

    private async Task<Sitting> GetSittingAsync(Work work, CancellationToken cancellation) =>
        await database.GetSittingAsync(work.SubjectId, cancellation).ConfigureAwait(false)
        ?? throw new InvalidOperationException($"Sitting {work.SubjectId} has work but no row.");

    /// <summary>Where a folder was divided, its sidecar lies with one part and speaks for all.</summary>
    private async Task<IReadOnlyList<Cue>> FolderSidecarsAsync(Sitting sitting, CancellationToken cancellation)
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

    private async Task<WorklistStep?> StepBeforeAsync(Sitting sitting, CancellationToken cancellation) =>
        sitting.FollowsSittingId != 0
        && await database.GetMatchAsync(sitting.FollowsSittingId, cancellation).ConfigureAwait(false) is { StepJson: { } json }
            ? WorklistStep.FromJson(json)
            : null;

    private static WorklistQuestion Broad(MatchCircumstances circumstances, WorklistConfiguration configuration) => new()
    {
        StationAETitle = configuration.AskByStation ? circumstances.StationAETitle : null,
        Modality = configuration.AskByModality ? circumstances.Modality : null,
        From = circumstances.FirstDay?.AddDays(-configuration.DaysAround),
        To = circumstances.LastDay?.AddDays(configuration.DaysAround),
    };

    private void Tell(Match match)
    {
        if (match.StepJson is not null)
        {
            logger.Matched(match.SittingId);
        }
        else
        {
            logger.Held(match.SittingId, string.Join(", ", match.HeldReasons.Select(reason => reason.Code)), match.SittingId);
        }
    }
}
