using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.UpperLayer;

namespace CameraBridge.Dicom.Dimse;

/// <summary>Verification (C-ECHO, PS3.7 section 9.1.5 and PS3.4 Annex A) as user.</summary>
/// <param name="association">An association that may be shared with other users.</param>
public sealed class EchoUser(Association association)
{
    /// <summary>The context to propose for it.</summary>
    public static ContextProposal Proposal { get; } = new(SopClasses.Verification, TransferSyntaxes.ImplicitVRLittleEndian);

    /// <summary>Asks the peer whether it is there.</summary>
    /// <exception cref="ContextNotAcceptedException">The peer did not accept Verification.</exception>
    /// <exception cref="AssociationException">The association is broken, now or before.</exception>
    public async Task<DimseReply> EchoAsync(CancellationToken cancellationToken = default)
    {
        DimseChannel channel = DimseChannel.Over(association);
        AcceptedContext context = channel.FindContext(SopClasses.Verification, null) ??
            throw new ContextNotAcceptedException($"The {association.PeerName} accepted no presentation context for Verification: it cannot be tested by C-ECHO.");
        CommandSet request = new() { CommandField = CommandField.EchoRequest, AffectedSOPClassUID = SopClasses.Verification };
        using DimseOperation operation = await channel.InvokeAsync(context, request, null, cancellationToken).ConfigureAwait(false);
        DimseResponse response = await operation.NextAsync(cancellationToken).ConfigureAwait(false);
        return DimseReply.Of("C-ECHO", response.Command);
    }
}
