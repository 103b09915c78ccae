using System.Diagnostics.CodeAnalysis;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.UpperLayer;

namespace CameraBridge.Dicom.Dimse;

/// <summary>What became of a report.</summary>
public enum CommitmentReceipt
{
    /// <summary>It is stored, now or before: a report that comes twice is received twice.</summary>
    Taken,

    /// <summary>Nobody here asked for this transaction.</summary>
    UnknownTransaction,
}

/// <summary>
/// Takes a report. It must be stored for good before this returns: the archive is told that it arrived, and does not send it again. A handler
/// that throws makes it a processing failure, after which archives may send it again.
/// </summary>
public delegate ValueTask<CommitmentReceipt> CommitmentReportHandler(CommitmentReport report, CancellationToken cancellationToken);

/// <summary>
/// Receives reports of storage commitment (N-EVENT-REPORT, PS3.4 section J.3.3), whichever way they come: in the association of the request
/// (<see cref="CommitmentUser"/>), or in one that the archive makes, with or without role selection (as
/// <see cref="ProviderOptions.EventReport"/>, with <see cref="Offer"/> among the offers).
/// </summary>
/// <param name="take">Stores a report.</param>
public sealed class CommitmentReports(CommitmentReportHandler take)
{
    /// <summary>
    /// What an acceptor offers so that reports can come. The archive should ask for the role of provider (PS3.7 section D.3.3.4); one that
    /// asks for no role is understood too.
    /// </summary>
    public static ContextOffer Offer { get; } = new(
        SopClasses.StorageCommitmentPushModel,
        [TransferSyntaxes.ExplicitVRLittleEndian, TransferSyntaxes.ImplicitVRLittleEndian],
        ContextRoles.Provider);

    /// <summary>Takes an event report: the handler for <see cref="ProviderOptions.EventReport"/>.</summary>
    public async ValueTask<HandlerAnswer> TakeAsync(InstanceRequest request, CancellationToken cancellationToken) =>
        (await ReceiveAsync(request, cancellationToken).ConfigureAwait(false)).Answer;

    [SuppressMessage("Design", "CA1031", Justification = "A store that fails, however it does, must reach the archive as a status: then it may report again.")]
    internal async ValueTask<(HandlerAnswer Answer, CommitmentReport? Report)> ReceiveAsync(InstanceRequest request, CancellationToken cancellationToken)
    {
        ArgumentNullException.ThrowIfNull(request);
        if (request.Origin.SOPClassUID != SopClasses.StorageCommitmentPushModel)
        {
            return (new HandlerAnswer(Statuses.SopClassNotSupported), null);
        }

        if (request.TypeID is not (CommitmentReport.AllCommitted or CommitmentReport.FailuresExist))
        {
            return (new HandlerAnswer(Statuses.NoSuchEventType), null);
        }

        if (CommitmentReport.Read(request.TypeID.Value, request.DataSet) is not { } report)
        {
            return (new HandlerAnswer(Statuses.InvalidArgumentValue, "no Transaction UID"), null);
        }

        bool isOurs = request.Association.IsRequestor;
        report = report with { ReportedBy = isOurs ? request.Origin.CalledAETitle : request.Origin.CallingAETitle };
        try
        {
            CommitmentReceipt receipt = await take(report, cancellationToken).ConfigureAwait(false);
            return receipt == CommitmentReceipt.Taken
                ? (HandlerAnswer.Success, report)
                : (new HandlerAnswer(Statuses.InvalidArgumentValue, "unknown Transaction UID"), null);
        }
        catch (Exception e) when (e is not (AssociationException or OperationCanceledException))
        {
            return (new HandlerAnswer(Statuses.ProcessingFailure, "the report could not be stored"), null);
        }
    }
}
