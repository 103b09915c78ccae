using System.Net.Sockets;

namespace CameraBridge.Dicom.UpperLayer;

/// <content>Events in, steps out.</content>
public sealed partial class Association
{
    /// <summary>What an event brings along.</summary>
    private readonly struct Occurrence
    {
        /// <summary>The PDU that was received.</summary>
        public Pdu? Received { get; init; }

        /// <summary>Encoded PDUs to be sent.</summary>
        public ReadOnlyMemory<byte> Outgoing { get; init; }

        /// <summary>Why the association ends, where the event means that.</summary>
        public AssociationException? Cause { get; init; }

        /// <summary>The state in which the event happened.</summary>
        public UpperLayerState Before { get; init; }
    }

    /// <summary>An event of the local user; null when the association is ending, though the reason may not be recorded yet.</summary>
    private UpperLayerTransition? TakeOrNull(UpperLayerEvent @event)
    {
        lock (gate)
        {
            return failure is not null ? throw failure : TryTake(@event);
        }
    }

    /// <summary>
    /// The peer's abort or release changes the state first and is recorded as the reason a moment later: that moment is waited for.
    /// </summary>
    private async Task<AssociationException> WhyItEndsAsync()
    {
        await Task.Delay(limits.Release, clock, closedToken).ConfigureAwait(ConfigureAwaitOptions.SuppressThrowing);
        return Failure ?? new AssociationReleasedException($"The association with the {PeerName} is being released: nothing can be sent any more.");
    }

    /// <summary>An event of the local user while nobody else can know of the association.</summary>
    private UpperLayerTransition Take(UpperLayerEvent @event)
    {
        lock (gate)
        {
            if (failure is not null)
            {
                throw failure;
            }

            UpperLayerTransition transition = UpperLayerMachine.Next(state, @event);
            state = transition.Next;
            return transition;
        }
    }

    /// <summary>An event that may come too late to matter: from the peer, a timer, or whoever breaks.</summary>
    private UpperLayerTransition? TryTake(UpperLayerEvent @event, bool otherwise = false)
    {
        lock (gate)
        {
            if (!UpperLayerMachine.CanHappen(state, @event))
            {
                return null;
            }

            UpperLayerTransition transition = UpperLayerMachine.Next(state, @event, otherwise);
            state = transition.Next;
            return transition;
        }
    }

    private async ValueTask HappenAsync(UpperLayerEvent @event, Occurrence occurrence, bool otherwise = false)
    {
        UpperLayerState before;
        lock (gate)
        {
            before = state;
        }

        if (TryTake(@event, otherwise) is { } transition)
        {
            await PerformAsync(transition, occurrence, CancellationToken.None, before).ConfigureAwait(false);
        }
    }

    private async ValueTask PerformAsync(
        UpperLayerTransition transition, Occurrence occurrence, CancellationToken cancellationToken, UpperLayerState before = default)
    {
        for (int i = 0; i < transition.Steps.Count; i++)
        {
            switch (transition.Steps[i])
            {
                case UpperLayerStep.Connect:
                    await ConnectAsync(requestor!, cancellationToken).ConfigureAwait(false);
                    break;
                case UpperLayerStep.Close:
                    CloseTransport();
                    break;
                case UpperLayerStep.SendData:
                    await WriteAsync(occurrence.Outgoing, fromReading: false, cancellationToken).ConfigureAwait(false);
                    break;
                case UpperLayerStep.SendAssociateRequest:
                    await WriteAsync(PduCodec.Encode(request!), fromReading: true, cancellationToken).ConfigureAwait(false);
                    break;
                case UpperLayerStep.SendAccept:
                    await WriteAsync(PduCodec.Encode(accept!), fromReading: true, cancellationToken).ConfigureAwait(false);
                    established.TrySetResult();
                    break;
                case UpperLayerStep.SendReject:
                    await RefuseAsync(occurrence).ConfigureAwait(false);
                    break;
                case UpperLayerStep.SendReleaseRequest:
                    await WriteAsync(PduCodec.Encode(new ReleaseRequestPdu()), fromReading: true, cancellationToken).ConfigureAwait(false);
                    break;
                case UpperLayerStep.SendReleaseReply:
                    await WriteAsync(PduCodec.Encode(new ReleaseReplyPdu()), fromReading: true, cancellationToken).ConfigureAwait(false);
                    break;
                case UpperLayerStep.SendUserAbort:
                    await SendAbortAsync(new AbortPdu(AbortSource.User, AbortReason.NotSpecified)).ConfigureAwait(false);
                    break;
                case UpperLayerStep.SendProviderAbort:
                    AbortReason reason = occurrence.Cause?.InnerException is MalformedPduException malformed
                        ? malformed.Reason
                        : AbortReason.UnexpectedPdu;
                    await SendAbortAsync(new AbortPdu(AbortSource.Provider, reason)).ConfigureAwait(false);
                    break;
                case UpperLayerStep.IndicateAssociate:
                    await AnswerAsync().ConfigureAwait(false);
                    break;
                case UpperLayerStep.ConfirmAccept:
                    Conclude((AssociateAcceptPdu)occurrence.Received!);
                    break;
                case UpperLayerStep.ConfirmReject:
                    AssociateRejectPdu reject = (AssociateRejectPdu)occurrence.Received!;
                    Fail(new AssociationRejectedException(Sentences.Rejected(PeerName, CalledAETitle, CallingAETitle, reject), reject));
                    break;
                case UpperLayerStep.IndicateData:
                    await DeliverAsync((DataPdu)occurrence.Received!).ConfigureAwait(false);
                    break;
                case UpperLayerStep.IndicateRelease:
                    await AgreeToReleaseAsync(transition.Next).ConfigureAwait(false);
                    break;
                case UpperLayerStep.ConfirmRelease:
                    // In a collision the acceptor has an answer to give (Sta12); it goes out before anybody is told, since who is told may close.
                    await HappenAsync(UpperLayerEvent.ReleaseResponse, default).ConfigureAwait(false);
                    ConfirmRelease();
                    break;
                case UpperLayerStep.IndicateAbort:
                    AbortPdu abort = (AbortPdu)occurrence.Received!;
                    Fail(new AssociationAbortedException(
                        Sentences.AbortedByPeer(PeerName, abort, before), true, abort.Source, abort.Reason));
                    break;
                case UpperLayerStep.IndicateProviderAbort:
                    Fail(occurrence.Cause ?? Unexpected(occurrence.Received!, before));
                    break;
                case UpperLayerStep.StartArtim:
                    artim.Change(limits.Artim, Timeout.InfiniteTimeSpan);
                    break;
                case UpperLayerStep.StopArtim:
                    artim.Change(Timeout.InfiniteTimeSpan, Timeout.InfiniteTimeSpan);
                    break;
                default:
                    throw new InvalidOperationException($"{transition.Steps[i]} is no step of the upper layer.");
            }
        }
    }

