using System.Buffers;
using System.IO.Pipelines;
using CameraBridge.Dicom.UpperLayer;

namespace CameraBridge.Dicom.Dimse;

/// <summary>
/// The data set of a request as a stream. It ends where the data set ends; when the association breaks before, reading throws the reason,
/// so that half an object is never taken for a whole one.
/// </summary>
internal sealed class IncomingDataSet : Stream
{
    private readonly PipeReader reader;
    private readonly Association association;
    private readonly CancellationTokenRegistration registration;
    private bool disposed;

    public IncomingDataSet(PipeReader reader, Association association)
    {
        this.reader = reader;
        this.association = association;
        registration = association.Closed.Register(reader.CancelPendingRead);
    }

    public override bool CanRead => true;

    public override bool CanSeek => false;

    public override bool CanWrite => false;

    public override long Length => throw new NotSupportedException("The length of an incoming data set is known at its end.");

    public override long Position
    {
        get => throw new NotSupportedException("An incoming data set is read forward only.");
        set => throw new NotSupportedException("An incoming data set is read forward only.");
    }

    public override async ValueTask<int> ReadAsync(Memory<byte> buffer, CancellationToken cancellationToken = default)
    {
        if (buffer.IsEmpty)
        {
            return 0;
        }

        while (true)
        {
            ReadResult result = await reader.ReadAsync(cancellationToken).ConfigureAwait(false);
            if (result.Buffer.IsEmpty && result.IsCompleted)
            {
                reader.AdvanceTo(result.Buffer.End);
                return 0;
            }

            if (result.IsCanceled && association.Failure is { } failure)
            {
                reader.AdvanceTo(result.Buffer.Start);
                throw failure;
            }

            int count = (int)Math.Min(buffer.Length, result.Buffer.Length);
            ReadOnlySequence<byte> taken = result.Buffer.Slice(0, count);
            taken.CopyTo(buffer.Span);
            reader.AdvanceTo(taken.End);
            if (count > 0)
            {
                return count;
            }
        }
    }

    public override Task<int> ReadAsync(byte[] buffer, int offset, int count, CancellationToken cancellationToken) =>
        ReadAsync(buffer.AsMemory(offset, count), cancellationToken).AsTask();

    public override int Read(byte[] buffer, int offset, int count) =>
        ReadAsync(buffer.AsMemory(offset, count)).AsTask().GetAwaiter().GetResult();

    public override void Flush()
    {
    }

    public override long Seek(long offset, SeekOrigin origin) => throw new NotSupportedException("An incoming data set is read forward only.");

    public override void SetLength(long value) => throw new NotSupportedException("An incoming data set is only read.");

    public override void Write(byte[] buffer, int offset, int count) => throw new NotSupportedException("An incoming data set is only read.");

    protected override void Dispose(bool disposing)
    {
        if (disposing && !disposed)
        {
            disposed = true;
            registration.Dispose();
            reader.Complete();
        }

        base.Dispose(disposing);
    }
}
