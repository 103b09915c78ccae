using CameraBridge.Dicom.Data;
using Microsoft.Win32.SafeHandles;

namespace CameraBridge.Dicom.Part10;

/// <summary>Where the parser's bytes come from. Callers ask only for ranges inside <see cref="Length"/>.</summary>
internal abstract class ByteSource
{
    /// <summary>Bytes in all.</summary>
    public abstract long Length { get; }

    /// <summary>The bytes of a range, to keep. Costs memory in a file: ask only after the limits.</summary>
    public abstract ReadOnlyMemory<byte> Take(long position, int count);

    /// <summary>A few bytes to look at now; the next call may overwrite them.</summary>
    public virtual ReadOnlySpan<byte> Peek(long position, int count) => Take(position, count).Span;

    /// <summary>The range as a source of pixels; costs no memory.</summary>
    public abstract PixelSource Range(long position, long count);
}

/// <summary>Bytes in memory; values are slices of them, not copies.</summary>
internal sealed class MemoryByteSource(ReadOnlyMemory<byte> bytes) : ByteSource
{
    public override long Length => bytes.Length;

    public override ReadOnlyMemory<byte> Take(long position, int count) => bytes.Slice((int)position, count);

    public override PixelSource Range(long position, long count) => PixelSource.FromBytes(bytes.Slice((int)position, (int)count));
}

/// <summary>
/// A file, read in windows that grow from 8 to 64 KiB. A window is never reused: the values in it are slices of it, so that eighty small
/// values cost one array. Pixels are skipped, not read, and a look at the header of the next fragment reads no more than that.
/// </summary>
internal sealed class FileByteSource(SafeFileHandle file, string path, long length) : ByteSource
{
    private const int FirstWindow = 8 * 1024, LargestWindow = 64 * 1024;

    private byte[] window = [];
    private byte[] glance = [];
    private long windowStart;
    private int nextWindow = FirstWindow;

    public override long Length => length;

    public override ReadOnlyMemory<byte> Take(long position, int count)
    {
        if (position < windowStart || position + count > windowStart + window.Length)
        {
            if (count > LargestWindow / 4)
            {
                // Too large to sit in a window with others.
                byte[] own = new byte[count];
                Fill(own, position);
                return own;
            }

            window = new byte[(int)Math.Min(Math.Max(nextWindow, count), length - position)];
            windowStart = position;
            nextWindow = Math.Min(nextWindow * 2, LargestWindow);
            Fill(window, position);
        }

        return window.AsMemory((int)(position - windowStart), count);
    }

    public override ReadOnlySpan<byte> Peek(long position, int count)
    {
        bool isJump = position > windowStart + window.Length;
        if (!isJump)
        {
            return Take(position, count).Span;
        }

        if (glance.Length < count)
        {
            glance = new byte[count];
        }

        Fill(glance.AsSpan(0, count), position);
        return glance.AsSpan(0, count);
    }

    public override PixelSource Range(long position, long count) => PixelSource.FromFile(path, position, count);

    private void Fill(Span<byte> bytes, long position)
    {
        for (int done = 0; done < bytes.Length;)
        {
            int read = RandomAccess.Read(file, bytes[done..], position + done);
            if (read == 0)
            {
                throw new EndOfStreamException("The file became shorter while it was read.");
            }

            done += read;
        }
    }
}

/// <summary>A data set that is spread over literal bytes and ranges of files, as the writer leaves it: pixels stay where they are.</summary>
internal sealed class PieceByteSource(PixelSource pieces) : ByteSource
{
    public override long Length => pieces.Length;

    public override ReadOnlyMemory<byte> Take(long position, int count)
    {
        PixelSource range = pieces.Range(position, count);
        if (range.Pieces is [{ Path: null } literal])
        {
            return literal.Bytes;
        }

        byte[] own = new byte[count];
        using Stream stream = range.OpenRead();
        stream.ReadExactly(own);
        return own;
    }

    public override PixelSource Range(long position, long count) => pieces.Range(position, count);
}
