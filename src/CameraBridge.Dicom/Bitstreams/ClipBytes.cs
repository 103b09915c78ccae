using System.Buffers.Binary;
using CameraBridge.Dicom.Data;
using Microsoft.Win32.SafeHandles;

namespace CameraBridge.Dicom.Bitstreams;

/// <summary>Bytes of a clip at any place of it, through one window of fixed size; pieces of several files count as one row.</summary>
internal sealed class ClipBytes : IDisposable
{
    private const int WindowLength = 64 * 1024;

    private readonly PixelSource _source;
    private readonly CancellationToken _cancellationToken;
    private readonly byte[] _window = new byte[WindowLength];
    private long _windowAt;
    private int _windowCount;
    private string? _openPath;
    private SafeFileHandle? _open;

    public ClipBytes(PixelSource source, CancellationToken cancellationToken)
    {
        _source = source;
        _cancellationToken = cancellationToken;
    }

    public long Length => _source.Length;

    /// <summary>Reads what there is from a place on.</summary>
    /// <returns>Bytes read; fewer than asked for at the end, 0 beyond it.</returns>
    public int ReadAt(long offset, Span<byte> target)
    {
        int done = 0;
        while (done < target.Length)
        {
            ReadOnlySpan<byte> some = Peek(offset + done);
            if (some.IsEmpty)
            {
                break;
            }

            int count = Math.Min(some.Length, target.Length - done);
            some[..count].CopyTo(target[done..]);
            done += count;
        }

        return done;
    }

    /// <summary>Some bytes from a place on, as many as the window has; empty at the end. Valid until the next call.</summary>
    public ReadOnlySpan<byte> Peek(long offset)
    {
        if (offset < 0 || offset >= Length)
        {
            return default;
        }

        if (offset < _windowAt || offset >= _windowAt + _windowCount)
        {
            Fill(offset);
        }

        return _window.AsSpan((int)(offset - _windowAt), _windowCount - (int)(offset - _windowAt));
    }

    public uint? UInt32At(long offset)
    {
        Span<byte> bytes = stackalloc byte[4];
        return ReadAt(offset, bytes) == 4 ? BinaryPrimitives.ReadUInt32BigEndian(bytes) : null;
    }

    public ulong? UInt64At(long offset)
    {
        Span<byte> bytes = stackalloc byte[8];
        return ReadAt(offset, bytes) == 8 ? BinaryPrimitives.ReadUInt64BigEndian(bytes) : null;
    }

    public void Dispose() => _open?.Dispose();

    private void Fill(long offset)
    {
        _cancellationToken.ThrowIfCancellationRequested();
        _windowAt = offset;
        _windowCount = 0;
        long pieceAt = 0;
        foreach (PixelSource.Piece piece in _source.Pieces)
        {
            long within = offset + _windowCount - pieceAt;
            if (within < piece.Length)
            {
                int wanted = (int)Math.Min(WindowLength - _windowCount, piece.Length - within);
                Span<byte> target = _window.AsSpan(_windowCount, wanted);
                if (piece.Path is null)
                {
                    piece.Bytes.Span.Slice((int)within, wanted).CopyTo(target);
                }
                else
                {
                    ReadFile(piece, within, target);
                }

                _windowCount += wanted;
                if (_windowCount == WindowLength)
                {
                    return;
                }
            }

            pieceAt += piece.Length;
        }
    }

    private void ReadFile(PixelSource.Piece piece, long within, Span<byte> target)
    {
        if (_openPath != piece.Path)
        {
            _open?.Dispose();
            _open = File.OpenHandle(piece.Path!, FileMode.Open, FileAccess.Read, FileShare.Read);
            _openPath = piece.Path;
        }

        int done = 0;
        while (done < target.Length)
        {
            int read = RandomAccess.Read(_open!, target[done..], piece.Offset + within + done);
            if (read == 0)
            {
                throw new EndOfStreamException($"{piece.Path} is shorter than it was.");
            }

            done += read;
        }
    }
}
