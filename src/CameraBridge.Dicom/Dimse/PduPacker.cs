using System.Buffers;
using CameraBridge.Dicom.UpperLayer;

namespace CameraBridge.Dicom.Dimse;

/// <summary>
/// Cuts a message into P-DATA-TF PDUs of one value each, no longer than the peer wants, and writes many of them at once: a small object with
/// its command is a single write, a large one a row of big writes. Two small writes in a row would let a receiver that delays its
/// acknowledgements stall every object by 40 ms or more.
/// </summary>
internal sealed class PduPacker : IDisposable
{
    private const int BufferLength = 256 * 1024;
    private const int HeadLength = PduCodec.HeadLength + PduCodec.ValueHeadLength;

    // A fragment shorter than this at the end of the buffer is not worth a PDU of its own.
    private const int Worthwhile = 4 * 1024;

    private readonly Association association;
    private readonly byte contextId;
    private readonly int longestFragment;
    private readonly byte[] buffer = ArrayPool<byte>.Shared.Rent(BufferLength);
    private int used;

    public PduPacker(Association association, byte contextId)
    {
        this.association = association;
        this.contextId = contextId;
        // Fragments are of even length (PS3.8 annex E.1), whatever the peer's limit.
        longestFragment = (association.MaximumSendLength - PduCodec.ValueHeadLength) & ~1;
    }

    /// <summary>True when something of the message is out.</summary>
    public bool HasWritten { get; private set; }

    /// <summary>Adds the command set.</summary>
    public async ValueTask AddCommandAsync(byte[] command, CancellationToken cancellationToken)
    {
        int done = 0;
        do
        {
            int size = await RoomAsync(command.Length - done, cancellationToken).ConfigureAwait(false);
            command.AsSpan(done, size).CopyTo(buffer.AsSpan(used + HeadLength));
            done += size;
            Close(size, isCommand: true, isLast: done == command.Length);
        }
        while (done < command.Length);
    }

    /// <summary>Adds the data set.</summary>
    /// <exception cref="IOException">The source ended early or cannot be read.</exception>
    public async ValueTask AddDataSetAsync(Stream source, long length, Func<int, CancellationToken, ValueTask>? pace, CancellationToken cancellationToken)
    {
        long left = length;
        do
        {
            int size = await RoomAsync(left, cancellationToken).ConfigureAwait(false);
            if (pace is not null)
            {
                await pace(size, cancellationToken).ConfigureAwait(false);
            }

            // Not asynchronous on purpose: the file system has no other way than to block a thread, and handing the read to another one
            // costs more than it takes.
            source.ReadExactly(buffer.AsSpan(used + HeadLength, size));
            left -= size;
            Close(size, isCommand: false, isLast: left == 0);
        }
        while (left > 0);
    }

    /// <summary>Writes what is packed.</summary>
    public async ValueTask FlushAsync(CancellationToken cancellationToken)
    {
        int count = used;
        used = 0;
        HasWritten = true;
        await association.SendDataAsync(buffer.AsMemory(0, count), cancellationToken).ConfigureAwait(false);
    }

    public void Dispose()
    {
        // After a failure a write may still hold the buffer; then it is left to the collector.
        if (association.Failure is null)
        {
            ArrayPool<byte>.Shared.Return(buffer);
        }
    }

    /// <summary>Makes room for the next fragment.</summary>
    /// <returns>Its length.</returns>
    private async ValueTask<int> RoomAsync(long left, CancellationToken cancellationToken)
    {
        int wanted = (int)Math.Min(left, longestFragment);
        int room = (buffer.Length - used - HeadLength) & ~1;
        if (room < Math.Min(wanted, Worthwhile))
        {
            await FlushAsync(cancellationToken).ConfigureAwait(false);
            room = (buffer.Length - HeadLength) & ~1;
        }

        return Math.Min(wanted, room);
    }

    private void Close(int size, bool isCommand, bool isLast)
    {
        PduCodec.WriteDataHead(buffer.AsSpan(used), contextId, isCommand, isLast, size);
        used += HeadLength + size;
    }
}
