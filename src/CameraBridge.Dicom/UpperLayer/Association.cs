using System.Diagnostics.CodeAnalysis;
using System.Net.Sockets;

namespace CameraBridge.Dicom.UpperLayer;

/// <summary>Takes the presentation data values of an association, in their order. The fragment is only valid until the task ends.</summary>
internal delegate ValueTask PresentationDataReceiver(PresentationDataValue value, CancellationToken cancellationToken);

/// <summary>
/// An association with a peer (PS3.8 section 7), asked for by us or by the peer. It alone does input and output: it turns what happens into
/// events of the <see cref="UpperLayerMachine"/> and does the steps that follow. After any surprise it is broken and stays so: make a new one.
/// </summary>
/// <remarks>Safe for use by several threads: writes are whole PDUs, one after the other.</remarks>
public sealed partial class Association : IAsyncDisposable
{
    private readonly Lock gate = new();
    private readonly SemaphoreSlim writing = new(1, 1);
    private readonly CancellationTokenSource closed = new();
    private readonly CancellationToken closedToken;
    private readonly TaskCompletionSource established = new(TaskCreationOptions.RunContinuationsAsynchronously);
    private readonly TaskCompletionSource released = new(TaskCreationOptions.RunContinuationsAsynchronously);
    private readonly TaskCompletionSource<PresentationDataReceiver> receiver = new(TaskCreationOptions.RunContinuationsAsynchronously);
    private readonly AssociationLimits limits;
    private readonly TimeProvider clock;
    private readonly ITimer artim;
    private readonly ITimer idle;
    private readonly int maximumReceiveLength;
    private readonly int maximumSendLength;
    private readonly AssociationOptions? requestor;
    private readonly AcceptorOptions? acceptor;
    private readonly Func<bool>? isFull;
    private readonly Socket socket;
    private Stream? stream;
    private AssociateRequestPdu? request;
    private AssociateAcceptPdu? accept;
    private Agreement agreement = Agreement.None;
    private UpperLayerState state = UpperLayerState.Sta1;
    private AssociationException? failure;
    private Task reading = Task.CompletedTask;
    private Task ending = Task.CompletedTask;
    private int owed;
    private bool disposed;

    private Association(AssociationOptions options)
        : this(new Socket(SocketType.Stream, ProtocolType.Tcp), options.PeerName, options.Limits, options.TimeProvider)
    {
        requestor = options;
        maximumReceiveLength = options.MaximumReceiveLength;
        maximumSendLength = options.MaximumSendLength;
    }

    private Association(Socket accepted, AcceptorOptions options, Func<bool> isFull)
        : this(accepted, $"peer at {accepted.RemoteEndPoint}", options.Limits, options.TimeProvider)
    {
        acceptor = options;
        this.isFull = isFull;
        maximumReceiveLength = options.MaximumReceiveLength;
        maximumSendLength = options.MaximumSendLength;
    }

    private Association(Socket socket, string peerName, AssociationLimits limits, TimeProvider clock)
    {
        this.socket = socket;
        this.limits = limits;
        this.clock = clock;
        PeerName = peerName;
        closedToken = closed.Token;
        socket.NoDelay = true;
        // A peer that vanished without a word is noticed even while an association rests between two uses.
        socket.SetSocketOption(SocketOptionLevel.Socket, SocketOptionName.KeepAlive, true);
        artim = clock.CreateTimer(_ => OnArtim(), null, Timeout.InfiniteTimeSpan, Timeout.InfiniteTimeSpan);
        idle = clock.CreateTimer(_ => OnIdle(), null, Timeout.InfiniteTimeSpan, Timeout.InfiniteTimeSpan);
    }

    /// <summary>The peer as sentences name it: "archive PACS1 at 127.0.0.1:104".</summary>
    public string PeerName { get; private set; }

    /// <summary>True when this side asked for the association.</summary>
    public bool IsRequestor => requestor is not null;

    /// <summary>AE title of the side that asked.</summary>
    public string CallingAETitle => request?.CallingAETitle ?? "";

    /// <summary>AE title of the side that was asked.</summary>
    public string CalledAETitle => request?.CalledAETitle ?? "";

    /// <summary>Presentation contexts that can be used.</summary>
    public IReadOnlyList<AcceptedContext> Contexts => agreement.Accepted;

    /// <summary>Presentation contexts that were proposed and cannot be used, with the reason.</summary>
    public IReadOnlyList<RefusedContext> RefusedContexts => agreement.Refused;

    /// <summary>The asynchronous operations window that was agreed on.</summary>
    public OperationsWindow Window => agreement.Window;

    /// <summary>Implementation version name of the peer, or its class UID; empty when it gave neither.</summary>
    public string PeerImplementation
    {
        get
        {
            UserInformation? user = IsRequestor ? accept?.User : request?.User;
            return user?.ImplementationVersionName ?? user?.ImplementationClassUID ?? "";
        }
    }

