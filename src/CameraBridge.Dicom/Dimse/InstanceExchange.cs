using System.Globalization;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Part10;
using CameraBridge.Dicom.UpperLayer;

namespace CameraBridge.Dicom.Dimse;

/// <summary>What all services on instances (N-CREATE, N-SET ...; PS3.7 chapter 10) have in common, asking and answering.</summary>
internal static class InstanceExchange
{
    private static readonly ReadLimits Limits = ReadLimits.Default with { MaxStreamBytes = DimseChannel.MaximumIdentifierLength };

    /// <summary>Both transfer syntaxes that a peer may want for a SOP class without pixels.</summary>
    public static IReadOnlyList<ContextProposal> Propose(string sopClassUid, ContextRoles roles = ContextRoles.User) =>
    [
        new(sopClassUid, TransferSyntaxes.ExplicitVRLittleEndian, roles),
        new(sopClassUid, TransferSyntaxes.ImplicitVRLittleEndian, roles),
    ];

    /// <summary>Sends a request and takes its one answer.</summary>
    /// <exception cref="ContextNotAcceptedException">The peer did not accept the SOP class in this role. Nothing was sent.</exception>
    /// <exception cref="AssociationException">The association is broken, now or before.</exception>
    public static async Task<(DimseReply Reply, DataSet? DataSet)> InvokeAsync(
        Association association, string service, string sopClassUid, ContextRoles role, CommandSet request, DataSet? dataSet, CancellationToken cancellationToken)
    {
        if (association.Failure is { } failure)
        {
            throw failure;
        }

        DimseChannel channel = DimseChannel.Over(association);
        AcceptedContext context = channel.FindContext(sopClassUid, null, role) ?? throw new ContextNotAcceptedException(
            $"The {association.PeerName} accepted no presentation context for {UidRegistry.NameOf(sopClassUid)} with this side as {(role == ContextRoles.User ? "user (SCU)" : "provider (SCP)")}: enable it there for our AE title.");
        TransferSyntax syntax = TransferSyntax.Find(context.TransferSyntaxUID)!;
        PixelSource? encoded = dataSet is null ? null : ElementWriter.Encode(dataSet, syntax);
        using DimseOperation operation = await channel.InvokeAsync(context, request, encoded, cancellationToken).ConfigureAwait(false);
        DimseResponse response = await operation.NextAsync(cancellationToken).ConfigureAwait(false);
        string? asked = request.AffectedSOPInstanceUID ?? request.RequestedSOPInstanceUID;
        if (response.Command.AffectedSOPInstanceUID is { } answered && asked is not null && answered != asked)
        {
            throw association.Break(association.Violation($"an answer to {service} about another SOP instance than the one it was asked about"));
        }

        return (DimseReply.Of(service, response.Command), Read(association, service, response, syntax));
    }

    /// <summary>Who asks.</summary>
    public static RequestOrigin OriginOf(Association association, IncomingRequest request) => new(
        association.CallingAETitle,
        association.CalledAETitle,
        association.PeerName,
        request.Command.AffectedSOPClassUID ?? request.Command.RequestedSOPClassUID ?? request.Context.AbstractSyntaxUID,
        request.Context.TransferSyntaxUID);

    /// <summary>Reads a request and lets the handler answer it.</summary>
    public static async Task<HandlerAnswer> HandleAsync(DimseChannel channel, IncomingRequest request, InstanceHandler handler, Task answered)
    {
        DataSet dataSet = new();
        if (request.Command.HasDataSet)
        {
            try
            {
                TransferSyntax syntax = TransferSyntax.Find(request.Context.TransferSyntaxUID)!;
                dataSet = await ElementReader.ReadAsync(request.DataSet, syntax, Limits, request.Cancelled).ConfigureAwait(false);
            }
            catch (MalformedException e)
            {
                return new HandlerAnswer(Statuses.ProcessingFailure, e.Rule);
            }
        }

        CommandSet command = request.Command;
        return await handler(
            new InstanceRequest(
                OriginOf(channel.Association, request),
                channel.Association,
                command.AffectedSOPInstanceUID ?? command.RequestedSOPInstanceUID ?? "",
                command.EventTypeID ?? command.ActionTypeID,
                dataSet,
                command.AttributeIdentifierList,
                answered),
            request.Cancelled).ConfigureAwait(false);
    }

    /// <summary>Sends the answer.</summary>
    public static ValueTask RespondAsync(DimseChannel channel, IncomingRequest request, HandlerAnswer answer)
    {
        CommandSet response = CommandSet.ResponseTo(request.Command, answer.Status);
        response.ErrorComment = answer.ErrorComment;
        response.ErrorID = answer.ErrorID;
        PixelSource? encoded = answer.DataSet is null
            ? null
            : ElementWriter.Encode(answer.DataSet, TransferSyntax.Find(request.Context.TransferSyntaxUID)!);
        return channel.RespondAsync(request.Context, response, encoded, CancellationToken.None);
    }

    private static DataSet? Read(Association association, string service, DimseResponse response, TransferSyntax syntax)
    {
        try
        {
            return response.DataSet.IsEmpty ? null : ElementReader.Read(response.DataSet, syntax, Limits);
        }
        catch (MalformedException e)
        {
            throw association.Break(association.Violation(string.Create(
                CultureInfo.InvariantCulture, $"an answer to {service} that cannot be read ({e.Message})")));
        }
    }
}
