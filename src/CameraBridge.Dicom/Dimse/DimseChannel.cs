using System.Collections.Concurrent;
using System.Diagnostics.CodeAnalysis;
using System.Globalization;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.UpperLayer;

namespace CameraBridge.Dicom.Dimse;

/// <summary>Performs a request of the peer and sends the responses to it.</summary>
internal delegate Task RequestPerformer(DimseChannel channel, IncomingRequest request);

/// <summary>
/// Messages over an association (PS3.7 section 6.3, PS3.8 annex E): cuts messages into PDUs and puts them together again, matches responses
/// to requests, keeps to the asynchronous operations window. Anything that does not fit breaks the association.
/// </summary>
[SuppressMessage("Design", "CA1001", Justification = "The semaphores have no wait handles, and live as long as the association does.")]
internal sealed partial class DimseChannel
{
    /// <summary>Longest data set that is taken into memory: those of C-FIND and of responses.</summary>
    public const int MaximumIdentifierLength = 16 * 1024 * 1024;

    private readonly SemaphoreSlim sending = new(1, 1);
    private readonly SemaphoreSlim window;
    private readonly ConcurrentDictionary<ushort, DimseOperation> operations = new();
    private readonly RequestPerformer? performer;
    private readonly long maximumDataSetLength;
    private RequestPerformer? events;
    private int lastMessageId;
    private int outstanding;

    private DimseChannel(Association association, RequestPerformer? performer, long maximumDataSetLength)
    {
        Association = association;
        this.performer = performer;
        this.maximumDataSetLength = maximumDataSetLength;
        ushort allowed = association.IsRequestor ? association.Window.Invoked : association.Window.Performed;
        window = new SemaphoreSlim(allowed == 0 ? ushort.MaxValue : allowed);
        association.Closed.Register(OnClosed);
        association.Attach(ReceiveAsync);
    }

    /// <summary>The association underneath.</summary>
    public Association Association { get; }

    /// <summary>The channel of an association; made when it is asked for first.</summary>
    public static DimseChannel Over(Association association)
    {
        ArgumentNullException.ThrowIfNull(association);
        lock (association.UpperGate)
        {
            DimseChannel channel = association.Upper as DimseChannel ?? new DimseChannel(association, null, MaximumIdentifierLength);
            association.Upper = channel;
            return channel;
        }
    }

    /// <summary>A channel that performs what the peer asks for.</summary>
    /// <param name="association">Association.</param>
    /// <param name="performer">Performs one request; requests of an association are performed one after the other.</param>
    /// <param name="maximumDataSetLength">Longest data set of a request, in bytes.</param>
    public static DimseChannel Serve(Association association, RequestPerformer performer, long maximumDataSetLength)
    {
        DimseChannel channel = new(association, performer, maximumDataSetLength);
        association.Upper = channel;
        return channel;
    }

    /// <summary>The accepted context for a SOP class and transfer syntax in which this side has the role; null transfer syntax: the first one.</summary>
    public AcceptedContext? FindContext(string abstractSyntax, string? transferSyntax, ContextRoles role = ContextRoles.User) =>
        Association.Contexts.FirstOrDefault(context =>
            context.AbstractSyntaxUID == abstractSyntax &&
            (transferSyntax is null || context.TransferSyntaxUID == transferSyntax) &&
            context.LocalRoles.HasFlag(role));

    /// <summary>Names who takes the event reports of the peer. Until then they are declined.</summary>
    /// <exception cref="InvalidOperationException">Somebody else takes them already.</exception>
    public void TakeEvents(RequestPerformer taker)
    {
        if (Interlocked.CompareExchange(ref events, taker, null) is not null)
        {
            throw new InvalidOperationException("The event reports of this association are taken by somebody else: make one user for an association.");
        }
    }

