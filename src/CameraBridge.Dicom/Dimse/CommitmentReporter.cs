using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.UpperLayer;

namespace CameraBridge.Dicom.Dimse;

/// <summary>
/// The side that reports (PS3.4 section J.3.3 as provider), in the association that the request came in or in one of its own.
/// </summary>
/// <param name="association">The association: that of the request, or one made with <see cref="Proposals"/>.</param>
public sealed class CommitmentReporter(Association association)
{
    /// <summary>The contexts to propose in an association of one's own, with the role of provider.</summary>
    public static IReadOnlyList<ContextProposal> Proposals { get; } =
        InstanceExchange.Propose(SopClasses.StorageCommitmentPushModel, ContextRoles.Provider);

    /// <summary>Reports.</summary>
    /// <exception cref="ContextNotAcceptedException">The peer does not let us be the provider. Nothing was sent.</exception>
    /// <exception cref="AssociationException">The association is broken, now or before.</exception>
    public async Task<DimseReply> ReportAsync(CommitmentReport report, CancellationToken cancellationToken = default)
    {
        ArgumentNullException.ThrowIfNull(report);
        CommandSet command = new()
        {
            CommandField = CommandField.EventReportRequest,
            AffectedSOPClassUID = SopClasses.StorageCommitmentPushModel,
            AffectedSOPInstanceUID = SopClasses.StorageCommitmentPushModelInstance,
            EventTypeID = report.EventTypeID,
        };
        (DimseReply reply, _) = await InstanceExchange.InvokeAsync(
            association, "N-EVENT-REPORT", SopClasses.StorageCommitmentPushModel, ContextRoles.Provider, command, report.ToDataSet(), cancellationToken).ConfigureAwait(false);
        return reply;
    }
}
