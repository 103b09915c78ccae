using System.Diagnostics.CodeAnalysis;
using System.Net;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Part10;
using CameraBridge.Dicom.UpperLayer;

namespace CameraBridge.Dicom.Dimse;

/// <summary>
/// The provider side of C-ECHO, C-FIND, C-STORE and the services on instances (N-CREATE ...) for many associations at once. What it does with a request is up to the handlers of
/// <see cref="ProviderOptions"/>; a handler that fails concerns its request only.
/// </summary>
public sealed class Provider : IAsyncDisposable
{
    private readonly ProviderOptions options;
    private readonly AssociationListener listener;

    private Provider(ProviderOptions options)
    {
        this.options = options;
        AcceptorOptions acceptor = options.Acceptor;
        if (!acceptor.Offers.Any(offer => offer.AbstractSyntaxUID == SopClasses.Verification))
        {
            ContextOffer verification = new(
                SopClasses.Verification, [TransferSyntaxes.ExplicitVRLittleEndian, TransferSyntaxes.ImplicitVRLittleEndian]);
            acceptor = acceptor with { Offers = [verification, .. acceptor.Offers] };
        }

        listener = AssociationListener.Start(options.EndPoint, acceptor, ServeAsync, OnTurnedAway);
    }

    /// <summary>Where it listens.</summary>
    public IPEndPoint EndPoint => listener.EndPoint;

    /// <summary>Associations that stand at this moment.</summary>
    public int Associations => listener.Count;

    /// <summary>Begins to listen.</summary>
    /// <exception cref="System.Net.Sockets.SocketException">The port is taken, or the address is not ours.</exception>
    public static Provider Start(ProviderOptions options)
    {
        ArgumentNullException.ThrowIfNull(options);
        return new Provider(options);
    }

    /// <summary>Stops listening and ends all associations.</summary>
    public ValueTask DisposeAsync() => listener.DisposeAsync();

    private async Task ServeAsync(Association association, CancellationToken cancellationToken)
    {
        DimseChannel channel = DimseChannel.Serve(association, PerformAsync, options.MaximumObjectLength);
        await Task.Delay(Timeout.Infinite, association.Closed).WaitAsync(cancellationToken).ConfigureAwait(ConfigureAwaitOptions.SuppressThrowing);
        if (association.Failure is { } failure and not AssociationReleasedException)
        {
            options.Trouble?.Invoke(association.PeerName, failure);
        }

        association.Abort("the service stops");
        // Its handler has been told by its token; what it holds is let go of before this provider counts as stopped.
        await channel.LastPerformance.ConfigureAwait(false);
    }

    private void OnTurnedAway(Association association)
    {
        // A connection that closes without a word is a port scan or a probe of a load balancer.
        if (association.Failure is { } failure and not ConnectionFailedException)
        {
            options.Trouble?.Invoke(association.PeerName, failure);
        }
    }

    [SuppressMessage("Design", "CA1031", Justification = "A handler's failure, whatever it is, must reach the peer as a status and stop nobody else.")]
    private async Task PerformAsync(DimseChannel channel, IncomingRequest request)
    {
        // Not on the thread that answers: what follows an answer may be slow.
        TaskCompletionSource answered = new(TaskCreationOptions.RunContinuationsAsynchronously);
        HandlerAnswer answer;
        try
        {
            answer = await HandleAsync(channel, request, answered.Task).ConfigureAwait(false);
        }
        catch (AssociationException)
        {
            throw;
        }
        catch (RequestFailedException e)
        {
            answer = e.Answer;
        }
        catch (OperationCanceledException) when (request.Cancelled.IsCancellationRequested)
        {
            answer = new HandlerAnswer(Statuses.Cancelled);
        }
        catch (Exception e)
        {
            options.Trouble?.Invoke(channel.Association.PeerName, e);
            answer = new HandlerAnswer(Statuses.ProcessingFailure, "internal failure; see the log of the provider");
        }

        try
        {
            await InstanceExchange.RespondAsync(channel, request, answer).ConfigureAwait(false);
            answered.SetResult();
        }
        finally
        {
            answered.TrySetCanceled(CancellationToken.None);
        }
    }

    private async Task<HandlerAnswer> HandleAsync(DimseChannel channel, IncomingRequest request, Task answered)
    {
        RequestOrigin origin = InstanceExchange.OriginOf(channel.Association, request);
        if (origin.SOPClassUID != request.Context.AbstractSyntaxUID)
        {
            return new HandlerAnswer(Statuses.SopClassNotSupported, "SOP class differs from the presentation context");
        }

        switch (request.Command.CommandField)
        {
            case CommandField.EchoRequest:
                return options.Echo is null
                    ? HandlerAnswer.Success
                    : await options.Echo(origin, request.Cancelled).ConfigureAwait(false);
            case CommandField.FindRequest when options.Find is not null:
                return await FindAsync(channel, request, origin).ConfigureAwait(false);
            case CommandField.StoreRequest when options.Store is not null:
                IncomingObject incoming = new(origin, request.Command.AffectedSOPInstanceUID ?? "", request.DataSet);
                return await options.Store(incoming, request.Cancelled).ConfigureAwait(false);
            case CommandField.FindRequest or CommandField.StoreRequest:
                return new HandlerAnswer(Statuses.SopClassNotSupported);
            default:
                return HandlerOf(request.Command.CommandField) is { } handler
                    ? await InstanceExchange.HandleAsync(channel, request, handler, answered).ConfigureAwait(false)
                    : new HandlerAnswer(Statuses.UnrecognizedOperation);
        }
    }

    private InstanceHandler? HandlerOf(CommandField field) => field switch
    {
        CommandField.EventReportRequest => options.EventReport,
        CommandField.AttributesRequest => options.Get,
        CommandField.SetRequest => options.Set,
        CommandField.ActionRequest => options.Action,
        CommandField.CreateRequest => options.Create,
        _ => null,
    };

    private async Task<HandlerAnswer> FindAsync(DimseChannel channel, IncomingRequest request, RequestOrigin origin)
    {
        TransferSyntax syntax = TransferSyntax.Find(origin.TransferSyntaxUID)!;
        DataSet identifier;
        try
        {
            ReadLimits limits = ReadLimits.Default with { MaxStreamBytes = DimseChannel.MaximumIdentifierLength };
            identifier = await ElementReader.ReadAsync(request.DataSet, syntax, limits, request.Cancelled).ConfigureAwait(false);
        }
        catch (MalformedException e)
        {
            return new HandlerAnswer(Statuses.CannotUnderstand, e.Rule);
        }

        await foreach (FindMatch match in options.Find!(new FindQuery(origin, identifier), request.Cancelled)
            .WithCancellation(request.Cancelled).ConfigureAwait(false))
        {
            request.Cancelled.ThrowIfCancellationRequested();
            CommandSet pending = CommandSet.ResponseTo(request.Command, match.Status);
            PixelSource encoded = ElementWriter.Encode(match.Identifier, syntax);
            await channel.RespondAsync(request.Context, pending, encoded, CancellationToken.None).ConfigureAwait(false);
        }

        // A cancel that came after the last match is too late: all were given.
        return HandlerAnswer.Success;
    }
}