    /// <summary>Sends a request when the window allows it. The operation must be disposed: that gives its place in the window back.</summary>
    /// <exception cref="AssociationException">The association is broken, now or before.</exception>
    public async Task<DimseOperation> InvokeAsync(
        AcceptedContext context, CommandSet request, PixelSource? dataSet, CancellationToken cancellationToken)
    {
        DimseOperation operation = await RegisterAsync(context, request, cancellationToken).ConfigureAwait(false);
        try
        {
            await SendAsync(context, request, dataSet, operation, cancellationToken).ConfigureAwait(false);
            return operation;
        }
        catch (AssociationException) when (operation.HasAnswer)
        {
            // The peer answered before it had everything, and then stopped listening. Its answer counts, the association is broken.
            return operation;
        }
        catch
        {
            operation.Dispose();
            throw;
        }
    }

    /// <summary>Asks the peer to end an operation early (C-CANCEL, PS3.7 section 9.3.2.3).</summary>
    public ValueTask CancelAsync(DimseOperation operation, CancellationToken cancellationToken) =>
        SendAsync(operation.Context, new CommandSet
        {
            CommandField = CommandField.CancelRequest,
            MessageIDBeingRespondedTo = operation.MessageId,
            CommandDataSetType = CommandSet.NoDataSet,
        }, null, null, cancellationToken);

    /// <summary>Sends a response.</summary>
    public ValueTask RespondAsync(AcceptedContext context, CommandSet response, PixelSource? dataSet, CancellationToken cancellationToken) =>
        SendAsync(context, response, dataSet, null, cancellationToken);

    internal void Forget(DimseOperation operation)
    {
        if (operations.TryRemove(new KeyValuePair<ushort, DimseOperation>(operation.MessageId, operation)))
        {
            if (!operation.IsFinal)
            {
                Interlocked.Decrement(ref outstanding);
            }

            window.Release();
        }
    }

    private async Task<DimseOperation> RegisterAsync(AcceptedContext context, CommandSet request, CancellationToken cancellationToken)
    {
        using CancellationTokenSource either = CancellationTokenSource.CreateLinkedTokenSource(Association.Closed, cancellationToken);
        try
        {
            await window.WaitAsync(either.Token).ConfigureAwait(false);
        }
        catch (OperationCanceledException) when (Association.Failure is { } failure)
        {
            throw failure;
        }

        while (true)
        {
            ushort id = (ushort)Interlocked.Increment(ref lastMessageId);
            DimseOperation operation = new(this, context, id, request.CommandField | CommandField.ResponseBit);
            if (operations.TryAdd(id, operation))
            {
                request.MessageID = id;
                Interlocked.Increment(ref outstanding);
                // It may have ended between the wait and the entry; then nobody else tells the operation.
                if (Association.Failure is { } failure)
                {
                    operation.Dispose();
                    throw failure;
                }

                return operation;
            }
        }
    }

    private void OnClosed()
    {
        AssociationException reason = Association.Failure!;
        foreach (DimseOperation operation in operations.Values)
        {
            operation.Fail(reason);
        }
    }

    /// <returns>Null when it went where it belongs, else what is wrong with it.</returns>
    private async ValueTask<string?> DispatchResponseAsync(DimseResponse response, CancellationToken cancellationToken)
    {
        ushort? id = response.Command.MessageIDBeingRespondedTo;
        if (id is not { } known || !operations.TryGetValue(known, out DimseOperation? operation))
        {
            return string.Create(CultureInfo.InvariantCulture, $"a response to message {id}, which was not asked or is answered already");
        }

        if (response.Context.Id != operation.Context.Id)
        {
            return string.Create(
                CultureInfo.InvariantCulture, $"a response in presentation context {response.Context.Id} to a request in {operation.Context.Id}");
        }

        if (response.Command.CommandField != operation.Expected)
        {
            return string.Create(
                CultureInfo.InvariantCulture, $"a response with command field {(ushort)response.Command.CommandField:X4}H where {(ushort)operation.Expected:X4}H is due");
        }

        if (response.Command.Status is null)
        {
            return "a response without a status";
        }

        string? wrong = await operation.AnswerAsync(response, cancellationToken).ConfigureAwait(false);
        if (operation.IsFinal && wrong is null)
        {
            Interlocked.Decrement(ref outstanding);
        }

        return wrong;
    }
}