    /// <summary>Longest P-DATA-TF that is sent: the peer's limit or our own, whichever is less; the peer's 0 is no limit.</summary>
    public int MaximumSendLength =>
        agreement.PeerLimit == 0 ? maximumSendLength : (int)Math.Min((uint)maximumSendLength, agreement.PeerLimit);

    /// <summary>True while data can be sent.</summary>
    public bool IsOpen
    {
        get
        {
            lock (gate)
            {
                return state == UpperLayerState.Sta6 && failure is null;
            }
        }
    }

    /// <summary>Why the association cannot be used any more; null while it can.</summary>
    public AssociationException? Failure
    {
        get
        {
            lock (gate)
            {
                return failure;
            }
        }
    }

    /// <summary>Ends when nothing more will come from the peer. Never faults.</summary>
    public Task Completion => reading;

    /// <summary>The limits of this association.</summary>
    internal AssociationLimits Limits => limits;

    /// <summary>The clock of this association.</summary>
    internal TimeProvider Clock => clock;

    /// <summary>Cancelled when the association ended; <see cref="Failure"/> says why.</summary>
    internal CancellationToken Closed => closedToken;

    /// <summary>Set by the layer above: true while the peer has more to say, so that it should not be kept waiting for an acknowledgement.</summary>
    internal bool ExpectsMore { get; set; }

    /// <summary>The layer above, at most one.</summary>
    internal object? Upper { get; set; }

    /// <summary>Guards <see cref="Upper"/>.</summary>
    internal Lock UpperGate { get; } = new();

    /// <summary>Asks a peer for an association and waits for its answer.</summary>
    /// <exception cref="ConnectionFailedException">The peer could not be reached, or the connection was lost.</exception>
    /// <exception cref="PeerTimeoutException">A limit ran out: Connect, Write or Associate.</exception>
    /// <exception cref="AssociationRejectedException">The peer rejected.</exception>
    /// <exception cref="AssociationAbortedException">The peer aborted.</exception>
    /// <exception cref="ProtocolException">The peer's answer is not allowed.</exception>
    /// <exception cref="ArgumentException">The options are not valid.</exception>
    public static async Task<Association> RequestAsync(AssociationOptions options, CancellationToken cancellationToken = default)
    {
        ArgumentNullException.ThrowIfNull(options);
        options.Validate();
        Association association = new(options);
        try
        {
            await association.EstablishAsync(options, cancellationToken).ConfigureAwait(false);
            return association;
        }
        catch
        {
            await association.DisposeAsync().ConfigureAwait(false);
            throw;
        }
    }

    /// <summary>Takes a connection that a peer made.</summary>
    /// <param name="accepted">The connection; from here on it belongs to the association.</param>
    /// <param name="options">What is offered.</param>
    /// <param name="isFull">True when no further association should be taken; asked when the request is there.</param>
    internal static Association Accept(Socket accepted, AcceptorOptions options, Func<bool> isFull)
    {
        Association association = new(accepted, options, isFull);
        association.stream = new NetworkStream(accepted, ownsSocket: false);
        association.Take(UpperLayerEvent.TransportIndicated);
        association.artim.Change(options.Limits.Artim, Timeout.InfiniteTimeSpan);
        association.reading = Task.Run(association.ReadAsync, CancellationToken.None);
        return association;
    }

    /// <summary>Ends when the association is agreed on.</summary>
    /// <returns>False when it came to nothing; <see cref="Failure"/> says why.</returns>
    internal async Task<bool> WaitUntilEstablishedAsync()
    {
        await Task.WhenAny(established.Task, reading).ConfigureAwait(false);
        return established.Task.IsCompletedSuccessfully;
    }

    /// <summary>Names who takes what the peer sends. Nothing is taken before.</summary>
    internal void Attach(PresentationDataReceiver taker) => receiver.SetResult(taker);

    /// <summary>Sends whole P-DATA-TF PDUs, already encoded.</summary>
    /// <exception cref="AssociationException">The association is broken, now or before.</exception>
    internal async ValueTask SendDataAsync(ReadOnlyMemory<byte> pdus, CancellationToken cancellationToken)
    {
        UpperLayerTransition transition = TakeOrNull(UpperLayerEvent.DataRequest) ?? throw await WhyItEndsAsync().ConfigureAwait(false);
        await PerformAsync(transition, new Occurrence { Outgoing = pdus }, cancellationToken).ConfigureAwait(false);
    }

    /// <summary>
    /// Releases in good order (PS3.8 section 7.2) and closes. Does nothing when the association is broken already.
    /// </summary>
    /// <exception cref="AssociationException">The peer did not release in good order.</exception>
    public async Task ReleaseAsync(CancellationToken cancellationToken = default)
    {
        if (!IsOpen)
        {
            return;
        }

        UpperLayerTransition transition = TakeOrNull(UpperLayerEvent.ReleaseRequest) ?? throw await WhyItEndsAsync().ConfigureAwait(false);
        await PerformAsync(transition, default, cancellationToken).ConfigureAwait(false);
        await WithinAsync(released.Task, nameof(AssociationLimits.Release), limits.Release, cancellationToken).ConfigureAwait(false);
    }

