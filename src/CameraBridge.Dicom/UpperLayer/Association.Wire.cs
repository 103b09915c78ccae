using System.Buffers;
using System.IO.Pipelines;
using System.Net.Sockets;

namespace CameraBridge.Dicom.UpperLayer;

/// <content>The read loop and the writes.</content>
public sealed partial class Association
{
    private const int ReadBuffer = 64 * 1024;

    // Below this a read is the piece of an answer, above it part of a stream that needs no help.
    private const int SmallRead = 1024;

    private static bool IsTransportFailure(Exception e) => e is IOException or SocketException or ObjectDisposedException;

    private async Task ReadAsync()
    {
        PipeReader reader = PipeReader.Create(stream!, new StreamPipeReaderOptions(bufferSize: ReadBuffer, minimumReadSize: 4096, leaveOpen: true));
        Exception? cause = null;
        bool withinPdu = false;
        try
        {
            withinPdu = await ReadPdusAsync(reader).ConfigureAwait(false);
        }
        catch (MalformedPduException e)
        {
            // Where the next PDU begins is not known any more: whatever follows is thrown away until the peer or the ARTIM timer closes.
            await HappenAsync(UpperLayerEvent.InvalidPduReceived, new Occurrence
            {
                Cause = new ProtocolException(Sentences.Violated(PeerName, e.Message), e),
            }).ConfigureAwait(false);
            cause = await DrainAsync(reader).ConfigureAwait(false);
        }
        catch (Exception e) when (IsTransportFailure(e))
        {
            cause = e;
        }
        catch (Exception e) when (e is AssociationException or OperationCanceledException)
        {
            // The association was broken while a PDU of it was at work; the reason is recorded.
            cause = await DrainAsync(reader).ConfigureAwait(false);
        }

        UpperLayerState before;
        lock (gate)
        {
            before = state;
        }

        await HappenAsync(UpperLayerEvent.TransportClosed, new Occurrence
        {
            Cause = new ConnectionFailedException(Sentences.Closed(PeerName, before, cause, withinPdu), cause),
        }).ConfigureAwait(false);
        Fail(new ConnectionFailedException(Sentences.Closed(PeerName, before, cause, withinPdu), cause));
        CloseTransport();
        artim.Change(Timeout.InfiniteTimeSpan, Timeout.InfiniteTimeSpan);
        DisarmIdle();
        await reader.CompleteAsync().ConfigureAwait(false);
    }

    /// <returns>True when the connection ended within a PDU.</returns>
    private async Task<bool> ReadPdusAsync(PipeReader reader)
    {
        ArmIdle();
        while (true)
        {
            ReadResult result = await reader.ReadAsync(CancellationToken.None).ConfigureAwait(false);
            ReadOnlySequence<byte> buffer = result.Buffer;
            while (PduCodec.TryReadHead(buffer, out PduType type, out uint length))
            {
                PduCodec.CheckHead(type, length, maximumReceiveLength);
                if (buffer.Length - PduCodec.HeadLength < length)
                {
                    break;
                }

                // While we are at work with what it sent, the peer's silence is not its fault.
                DisarmIdle();
                await ReceiveAsync(PduCodec.Decode(type, buffer.Slice(PduCodec.HeadLength, length))).ConfigureAwait(false);
                buffer = buffer.Slice(PduCodec.HeadLength + length);
                ArmIdle();
            }

            bool withinPdu = !buffer.IsEmpty;
            bool small = result.Buffer.Length < SmallRead;
            reader.AdvanceTo(buffer.Start, buffer.End);
            if (result.IsCompleted)
            {
                return withinPdu;
            }

            if (small && (withinPdu || ExpectsMore))
            {
                QuickAcknowledge();
            }
        }
    }

    private async ValueTask ReceiveAsync(Pdu pdu)
    {
        (UpperLayerEvent @event, bool otherwise) = pdu switch
        {
            DataPdu => (UpperLayerEvent.DataReceived, false),
            // Bit 0 is version 1; other bits are not to be looked at (PS3.8 section 9.3.2).
            AssociateRequestPdu asked => (UpperLayerEvent.AssociateRequestReceived, (asked.ProtocolVersion & 1) == 0),
            AssociateAcceptPdu => (UpperLayerEvent.AcceptReceived, false),
            AssociateRejectPdu => (UpperLayerEvent.RejectReceived, false),
            ReleaseRequestPdu => (UpperLayerEvent.ReleaseRequestReceived, !IsRequestor),
            ReleaseReplyPdu => (UpperLayerEvent.ReleaseReplyReceived, false),
            _ => (UpperLayerEvent.AbortReceived, false),
        };
        if (pdu is AssociateRequestPdu first && request is null)
        {
            request = first;
            PeerName = $"peer {first.CallingAETitle} at {socket.RemoteEndPoint}";
        }

        await HappenAsync(@event, new Occurrence { Received = pdu }, otherwise).ConfigureAwait(false);
    }

