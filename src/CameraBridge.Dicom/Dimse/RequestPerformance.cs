using System.Buffers;
using System.IO.Pipelines;
using CameraBridge.Dicom.UpperLayer;

namespace CameraBridge.Dicom.Dimse;

/// <summary>One request of the peer while it is performed: its data set flows through a pipe that holds a megabyte at most.</summary>
internal sealed class RequestPerformance
{
    private const int PauseAt = 1024 * 1024;

    private static readonly PipeOptions Flow = new(
        pauseWriterThreshold: PauseAt, resumeWriterThreshold: PauseAt / 2, minimumSegmentSize: 64 * 1024, useSynchronizationContext: false);

    private readonly DimseChannel channel;
    private readonly CommandSet command;
    private readonly AcceptedContext context;
    private readonly Pipe? pipe;
    private readonly CancellationTokenSource cancelled;
    private readonly Lock gate = new();
    private bool receivedInFull;
    private bool done;

    public RequestPerformance(DimseChannel channel, AcceptedContext context, CommandSet command)
    {
        this.channel = channel;
        this.context = context;
        this.command = command;
        pipe = command.HasDataSet ? new Pipe(Flow) : null;
        cancelled = CancellationTokenSource.CreateLinkedTokenSource(channel.Association.Closed);
    }

    /// <summary>Performs; the task ends when the answer is out and never faults because of the peer.</summary>
    public Task RunAsync(RequestPerformer performer) => Task.Run(() => PerformAsync(performer), CancellationToken.None);

    /// <summary>C-CANCEL for a message ID; one for another message comes too late and is let go.</summary>
    public void Cancel(ushort? messageId)
    {
        lock (gate)
        {
            if (!done && messageId == command.MessageID)
            {
                cancelled.Cancel();
            }
        }
    }

    /// <summary>A fragment of the data set; waits while the pipe is full.</summary>
    public async ValueTask AppendAsync(ReadOnlySequence<byte> fragment, CancellationToken cancellationToken)
    {
        foreach (ReadOnlyMemory<byte> segment in fragment)
        {
            FlushResult result = await pipe!.Writer.WriteAsync(segment, cancellationToken).ConfigureAwait(false);
            if (result.IsCompleted)
            {
                // The answer is given already: the rest is taken off the wire and forgotten.
                return;
            }
        }
    }

    /// <summary>The data set is complete.</summary>
    public async ValueTask EndDataSetAsync()
    {
        await pipe!.Writer.CompleteAsync().ConfigureAwait(false);
        ReceivedInFull();
    }

    /// <summary>The request is complete: from here on it is we who owe.</summary>
    public void ReceivedInFull()
    {
        lock (gate)
        {
            receivedInFull = true;
            if (!done)
            {
                channel.Association.BeginWork();
            }
        }
    }

    private async Task PerformAsync(RequestPerformer performer)
    {
        Stream dataSet = pipe is null ? Stream.Null : new IncomingDataSet(pipe.Reader, channel.Association);
        try
        {
            await performer(channel, new IncomingRequest(context, command, dataSet, cancelled.Token)).ConfigureAwait(false);
        }
        catch (Exception e) when (e is AssociationException or OperationCanceledException)
        {
            // The association ended; nobody is left to answer.
        }
        finally
        {
            await dataSet.DisposeAsync().ConfigureAwait(false);
            lock (gate)
            {
                done = true;
                if (receivedInFull)
                {
                    channel.Association.EndWork();
                }
            }

            cancelled.Dispose();
        }
    }
}
