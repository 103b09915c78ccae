using CameraBridge.Configuration;
using CameraBridge.Persistence;
using CameraBridge.Pipeline.Matches.Clocks;

namespace CameraBridge.Pipeline.Matches;

/// <summary>What was found of a step that a person named.</summary>
/// <param name="Steps">The steps that have the number, with what speaks for and against each; one where the number is clear.</param>
/// <param name="Failure">Why the worklist could not be asked, or could not answer in full; null when it answered or need not be asked.</param>
/// <param name="Inquiry">What was asked and answered afresh; null when the step was among what the worklist had answered before.</param>
internal sealed record StepSearchResult(IReadOnlyList<Proposal> Steps, Reason? Failure, string? Inquiry);

/// <summary>
/// Finds the step that a person names for a held sitting, by Scheduled Procedure Step ID or accession number: among what the worklist answered
/// when the sitting was held, else by asking it afresh.
/// </summary>
internal sealed class StepSearch(SiteConfiguration site, IPipelineDatabase database, TimeProvider clock)
{
    /// <summary>Finds.</summary>
    /// <param name="sitting">The sitting.</param>
    /// <param name="stepId">Scheduled Procedure Step ID, or null.</param>
    /// <param name="accessionNumber">Accession number, or null; one of both is given.</param>
    /// <param name="cancellation">Gives up the call.</param>
    /// <param name="afresh">Ask the worklist in any case: what it answered before may have been corrected.</param>
    public async Task<StepSearchResult> FindAsync(Sitting sitting, string? stepId, string? accessionNumber, CancellationToken cancellation, bool afresh = false)
    {
        stepId = stepId?.Trim(' ');
        accessionNumber = accessionNumber?.Trim(' ');
        if ((stepId is null && accessionNumber is null) || !WorklistQuestion.IsPlain(stepId, 16) || !WorklistQuestion.IsPlain(accessionNumber, 16))
        {
            return new StepSearchResult([], new Reason("number-invalid", "Name the step by its ID or its accession number: 1 to 16 characters without \\ * ?."), null);
        }

        MatchCircumstances circumstances = await Circumstances.GatherAsync(site, database, new SourceClocks(site, database, clock), sitting, cancellation).ConfigureAwait(false);
        Match? held = await database.GetMatchAsync(sitting.Id, cancellation).ConfigureAwait(false);
        Proposal[] known = Named([.. Inquiry.ReadSteps(held?.Inquiry), .. held?.Proposals.Select(proposal => WorklistStep.FromJson(proposal.StepJson)) ?? []]);
        if (known.Length > 0 && !afresh)
        {
            return new StepSearchResult(known, null, null);
        }

        if (site.Worklists.Count == 0)
        {
            return new StepSearchResult([], new Reason("no-worklist", "No worklist is configured; add one under 'worklist'."), null);
        }

        var worklists = new Worklists(site, clock);
        await using (worklists.ConfigureAwait(false))
        {
            IReadOnlyList<WorklistAnswers> answers = await worklists
                .AskAsync(new WorklistQuestion { ScheduledProcedureStepID = stepId, AccessionNumber = accessionNumber }, cancellation).ConfigureAwait(false);
            IReadOnlyList<WorklistStep> steps = StepUnion.Of(answers);
            Proposal[] found = Named(steps);
            Reason? failure = answers.Select(answer => answer.Failure).FirstOrDefault(failure => failure is not null) ?? (answers.FirstOrDefault(answer => answer.CutOff) is { } cut && found.Length == 0
                ? new Reason("answers-cut-off", $"the worklist {cut.Worklist} has more answers than the answer limit, and none of those that came has this number; name the accession number, or raise the limit.")
                : null);
            return new StepSearchResult(found, failure, Inquiry.Write(circumstances.Worklist, answers, steps));
        }

        Proposal[] Named(IEnumerable<WorklistStep> steps) =>
        [
            .. steps.Where(step => (stepId is null || step.ScheduledProcedureStepID == stepId) && (accessionNumber is null || step.AccessionNumber == accessionNumber))
                .DistinctBy(step => step.Key)
                .Select(step => StepCheck.Of(step, circumstances))
                .OrderBy(check => check.Distance)
                .Select(check => new Proposal(check.Step.ToJson(), check.For, check.Against)),
        ];
    }
}