    private static async Task<Exception?> DrainAsync(PipeReader reader)
    {
        try
        {
            while (true)
            {
                ReadResult result = await reader.ReadAsync(CancellationToken.None).ConfigureAwait(false);
                reader.AdvanceTo(result.Buffer.End);
                if (result.IsCompleted)
                {
                    return null;
                }
            }
        }
        catch (Exception e) when (IsTransportFailure(e))
        {
            return e;
        }
    }

    /// <summary>Writes whole PDUs under the Write limit.</summary>
    /// <param name="pdus">The PDUs.</param>
    /// <param name="fromReading">True where the read loop itself may be writing: then nobody waits for the read loop.</param>
    /// <param name="cancellationToken">Breaks the association: half a PDU cannot be taken back.</param>
    private async ValueTask WriteAsync(ReadOnlyMemory<byte> pdus, bool fromReading, CancellationToken cancellationToken)
    {
        try
        {
            await writing.WaitAsync(closedToken).ConfigureAwait(false);
        }
        catch (Exception e) when (e is OperationCanceledException or ObjectDisposedException)
        {
            throw Failure ?? Break(new ConnectionFailedException(Sentences.Closed(PeerName, UpperLayerState.Sta6, null, false), e));
        }

        bool written = false;
        try
        {
            ValueTask write = stream!.WriteAsync(pdus, CancellationToken.None);
            if (write.IsCompletedSuccessfully)
            {
                await write.ConfigureAwait(false);
            }
            else
            {
                await WithinAsync(write.AsTask(), nameof(AssociationLimits.Write), limits.Write, cancellationToken).ConfigureAwait(false);
            }

            written = true;
        }
        catch (Exception e) when (IsTransportFailure(e))
        {
            if (!fromReading)
            {
                await LetReadingSayWhyAsync().ConfigureAwait(false);
            }

            throw Break(new ConnectionFailedException(Sentences.Closed(PeerName, UpperLayerState.Sta6, e, false), e));
        }
        finally
        {
            // A write that did not end keeps the turn: nothing may follow half a PDU, not even an abort.
            if (written)
            {
                writing.Release();
            }
        }
    }

    // What the peer said before it closed (an abort, an answer) is a better reason than a broken pipe, and it is still in the socket.
    private async Task LetReadingSayWhyAsync()
    {
        try
        {
            await reading.WaitAsync(limits.Release, clock).ConfigureAwait(false);
        }
        catch (TimeoutException)
        {
            // It said nothing; the broken pipe is all there is.
        }
    }

    private async Task SendAbortAsync(AbortPdu abort)
    {
        try
        {
            if (stream is null || !writing.Wait(0, CancellationToken.None))
            {
                CloseTransport();
                return;
            }

            try
            {
                await stream.WriteAsync(PduCodec.Encode(abort), CancellationToken.None).AsTask()
                    .WaitAsync(limits.Release, clock).ConfigureAwait(false);
                socket.Shutdown(SocketShutdown.Send);
            }
            finally
            {
                writing.Release();
            }
        }
        catch (Exception e) when (IsTransportFailure(e) || e is TimeoutException)
        {
            CloseTransport();
        }
    }

    /// <summary>
    /// Part of an answer arrived. A peer with Nagle's algorithm holds the rest back until this is acknowledged, and our system
    /// would delay that by 40 ms because it hopes for data to send along: so acknowledge now. Linux forgets the option, hence each time.
    /// </summary>
    private void QuickAcknowledge()
    {
        if (!OperatingSystem.IsLinux())
        {
            return;
        }

        const int Tcp = 6;
        const int TcpQuickAck = 12;
        try
        {
            socket.SetRawSocketOption(Tcp, TcpQuickAck, BitConverter.GetBytes(1));
        }
        catch (Exception e) when (IsTransportFailure(e))
        {
            // The next read says what is the matter.
        }
    }
}
