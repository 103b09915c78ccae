using CameraBridge.Configuration;
using CameraBridge.Dicom.Data;
using CameraBridge.Persistence;

namespace CameraBridge.Pipeline.Matches;

/// <summary>
/// Finds the scheduled procedure step of each closed sitting, or holds it. A batch asks each worklist over one connection. Where one of them is down, the answers of
/// the others count as proposals, and it is asked again later: it may have another step that fits, and nothing is guessed meanwhile.
/// </summary>
internal sealed class MatchesStage(SiteConfiguration site, IPipelineDatabase database, TimeProvider clock, ILogger<MatchesStage> logger) : IStage
{
    private readonly Inference _inference = new(site, database, clock);

    public Stage Stage => Stage.Matches;

    public IReadOnlyList<string> Lanes { get; } = [""];

    public int Batch => 64;

    /// <summary>One: sittings that come together ask together.</summary>
    public int Workers => 1;

    public TimeSpan Lease { get; } = TimeSpan.FromMinutes(5);

    public async Task RunAsync(IReadOnlyList<Work> batch, CancellationToken cancellation)
    {
        if (site.Worklists.Count == 0)
        {
            foreach (Work work in batch)
            {
                await HoldWithoutWorklistAsync(work, cancellation).ConfigureAwait(false);
            }

            return;
        }

        var worklists = new Worklists(site, clock);
        await using (worklists.ConfigureAwait(false))
        {
            int waiting = 0;
            Reason? down = null;
            DateTimeOffset? dueAt = null;
            List<(Work Work, Sitting Sitting, MatchCircumstances Circumstances)> sittings = [];
            foreach (Work work in batch)
            {
                Sitting sitting = await GetSittingAsync(work, cancellation).ConfigureAwait(false);
                sittings.Add((work, sitting, await Circumstances.GatherAsync(site, database, _inference.Clocks, sitting, cancellation).ConfigureAwait(false)));
            }

            // Those with a label first: what they are filed under is no other sitting's any more.
            foreach ((Work work, Sitting sitting, MatchCircumstances circumstances) in sittings.OrderByDescending(one => one.Circumstances.Identity.IsNamed))
            {
                if (await DecideAsync(work, sitting, circumstances, worklists, RetryAt, cancellation).ConfigureAwait(false) is { } failure)
                {
                    waiting++;
                    down ??= failure;
                }
            }

            if (down is not null)
            {
                logger.WorklistDown(waiting, RetryAt(), down.Words);
            }

            // Counted from the failure, since a silent worklist may take longer to fail than the pause is long; one time for all, so that they ask together.
            DateTimeOffset RetryAt() => dueAt ??= clock.GetUtcNow() + site.Worklists.Min(worklist => worklist.RetryAfter);
        }
    }

    /// <returns>Why a worklist gave no answer, or null when the sitting is decided.</returns>
    private async Task<Reason?> DecideAsync(
        Work work,
        Sitting sitting,
        MatchCircumstances circumstances,
        Worklists worklists,
        Func<DateTimeOffset> retryAt,
        CancellationToken cancellation)
    {
        var answers = new List<WorklistAnswers>();
        foreach (Worklist worklist in worklists.All)
        {
            foreach (WorklistQuestion question in MatchRules.FirstQuestions(circumstances.Identity, Broad(circumstances, worklist.Configuration)))
            {
                answers.Add(await worklist.AskAsync(question, cancellation).ConfigureAwait(false));
            }
        }

        WorklistAnswers[] first = [.. answers];
        foreach (Worklist worklist in worklists.All)
        {
            foreach (WorklistQuestion question in MatchRules.FurtherQuestions(circumstances.Identity, Broad(circumstances, worklist.Configuration), first))
            {
                answers.Add(await worklist.AskAsync(question, cancellation).ConfigureAwait(false));
            }
        }

        Inferred? inferred = await _inference.FindAsync(sitting, circumstances, answers, cancellation).ConfigureAwait(false);
        Match match = MatchRules.Decide(sitting.Id, circumstances, answers, clock.GetUtcNow(), inferred);
        if (answers.FirstOrDefault(answer => answer.Failure is not null)?.Failure is { } failure)
        {
            await database.DeferMatchAsync(work, match, retryAt(), cancellation).ConfigureAwait(false);
            return failure;
        }

        foreach (string? name in answers.Where(answer => answer.KeysNotSupported).Select(answer => answer.Worklist).Distinct())
        {
            logger.KeysNotSupported($"the worklist {name}");
        }

        string? PerformedStepUID = site.PerformedStep is null || match.StepJson is null ? null : Uids.NewFromUuid();
        if (await database.CompleteMatchAsync(work, match with { PerformedStepUID = PerformedStepUID }, cancellation).ConfigureAwait(false))
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

    private async Task<Sitting> GetSittingAsync(Work work, CancellationToken cancellation) =>
        await database.GetSittingAsync(work.SubjectId, cancellation).ConfigureAwait(false)
        ?? throw new InvalidOperationException($"Sitting {work.SubjectId} has work but no row.");

    private static WorklistQuestion Broad(MatchCircumstances circumstances, WorklistConfiguration configuration) => new()
    {
        StationAETitle = configuration.AskByStation ? circumstances.StationAETitle : null,
        Modality = configuration.AskByModality ? circumstances.Modality : null,
        From = (circumstances.FirstDay ?? ArrivalDay(circumstances))?.AddDays(-configuration.DaysAround),
        To = (circumstances.LastDay ?? ArrivalDay(circumstances))?.AddDays(configuration.DaysAround),
    };

    /// <summary>A reset clock tells no day; the pictures came on this one, and mostly soon after they were taken.</summary>
    private static DateOnly? ArrivalDay(MatchCircumstances circumstances) => circumstances.Arrived is { } arrived ? DateOnly.FromDateTime(arrived) : null;

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
