using CameraBridge.Configuration;
using CameraBridge.Persistence;
using CameraBridge.Pipeline;
using CameraBridge.Pipeline.Matches;

namespace CameraBridge.Commands;

/// <summary>
/// <c>held assign</c> on a sitting that is filed already: its held captures are tried again under the same order, once what kept them from becoming objects
/// is mended. Under another order nothing is filed any more; what was filed wrongly is for the archive to correct.
/// </summary>
internal static class HeldAgain
{
    /// <summary>The person's decision, or the refusal.</summary>
    /// <exception cref="CommandException">Another order was named.</exception>
    public static async Task<Match> DecideAsync(
        SiteConfiguration site, IPipelineDatabase database, HeldSitting held, OrderChoice choice, string name, CancellationToken cancellation)
    {
        WorklistStep filed = WorklistStep.FromJson(held.Match!.StepJson!);
        bool isSame = choice.Number is null
            && (choice.StepID?.Trim() ?? filed.ScheduledProcedureStepID) == filed.ScheduledProcedureStepID
            && (choice.AccessionNumber?.Trim() ?? filed.AccessionNumber) == filed.AccessionNumber;
        if (!isSame)
        {
            throw new CommandException(
                ExitCodes.Held,
                "filed-already",
                FormattableString.Invariant($"Not assigned: sitting {held.Sitting.Id} {FiledUnder(filed)} To try its held captures again, name the order it is filed under."));
        }

        (string StepJson, string? Inquiry) step = (held.Match.StepJson!, held.Match.Inquiry);
        if (held.Captures.All(capture => capture.State != CaptureState.Encoded))
        {
            step = await AfreshAsync(site, database, held, filed, cancellation).ConfigureAwait(false) ?? step;
        }

        return held.Match with
        {
            StepJson = step.StepJson,
            Inquiry = step.Inquiry,
            Evidence = [.. held.Match.Evidence, new Reason("again", "a person had its held captures tried again")],
            DecidedBy = name,
            DecidedAt = TimeProvider.System.GetUtcNow(),
        };
    }

    /// <summary>How a sitting that is filed stands, as the rest of a sentence.</summary>
    public static string FiledUnder(WorklistStep filed) =>
        $"is already filed under accession number {filed.AccessionNumber ?? "(none)"}, step {filed.ScheduledProcedureStepID ?? "(none)"}. "
        + "If that is wrong, correct it in the archive by your site's policy.";

    /// <summary>
    /// The same step as the worklist tells it now, since an order that could not be written into an object may have been corrected. Only while there is no
    /// object yet: those of a sitting all tell the same.
    /// </summary>
    private static async Task<(string StepJson, string? Inquiry)?> AfreshAsync(
        SiteConfiguration site, IPipelineDatabase database, HeldSitting held, WorklistStep filed, CancellationToken cancellation)
    {
        StepSearchResult found = await new StepSearch(site, database, TimeProvider.System)
            .FindAsync(held.Sitting, filed.ScheduledProcedureStepID, filed.AccessionNumber, cancellation, afresh: true).ConfigureAwait(false);
        string[] same = [.. found.Steps.Select(proposal => proposal.StepJson).Where(json => IsSame(WorklistStep.FromJson(json), filed))];
        return same is [var only] ? (only, found.Inquiry) : null;
    }

    private static bool IsSame(WorklistStep step, WorklistStep filed) =>
        (step.StudyInstanceUID, step.PatientID, step.IssuerOfPatientID) == (filed.StudyInstanceUID, filed.PatientID, filed.IssuerOfPatientID);
}

/// <summary>How a person named an order: by exactly one of the three.</summary>
internal sealed record OrderChoice(string? StepID, string? AccessionNumber, int? Number)
{
    public string Words => StepID ?? AccessionNumber ?? "";
}
