using System.Collections.Concurrent;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.UpperLayer;

namespace CameraBridge.Dicom.Dimse;

/// <summary>
/// Storage commitment, push model (PS3.4 Annex J) as user: asks an archive to commit to keeping objects, and receives reports that come in
/// the same association, at any time and for any transaction. One for an association, which other users may share.
/// </summary>
public sealed class CommitmentUser
{
    private const ushort RequestCommitment = 1;

    private readonly Association association;
    private readonly CommitmentReports reports;
    private readonly ConcurrentDictionary<string, TaskCompletionSource<CommitmentReport>> awaited = new(StringComparer.Ordinal);

    /// <param name="association">An association that may be shared with other users.</param>
    /// <param name="reports">Receives what comes in this association, before the archive is told that it arrived.</param>
    /// <exception cref="InvalidOperationException">The association has a user for commitment already.</exception>
    public CommitmentUser(Association association, CommitmentReports reports)
    {
        ArgumentNullException.ThrowIfNull(association);
        ArgumentNullException.ThrowIfNull(reports);
        this.association = association;
        this.reports = reports;
        DimseChannel.Over(association).TakeEvents(TakeAsync);
    }

    /// <summary>The contexts to propose for it. They need no role selection: in this association we are the user.</summary>
    public static IReadOnlyList<ContextProposal> Proposals { get; } = InstanceExchange.Propose(SopClasses.StorageCommitmentPushModel);

    /// <summary>Asks for commitment. Success means that the archive has the request, and nothing more (PS3.4 section J.3.2.1.3).</summary>
    /// <param name="request">Its Transaction UID must be stored already: the report may come before this returns.</param>
    /// <param name="cancellationToken">Gives up; the association is broken by that.</param>
    /// <returns>The answer. After a failure the Transaction UID is spent (PS3.4 section J.3.2.1.2).</returns>
    /// <exception cref="ContextNotAcceptedException">The peer does not do storage commitment. Nothing was sent.</exception>
    /// <exception cref="AssociationException">The association broke: whether the archive has the request is not known, and a report may come.</exception>
    public async Task<DimseReply> RequestAsync(CommitmentRequest request, CancellationToken cancellationToken = default)
    {
        ArgumentNullException.ThrowIfNull(request);
        awaited.TryAdd(request.TransactionUID, new TaskCompletionSource<CommitmentReport>(TaskCreationOptions.RunContinuationsAsynchronously));
        CommandSet command = new()
        {
            CommandField = CommandField.ActionRequest,
            RequestedSOPClassUID = SopClasses.StorageCommitmentPushModel,
            RequestedSOPInstanceUID = SopClasses.StorageCommitmentPushModelInstance,
            ActionTypeID = RequestCommitment,
        };
        (DimseReply reply, _) = await InstanceExchange.InvokeAsync(
            association, "N-ACTION", SopClasses.StorageCommitmentPushModel, ContextRoles.User, command, request.ToDataSet(), cancellationToken).ConfigureAwait(false);
        return reply;
    }

    /// <summary>Waits for the report in this association, no longer than the Report limit.</summary>
    /// <returns>
    /// Null when none came, for the limit ran out or the association ended: it may come in an association that the archive makes. The
    /// association is left as it is. A report that is given here was taken by the handler and answered.
    /// </returns>
    /// <exception cref="ArgumentException">The transaction was not asked for in this association.</exception>
    public async Task<CommitmentReport?> WaitForReportAsync(string transactionUID, CancellationToken cancellationToken = default)
    {
        if (!awaited.TryGetValue(transactionUID, out TaskCompletionSource<CommitmentReport>? source))
        {
            throw new ArgumentException($"No commitment was asked for with the Transaction UID {transactionUID} in this association.", nameof(transactionUID));
        }

        using CancellationTokenSource either = CancellationTokenSource.CreateLinkedTokenSource(association.Closed, cancellationToken);
        try
        {
            return await source.Task.WaitAsync(association.Limits.Report, association.Clock, either.Token).ConfigureAwait(false);
        }
        catch (TimeoutException)
        {
            return null;
        }
        catch (OperationCanceledException) when (!cancellationToken.IsCancellationRequested)
        {
            return null;
        }
    }

    private async Task TakeAsync(DimseChannel channel, IncomingRequest request)
    {
        CommitmentReport? taken = null;
        HandlerAnswer answer = await InstanceExchange.HandleAsync(
            channel,
            request,
            async (about, cancellationToken) =>
            {
                (HandlerAnswer given, taken) = await reports.ReceiveAsync(about, cancellationToken).ConfigureAwait(false);
                return given;
            },
            Task.CompletedTask).ConfigureAwait(false);
        try
        {
            await InstanceExchange.RespondAsync(channel, request, answer).ConfigureAwait(false);
        }
        finally
        {
            // Stored is stored, also when the answer could not be sent. Not before the answer: who waits may release at once.
            if (taken is not null && awaited.TryGetValue(taken.TransactionUID, out TaskCompletionSource<CommitmentReport>? source))
            {
                source.TrySetResult(taken);
            }
        }
    }
}
