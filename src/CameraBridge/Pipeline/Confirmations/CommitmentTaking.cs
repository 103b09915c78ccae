using CameraBridge.Configuration;
using CameraBridge.Dicom.Dimse;
using CameraBridge.Persistence;

namespace CameraBridge.Pipeline.Confirmations;

/// <summary>Takes reports of storage commitment, whichever association they come in: what they say is stored before the archive is told that they arrived.</summary>
internal sealed class CommitmentTaking(IPipelineDatabase database, WorkSignal signal, ILogger logger)
{
    /// <summary>For associations of ours and for the listener.</summary>
    public CommitmentReports Reports => new(TakeAsync);

    /// <summary>Stores what a report says.</summary>
    public async ValueTask<CommitmentReceipt> TakeAsync(CommitmentReport report, CancellationToken cancellation)
    {
        IReadOnlyList<ConfirmationTask> asked = await database.GetCommitmentAsync(report.TransactionUID, cancellation).ConfigureAwait(false);
        if (asked.Count == 0)
        {
            logger.UnknownTransaction(report.ReportedBy, report.TransactionUID);
            return CommitmentReceipt.UnknownTransaction;
        }

        ReferencedInstance[] instances = [.. asked.Select(task => new ReferencedInstance(task.Object.SOPClassUID, task.Object.SOPInstanceUID))];
        if (report.NotAskedFor(instances) is { Count: > 0 } foreign)
        {
            logger.NotAskedFor(report.ReportedBy, report.TransactionUID, foreign.Count);
        }

        ConfirmationVerdict[] verdicts =
        [
            .. report.Judge(instances).Zip(asked, (verdict, task) => new ConfirmationVerdict(
                task.Confirmation.DeliveryId, OutcomeOf(report, verdict), WordsOf(report, verdict), DestinationConfiguration.SendAgainMost)),
        ];
        await database.CompleteCommitmentAsync(report.TransactionUID, verdicts, cancellation).ConfigureAwait(false);
        Tell(report, verdicts);
        signal.Raise(Stage.Releases);
        signal.Raise(Stage.Deliveries);
        return CommitmentReceipt.Taken;
    }

    /// <summary>What is not kept is sent again, but for reasons that another try may cure without that.</summary>
    private static ConfirmationOutcome OutcomeOf(CommitmentReport report, CommitmentVerdict verdict) => verdict.State switch
    {
        CommitmentState.Committed => ConfirmationOutcome.Kept,
        CommitmentState.Failed when report.Failed.First(one => one.Instance.SOPInstanceUID == verdict.Instance.SOPInstanceUID).Meaning.Advice is StatusAdvice.Send =>
            ConfirmationOutcome.Missing,
        _ => ConfirmationOutcome.Waiting,
    };

    private static string WordsOf(CommitmentReport report, CommitmentVerdict verdict) =>
        verdict.State == CommitmentState.Committed
            ? $"The archive {report.ReportedBy} commits to keeping it."
            : $"The archive {report.ReportedBy} does not commit to keeping it: {verdict.Sentence}.";

    private void Tell(CommitmentReport report, ConfirmationVerdict[] verdicts)
    {
        int kept = verdicts.Count(verdict => verdict.Outcome == ConfirmationOutcome.Kept);
        if (kept > 0)
        {
            logger.Kept(report.ReportedBy, kept, ConfirmationWay.Commitment);
        }

        foreach (IGrouping<string, ConfirmationVerdict> missing in verdicts.Where(verdict => verdict.Outcome == ConfirmationOutcome.Missing).GroupBy(verdict => verdict.Words))
        {
            logger.Missing(report.ReportedBy, missing.Count(), missing.Key);
        }
    }
}
