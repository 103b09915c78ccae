using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Iods;
using CameraBridge.Dicom.UpperLayer;

namespace CameraBridge.Dicom.Dimse;

/// <summary>A message of a performed procedure step is not as it must be, so it was not sent.</summary>
public sealed class PerformedStepException : Exception
{
    internal PerformedStepException(string what, IReadOnlyList<Finding> findings)
        : base($"The {what} of the performed procedure step was not sent: " +
            string.Join("; ", findings.Select(finding => $"{finding.Path} ({finding.Section}): {finding.Found}, right would be {finding.Right}")) + ".") =>
        Findings = findings;

    /// <summary>What is wrong; no value of the patient is shown.</summary>
    public IReadOnlyList<Finding> Findings { get; }
}

/// <summary>
/// Modality performed procedure step (PS3.4 section F.7, retrieval by F.8) as user. The messages of a step must be sent in their order, which
/// is for the caller to keep, over restarts too.
/// </summary>
/// <param name="association">An association that may be shared with other users.</param>
public sealed class PerformedStepUser(Association association)
{
    /// <summary>The contexts to propose for making and changing steps.</summary>
    public static IReadOnlyList<ContextProposal> Proposals { get; } = InstanceExchange.Propose(SopClasses.ModalityPerformedProcedureStep);

    /// <summary>The contexts to propose for asking what became of a step.</summary>
    public static IReadOnlyList<ContextProposal> RetrieveProposals { get; } = InstanceExchange.Propose(SopClasses.ModalityPerformedProcedureStepRetrieve);

    /// <summary>Error ID (0000,0903) of a step that has ended and may no longer be updated (PS3.4 section F.7.2.2).</summary>
    public const ushort HasEnded = 0xA710;

    /// <summary>Makes a step (N-CREATE).</summary>
    /// <param name="sopInstanceUID">The step's UID, made and stored before.</param>
    /// <param name="attributes">As of <see cref="PerformedStepStart.ToDataSet"/>; stored before, so that a retry sends the same.</param>
    /// <param name="cancellationToken">Gives up; the association is broken by that.</param>
    /// <returns>The answer; 0111 is what a retry gets after an answer that was lost.</returns>
    /// <exception cref="PerformedStepException">The attributes are not as they must be. Nothing was sent.</exception>
    /// <exception cref="ContextNotAcceptedException">The peer does not do performed procedure steps. Nothing was sent.</exception>
    /// <exception cref="AssociationException">The association broke: whether the step was made is not known.</exception>
    public async Task<DimseReply> CreateAsync(string sopInstanceUID, DataSet attributes, CancellationToken cancellationToken = default)
    {
        CheckUid(sopInstanceUID);
        Refuse("N-CREATE", PerformedStepCheck.CheckCreate(attributes));
        CommandSet command = new()
        {
            CommandField = CommandField.CreateRequest,
            AffectedSOPClassUID = SopClasses.ModalityPerformedProcedureStep,
            AffectedSOPInstanceUID = sopInstanceUID,
        };
        (DimseReply reply, _) = await InvokeAsync("N-CREATE", SopClasses.ModalityPerformedProcedureStep, command, attributes, cancellationToken).ConfigureAwait(false);
        return reply;
    }

    /// <summary>Changes a step, or ends it (N-SET).</summary>
    /// <param name="sopInstanceUID">The step's UID.</param>
    /// <param name="current">What the step is made of by now: what was sent by N-CREATE, with earlier modifications.</param>
    /// <param name="modifications">As of <see cref="PerformedStepEnd.ToDataSet"/>.</param>
    /// <param name="cancellationToken">Gives up; the association is broken by that.</param>
    /// <returns>The answer; 0110 is what a retry gets after an answer that was lost, some peers with Error ID A710.</returns>
    /// <exception cref="PerformedStepException">The modifications are not as they must be. Nothing was sent.</exception>
    /// <exception cref="ContextNotAcceptedException">The peer does not do performed procedure steps. Nothing was sent.</exception>
    /// <exception cref="AssociationException">The association broke: whether the step was changed is not known.</exception>
    public async Task<DimseReply> SetAsync(string sopInstanceUID, DataSet current, DataSet modifications, CancellationToken cancellationToken = default)
    {
        CheckUid(sopInstanceUID);
        Refuse("N-SET", PerformedStepCheck.CheckSet(current, modifications));
        CommandSet command = new()
        {
            CommandField = CommandField.SetRequest,
            RequestedSOPClassUID = SopClasses.ModalityPerformedProcedureStep,
            RequestedSOPInstanceUID = sopInstanceUID,
        };
        (DimseReply reply, _) = await InvokeAsync("N-SET", SopClasses.ModalityPerformedProcedureStep, command, modifications, cancellationToken).ConfigureAwait(false);
        return reply;
    }

    /// <summary>Asks what became of a step (N-GET of the Retrieve SOP class): for a retry that met a step that is made or ended already.</summary>
    /// <param name="sopInstanceUID">The step's UID.</param>
    /// <param name="wanted">The attributes; none means all.</param>
    /// <param name="cancellationToken">Gives up; the association is broken by that.</param>
    /// <returns>The answer, and the attributes if it is a success.</returns>
    /// <exception cref="ContextNotAcceptedException">The peer does not let steps be retrieved; few do. Nothing was sent.</exception>
    /// <exception cref="AssociationException">The association is broken, now or before.</exception>
    public Task<(DimseReply Reply, DataSet? Attributes)> GetAsync(
        string sopInstanceUID, IReadOnlyList<Tag>? wanted = null, CancellationToken cancellationToken = default)
    {
        CheckUid(sopInstanceUID);
        CommandSet command = new()
        {
            CommandField = CommandField.AttributesRequest,
            RequestedSOPClassUID = SopClasses.ModalityPerformedProcedureStepRetrieve,
            RequestedSOPInstanceUID = sopInstanceUID,
        };
        if (wanted is { Count: > 0 })
        {
            command.AttributeIdentifierList = wanted;
        }

        return InvokeAsync("N-GET", SopClasses.ModalityPerformedProcedureStepRetrieve, command, null, cancellationToken);
    }

    private static void CheckUid(string uid)
    {
        if (!Uids.IsValid(uid))
        {
            throw new ArgumentException($"\"{uid}\" is no SOP Instance UID.", nameof(uid));
        }
    }

    private static void Refuse(string what, IReadOnlyList<Finding> findings)
    {
        Finding[] errors = [.. findings.Where(finding => finding.Severity == Severity.Error)];
        if (errors.Length > 0)
        {
            throw new PerformedStepException(what, errors);
        }
    }

    private Task<(DimseReply Reply, DataSet? Attributes)> InvokeAsync(
        string service, string sopClassUid, CommandSet command, DataSet? dataSet, CancellationToken cancellationToken) =>
        InstanceExchange.InvokeAsync(association, service, sopClassUid, ContextRoles.User, command, dataSet, cancellationToken);
}