    /// <summary>Aborts: for the caller who wants no more of it.</summary>
    /// <param name="reason">Why, as a part of a sentence: "the service stops".</param>
    public void Abort(string reason) =>
        Break(new AssociationAbortedException(
            $"The association with the {PeerName} was aborted here: {reason}.", false, AbortSource.User, AbortReason.NotSpecified));

    /// <summary>Closes; aborts first when it was neither released nor broken.</summary>
    public async ValueTask DisposeAsync()
    {
        lock (gate)
        {
            if (disposed)
            {
                return;
            }

            disposed = true;
        }

        Abort("it was closed without a release");
        await ending.ConfigureAwait(false);
        CloseTransport();
        await reading.ConfigureAwait(false);
        await artim.DisposeAsync().ConfigureAwait(false);
        await idle.DisposeAsync().ConfigureAwait(false);
        if (stream is not null)
        {
            await stream.DisposeAsync().ConfigureAwait(false);
        }

        socket.Dispose();
        closed.Dispose();
        writing.Dispose();
    }

    /// <summary>
    /// Ends the association for a reason, the first one counts: tells everybody who waits, aborts, and closes once the peer had the time of
    /// the ARTIM timer.
    /// </summary>
    /// <returns>The reason that counts.</returns>
    internal AssociationException Break(AssociationException reason)
    {
        AssociationException first = Fail(reason);
        UpperLayerTransition? transition = TryTake(UpperLayerEvent.AbortRequest);
        if (transition is not null)
        {
            ending = PerformAsync(transition, default, CancellationToken.None).AsTask();
        }
        else if (!established.Task.IsCompletedSuccessfully)
        {
            // The table knows no abort before the request has come (Sta2): the connection is simply closed.
            CloseTransport();
        }

        return first;
    }

    /// <summary>Waits under a named limit; when it runs out, or the caller has enough, the association is broken.</summary>
    internal async Task WithinAsync(Task task, string limit, TimeSpan length, CancellationToken cancellationToken)
    {
        try
        {
            await task.WaitAsync(length, clock, cancellationToken).ConfigureAwait(false);
        }
        catch (TimeoutException)
        {
            throw Break(TimedOut(limit, length));
        }
        catch (OperationCanceledException) when (cancellationToken.IsCancellationRequested)
        {
            Abort("the operation was cancelled");
            throw;
        }
    }

    /// <summary>The exception for a limit that ran out.</summary>
    internal PeerTimeoutException TimedOut(string limit, TimeSpan length) => new(Sentences.TimedOut(PeerName, limit, length), limit, length);

    /// <summary>The exception for something that the peer may not do.</summary>
    internal ProtocolException Violation(string what) => new(Sentences.Violated(PeerName, what));

    /// <summary>From here on something is owed to the peer, so that its silence is right.</summary>
    internal void BeginWork() => Interlocked.Increment(ref owed);

    /// <summary>The counterpart of <see cref="BeginWork"/>: the peer's time starts again.</summary>
    internal void EndWork()
    {
        if (Interlocked.Decrement(ref owed) == 0)
        {
            ArmIdle();
        }
    }

    private async Task EstablishAsync(AssociationOptions options, CancellationToken cancellationToken)
    {
        request = Negotiation.Propose(options);
        await PerformAsync(Take(UpperLayerEvent.AssociateRequest), default, cancellationToken).ConfigureAwait(false);
        await PerformAsync(Take(UpperLayerEvent.TransportConfirmed), default, cancellationToken).ConfigureAwait(false);
        reading = Task.Run(ReadAsync, CancellationToken.None);
        await WithinAsync(established.Task, nameof(AssociationLimits.Associate), limits.Associate, cancellationToken).ConfigureAwait(false);
    }

    [SuppressMessage("Reliability", "CA2000", Justification = "The stream is disposed with the association.")]
    private async Task ConnectAsync(AssociationOptions options, CancellationToken cancellationToken)
    {
        using CancellationTokenSource limit = new(limits.Connect, clock);
        using CancellationTokenSource either = CancellationTokenSource.CreateLinkedTokenSource(limit.Token, cancellationToken);
        try
        {
            await socket.ConnectAsync(options.Host, options.Port, either.Token).ConfigureAwait(false);
            stream = new NetworkStream(socket, ownsSocket: false);
        }
        catch (SocketException e)
        {
            throw Break(new ConnectionFailedException(Sentences.NotConnected(PeerName, e), e));
        }
        catch (OperationCanceledException) when (!cancellationToken.IsCancellationRequested)
        {
            throw Break(TimedOut(nameof(AssociationLimits.Connect), limits.Connect));
        }
    }
}