    private ProtocolException Unexpected(Pdu pdu, UpperLayerState before) =>
        Violation($"{PduCodec.Name(pdu.Type)}, which has no place in state {before} of the protocol");

    private AssociationException Fail(AssociationException reason)
    {
        lock (gate)
        {
            if (failure is not null)
            {
                return failure;
            }

            failure = reason;
        }

        established.TrySetException(reason);
        released.TrySetException(reason);
        // Those who wait for one of the two have their exception; nobody may be waiting for the other.
        _ = established.Task.Exception;
        _ = released.Task.Exception;
        closed.Cancel();
        return reason;
    }

    private void Conclude(AssociateAcceptPdu received)
    {
        accept = received;
        agreement = Negotiation.Conclude(request!, received);
        if (agreement.PeerLimit is > 0 and < PduCodec.ValueHeadLength + 2)
        {
            Break(Violation("a maximum PDU length that no data fits into"));
            return;
        }

        established.TrySetResult();
    }

    private async ValueTask AnswerAsync()
    {
        AssociateRejectPdu? rejection = Negotiation.Judge(request!, acceptor!, isFull!());
        if (rejection is not null)
        {
            await HappenAsync(UpperLayerEvent.AssociateReject, new Occurrence { Received = rejection }).ConfigureAwait(false);
            return;
        }

        (accept, agreement) = Negotiation.Answer(request!, acceptor!);
        if (agreement.PeerLimit is > 0 and < PduCodec.ValueHeadLength + 2)
        {
            Break(Violation("a maximum PDU length that no data fits into"));
            return;
        }

        await HappenAsync(UpperLayerEvent.AssociateAccept, default).ConfigureAwait(false);
    }

    private async ValueTask RefuseAsync(Occurrence occurrence)
    {
        // Without a rejection of the application it is the protocol layer's: the version (AE-6).
        AssociateRejectPdu rejection = occurrence.Received as AssociateRejectPdu
            ?? new AssociateRejectPdu(RejectResult.Permanent, RejectSource.ProviderAcse, 2);
        await WriteAsync(PduCodec.Encode(rejection), fromReading: true, CancellationToken.None).ConfigureAwait(false);
        Fail(new AssociationRejectedException(
            $"The {PeerName} was rejected here: {Sentences.OwnRejection(rejection, CalledAETitle, CallingAETitle)}.", rejection));
    }

    private async ValueTask AgreeToReleaseAsync(UpperLayerState now)
    {
        if (now == UpperLayerState.Sta8)
        {
            await HappenAsync(UpperLayerEvent.ReleaseResponse, default).ConfigureAwait(false);
            Fail(new AssociationReleasedException($"The {PeerName} released the association; what it had not answered is not known to be kept."));
        }
        else if (now == UpperLayerState.Sta9)
        {
            await HappenAsync(UpperLayerEvent.ReleaseResponse, default).ConfigureAwait(false);
        }
    }

    private void ConfirmRelease()
    {
        released.TrySetResult();
        Fail(new AssociationReleasedException($"The association with the {PeerName} was released."));
    }

    private async ValueTask DeliverAsync(DataPdu data)
    {
        PresentationDataReceiver taker = receiver.Task.IsCompletedSuccessfully
            ? receiver.Task.Result
            : await receiver.Task.WaitAsync(closedToken).ConfigureAwait(false);
        for (int i = 0; i < data.Values.Count; i++)
        {
            await taker(data.Values[i], closedToken).ConfigureAwait(false);
        }
    }

    private void OnArtim()
    {
        if (TryTake(UpperLayerEvent.ArtimExpired) is not null)
        {
            Fail(TimedOut(nameof(AssociationLimits.Artim), limits.Artim));
            CloseTransport();
        }
    }

    private void OnIdle()
    {
        if (Volatile.Read(ref owed) == 0)
        {
            Break(TimedOut(nameof(AssociationLimits.Idle), limits.Idle));
        }
    }

    private void ArmIdle()
    {
        if (acceptor is not null && !closed.IsCancellationRequested)
        {
            idle.Change(limits.Idle, Timeout.InfiniteTimeSpan);
        }
    }

    private void DisarmIdle() => idle.Change(Timeout.InfiniteTimeSpan, Timeout.InfiniteTimeSpan);

    private void CloseTransport()
    {
        try
        {
            socket.Shutdown(SocketShutdown.Both);
        }
        catch (Exception e) when (e is SocketException or ObjectDisposedException)
        {
            // It is closed already, which is what was wanted.
        }

        socket.Close();
    }
}
