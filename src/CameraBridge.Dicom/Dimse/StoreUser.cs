using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.UpperLayer;

namespace CameraBridge.Dicom.Dimse;

/// <summary>An object to be stored. It is sent as it is, streamed from where it is.</summary>
/// <param name="SOPClassUID">SOP class.</param>
/// <param name="SOPInstanceUID">SOP instance.</param>
/// <param name="TransferSyntaxUID">Transfer syntax that <paramref name="DataSet"/> is encoded in.</param>
/// <param name="DataSet">The encoded data set, without file meta information.</param>
public sealed record StoreRequest(string SOPClassUID, string SOPInstanceUID, string TransferSyntaxUID, PixelSource DataSet)
{
    /// <summary>0 medium, 1 high, 2 low.</summary>
    public ushort Priority { get; init; }
}

/// <summary>
/// Storage (C-STORE, PS3.7 section 9.1.1 and PS3.4 Annex B) as user: any number of objects over one association, also at the same time
/// where an asynchronous operations window was agreed on.
/// </summary>
/// <param name="association">An association that may be shared with other users.</param>
public sealed class StoreUser(Association association)
{
    /// <summary>True when objects of the class can be sent in the transfer syntax.</summary>
    public bool CanStore(string sopClassUid, string transferSyntaxUid) =>
        association.IsOpen && DimseChannel.Over(association).FindContext(sopClassUid, transferSyntaxUid) is not null;

    /// <summary>Stores an object. May be called again before the last one is answered; the window of the association decides who waits.</summary>
    /// <exception cref="ContextNotAcceptedException">The peer did not accept the class in this transfer syntax. Nothing was sent.</exception>
    /// <exception cref="AssociationException">The association broke; whether the peer keeps the object is not known.</exception>
    /// <exception cref="ArgumentException">The data set has an odd number of bytes, which no encoding has (PS3.5 section 7.1.1).</exception>
    /// <exception cref="IOException">The object could not be read. If a part of it was sent already, the association is aborted.</exception>
    public async Task<DimseReply> StoreAsync(StoreRequest request, CancellationToken cancellationToken = default)
    {
        ArgumentNullException.ThrowIfNull(request);
        if ((request.DataSet.Length & 1) != 0)
        {
            throw new ArgumentException("The data set to be stored has an odd number of bytes.", nameof(request));
        }

        if (association.Failure is { } failure)
        {
            throw failure;
        }

        DimseChannel channel = DimseChannel.Over(association);
        AcceptedContext context = channel.FindContext(request.SOPClassUID, request.TransferSyntaxUID) ?? throw NotAccepted(request);
        CommandSet command = new()
        {
            CommandField = CommandField.StoreRequest,
            AffectedSOPClassUID = request.SOPClassUID,
            Priority = request.Priority,
            AffectedSOPInstanceUID = request.SOPInstanceUID,
        };
        using DimseOperation operation = await channel.InvokeAsync(context, command, request.DataSet, cancellationToken).ConfigureAwait(false);
        DimseResponse response = await operation.NextAsync(cancellationToken).ConfigureAwait(false);
        if (response.Command.AffectedSOPInstanceUID is { } stored && stored != request.SOPInstanceUID)
        {
            throw association.Break(association.Violation("an answer about another SOP instance than the one it was sent"));
        }

        return DimseReply.Of("C-STORE", response.Command);
    }

    private ContextNotAcceptedException NotAccepted(StoreRequest request)
    {
        string what = $"{UidRegistry.NameOf(request.SOPClassUID)} in {UidRegistry.NameOf(request.TransferSyntaxUID)}";
        RefusedContext? refused = association.RefusedContexts.FirstOrDefault(context =>
            context.AbstractSyntaxUID == request.SOPClassUID && context.TransferSyntaxUIDs.Contains(request.TransferSyntaxUID, StringComparer.Ordinal));
        string why = refused?.Result switch
        {
            null => "it was not proposed in this association",
            ContextResult.AbstractSyntaxNotSupported => "it does not know the SOP class: enable it there",
            ContextResult.TransferSyntaxesNotSupported => "it knows the SOP class, but not in this transfer syntax: enable it there",
            ContextResult.UserRejection => "it does not want it from us: look into its permissions for our AE title",
            ContextResult.NotAnswered => "its answer left it out",
            _ => "it gave no reason: look into its log",
        };
        return new ContextNotAcceptedException($"The {association.PeerName} does not take {what}: {why}.");
    }
}
