namespace CameraBridge.Dicom.Data;

/// <summary>Reads the pieces of a <see cref="PixelSource"/> one after the other. Forward only; a file that ends early is an error, not a short read.</summary>
internal sealed class PixelSourceStream(IReadOnlyList<PixelSource.Piece> pieces, long length) : Stream
{
    private FileStream? file;
    private int current;
    private long doneOfCurrent;
    private long position;

    public override bool CanRead => true;

    public override bool CanSeek => false;

    public override bool CanWrite => false;

    public override long Length => length;

    public override long Position
    {
        get => position;
        set => throw new NotSupportedException("A pixel source is read forward only.");
    }

    public override int Read(Span<byte> buffer)
    {
        if (buffer.IsEmpty || !MoveToPiece(out PixelSource.Piece piece))
        {
            return 0;
        }

        int wanted = (int)Math.Min(buffer.Length, piece.Length - doneOfCurrent);
        if (piece.Path is null)
        {
            piece.Bytes.Span.Slice((int)doneOfCurrent, wanted).CopyTo(buffer);
            return Advance(piece, wanted);
        }

        return Advance(piece, OpenFile(piece).Read(buffer[..wanted]));
    }

    public override int Read(byte[] buffer, int offset, int count) => Read(buffer.AsSpan(offset, count));

    public override async ValueTask<int> ReadAsync(Memory<byte> buffer, CancellationToken cancellationToken = default)
    {
        if (buffer.IsEmpty || !MoveToPiece(out PixelSource.Piece piece))
        {
            return 0;
        }

        int wanted = (int)Math.Min(buffer.Length, piece.Length - doneOfCurrent);
        if (piece.Path is null)
        {
            piece.Bytes.Slice((int)doneOfCurrent, wanted).CopyTo(buffer);
            return Advance(piece, wanted);
        }

        return Advance(piece, await OpenFile(piece).ReadAsync(buffer[..wanted], cancellationToken).ConfigureAwait(false));
    }

    public override Task<int> ReadAsync(byte[] buffer, int offset, int count, CancellationToken cancellationToken) =>
        ReadAsync(buffer.AsMemory(offset, count), cancellationToken).AsTask();

    public override void Flush()
    {
    }

    public override long Seek(long offset, SeekOrigin origin) => throw new NotSupportedException("A pixel source is read forward only.");

    public override void SetLength(long value) => throw new NotSupportedException("A pixel source is only read.");

    public override void Write(byte[] buffer, int offset, int count) => throw new NotSupportedException("A pixel source is only read.");

    protected override void Dispose(bool disposing)
    {
        if (disposing)
        {
            file?.Dispose();
            file = null;
        }

        base.Dispose(disposing);
    }

    private bool MoveToPiece(out PixelSource.Piece piece)
    {
        while (current < pieces.Count && doneOfCurrent == pieces[current].Length)
        {
            current++;
            doneOfCurrent = 0;
            file?.Dispose();
            file = null;
        }

        piece = current < pieces.Count ? pieces[current] : null!;
        return current < pieces.Count;
    }

    private FileStream OpenFile(PixelSource.Piece piece)
    {
        if (file is null)
        {
            // No buffer of its own: the caller's buffer is large, and a copy less is time less.
            file = new FileStream(piece.Path!, FileMode.Open, FileAccess.Read, FileShare.Read, bufferSize: 0);
            file.Position = piece.Offset;
        }

        return file;
    }

    private int Advance(PixelSource.Piece piece, int read)
    {
        if (read == 0)
        {
            throw new EndOfStreamException(
                $"The file behind a pixel source ends {piece.Length - doneOfCurrent} bytes before the range it was recorded with.");
        }

        doneOfCurrent += read;
        position += read;
        return read;
    }
}
