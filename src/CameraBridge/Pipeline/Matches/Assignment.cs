using CameraBridge.Configuration;
using CameraBridge.Persistence;

namespace CameraBridge.Pipeline.Matches;

/// <summary>How an assignment by hand ended.</summary>
internal enum AssignmentOutcome
{
    Assigned,

    /// <summary>The sitting does not exist, or is not held (any more).</summary>
    NotHeld,

    /// <summary>Neither the proposals nor the worklist have a step with this ID or accession number.</summary>
    StepUnknown,

    /// <summary>Several steps have it; name one by its other number.</summary>
    SeveralSteps,

    /// <summary>The step lacks what no object can be without.</summary>
    StepUnusable,

    /// <summary>The step is not among the proposals, and the worklist cannot be asked.</summary>
    WorklistDown,

    /// <summary>The operator's name or the step's number is empty or too long.</summary>
    BadInput,
}

/// <summary>What came of an assignment.</summary>
/// <param name="Outcome">How it ended.</param>
/// <param name="Words">For the operator: what happened and what to do next.</param>
/// <param name="Steps">The step that was assigned, or the several that were found.</param>
internal sealed record AssignmentResult(AssignmentOutcome Outcome, string Words, IReadOnlyList<WorklistStep> Steps);

/// <summary>
/// A person decides to which step a held sitting belongs: by Scheduled Procedure Step ID or accession number, out of what the worklist answered
/// when the sitting was held, or out of a fresh answer. Who decided is written with the match, together with what spoke against it.
/// </summary>
internal sealed class Assignment(SiteConfiguration site, IPipelineDatabase database, TimeProvider clock, ILoggerFactory loggers)
{
    /// <summary>Longest operator's name, that of a group of a person name (PS3.5 section 6.2).</summary>
    private const int LongestOperator = 64;

    private readonly ILogger<Assignment> _logger = loggers.CreateLogger<Assignment>();

    /// <summary>Assigns.</summary>
    /// <param name="sittingId">A held sitting.</param>
    /// <param name="step">Scheduled Procedure Step ID or accession number.</param>
    /// <param name="operatorName">Who decides; recorded.</param>
    /// <param name="cancellation">Gives up the call.</param>
    public async Task<AssignmentResult> AssignAsync(long sittingId, string step, string operatorName, CancellationToken cancellation)
    {
        step = step.Trim();
        operatorName = operatorName.Trim();
        if (operatorName.Length is 0 or > LongestOperator || operatorName.Any(char.IsControl))
        {
            return new AssignmentResult(AssignmentOutcome.BadInput, "Say who decides: a name of 1 to 64 characters, which is recorded.", []);
        }

        if (step.Length == 0 || !WorklistQuestion.IsPlain(step, 16))
        {
            return new AssignmentResult(
                AssignmentOutcome.BadInput, "Name the step by its ID or its accession number: 1 to 16 characters without \\ * ?.", []);
        }

        Sitting? sitting = await database.GetSittingAsync(sittingId, cancellation).ConfigureAwait(false);
        if (sitting is not { State: SittingState.Held or SittingState.Closed })
        {
            return NotHeld(sittingId);
        }

        Match? held = await database.GetMatchAsync(sittingId, cancellation).ConfigureAwait(false);
        WorklistStep[] found = Named(
            [.. held?.Proposals.Select(proposal => WorklistStep.FromJson(proposal.StepJson)) ?? [], .. Inquiry.ReadSteps(held?.Inquiry)], step);
        string? inquiry = held?.Inquiry;
        if (found.Length == 0)
        {
            WorklistAnswers[] answers = await AskAsync(step, cancellation).ConfigureAwait(false);
            found = Named([.. answers.SelectMany(answer => answer.Steps)], step);
            if (found.Length == 0)
            {
                return answers.FirstOrDefault(answer => answer.Failure is not null) is { } failed
                    ? new AssignmentResult(AssignmentOutcome.WorklistDown, failed.Failure!.Words, [])
                    : new AssignmentResult(
                        AssignmentOutcome.StepUnknown,
                        answers.Any(answer => answer.CutOff)
                            ? "The worklist has more answers than the answer limit, and none of those that came has this step ID or accession number; name the step by its accession number, or raise the limit."
                            : "Neither the proposals nor the worklist have a step with this ID or accession number.",
                        []);
            }

            inquiry = Inquiry.Write(WorklistName, answers, found);
        }

        if (found.Length > 1)
        {
            return new AssignmentResult(
                AssignmentOutcome.SeveralSteps, "Several steps have this number; name the one you mean by its step ID or its accession number.", found);
        }

        return await AssignAsync(sitting, found[0], operatorName, inquiry, cancellation).ConfigureAwait(false);
    }

    private string WorklistName => $"the worklist {site.Worklist?.Peer.Name}";

    private async Task<AssignmentResult> AssignAsync(
        Sitting sitting, WorklistStep step, string operatorName, string? inquiry, CancellationToken cancellation)
    {
        if (step.StudyInstanceUID is null || step.PatientID is null)
        {
            return new AssignmentResult(
                AssignmentOutcome.StepUnusable, "The worklist gave this step without a Study Instance UID or a Patient ID; have the worklist corrected first.", [step]);
        }

        var stage = new MatchesStage(site, database, clock, loggers.CreateLogger<MatchesStage>());
        StepCheck check = StepCheck.Of(step, await stage.GatherAsync(sitting, WorklistName, cancellation).ConfigureAwait(false));
        var match = new Match
        {
            SittingId = sitting.Id,
            StepJson = step.ToJson(),
            Evidence =
            [
                new Reason("by-hand", "a person chose the step"),
                .. check.For,
                .. check.Against.Select(reason => reason with { Words = $"although {reason.Words}" }),
            ],
            Inquiry = inquiry,
            DecidedBy = operatorName,
            DecidedAt = clock.GetUtcNow(),
        };
        if (!await database.AssignAsync(match, cancellation).ConfigureAwait(false))
        {
            return NotHeld(sitting.Id);
        }

        _logger.Assigned(sitting.Id);
        return new AssignmentResult(AssignmentOutcome.Assigned, "Assigned; its objects are made and sent next.", [step]);
    }

    private async Task<WorklistAnswers[]> AskAsync(string step, CancellationToken cancellation)
    {
        if (site.Worklist is not { } configuration)
        {
            return [];
        }

        var worklist = new Worklist(site, configuration, clock);
        await using (worklist.ConfigureAwait(false))
        {
            WorklistAnswers byOrder = await worklist.AskAsync(new WorklistQuestion { AccessionNumber = step }, cancellation).ConfigureAwait(false);
            if (byOrder.Failure is not null || Named(byOrder.Steps, step).Length > 0)
            {
                return [byOrder];
            }

            return [byOrder, await worklist.AskAsync(new WorklistQuestion { ScheduledProcedureStepID = step }, cancellation).ConfigureAwait(false)];
        }
    }

    /// <summary>The steps that have this step ID or this accession number; where the number means two things, both are found, and nothing is guessed.</summary>
    private static WorklistStep[] Named(IEnumerable<WorklistStep> steps, string number) =>
        [.. steps.Where(step => step.ScheduledProcedureStepID == number || step.AccessionNumber == number).DistinctBy(step => step.Key)];

    private static AssignmentResult NotHeld(long sittingId) => new(
        AssignmentOutcome.NotHeld, FormattableString.Invariant($"Sitting {sittingId} is not held; 'held list' shows those that are."), []);
}
