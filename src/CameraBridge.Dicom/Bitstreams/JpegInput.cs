using System.Buffers;
using System.Buffers.Binary;
using System.Diagnostics.CodeAnalysis;

namespace CameraBridge.Dicom.Bitstreams;

/// <summary>A window of fixed size that moves forward over a stream; no length of the file ever decides how much memory is taken.</summary>
internal sealed class JpegInput : IDisposable
{
    /// <summary>More than the longest marker segment (65,537 bytes), so that each can be looked at as a whole.</summary>
    private const int WindowSize = 128 * 1024;

    [SuppressMessage("Usage", "CA2213:Disposable fields should be disposed", Justification = "The stream belongs to the caller.")]
    private readonly Stream stream;
    private readonly byte[] window = ArrayPool<byte>.Shared.Rent(WindowSize);
    private long windowStart;
    private bool ended;

    public JpegInput(Stream stream)
    {
        this.stream = stream;
        stream.Position = 0;
        Length = stream.Length;
    }

    /// <summary>Bytes of the stream when reading began.</summary>
    public long Length { get; }

    /// <summary>Where the next byte stands in the file.</summary>
    public long Offset => windowStart + Position;

    /// <summary>The window's bytes; valid from <see cref="Position"/> to <see cref="End"/>, until the next <see cref="Ensure"/>.</summary>
    public byte[] Window => window;

    /// <summary>Index of the next byte in the window.</summary>
    public int Position { get; set; }

    /// <summary>Index behind the last byte in the window.</summary>
    public int End { get; private set; }

    /// <summary>The bytes at hand.</summary>
    public ReadOnlySpan<byte> Buffered => window.AsSpan(Position, End - Position);

    /// <summary>Brings at least so many bytes into the window.</summary>
    /// <returns>False when the stream ends before.</returns>
    public bool Ensure(int count)
    {
        while (End - Position < count && !ended)
        {
            Fill();
        }

        return End - Position >= count;
    }

    /// <summary>The next byte, or -1 at the end.</summary>
    public int ReadByte() => Ensure(1) ? window[Position++] : -1;

    /// <summary>Moves forward to a byte of the file.</summary>
    /// <returns>False when the stream ends before, or the byte lies behind.</returns>
    public bool SkipTo(long offset)
    {
        while (offset - Offset > End - Position && !ended)
        {
            Position = End;
            Fill();
        }

        long distance = offset - Offset;
        if (distance < 0 || distance > End - Position)
        {
            return false;
        }

        Position += (int)distance;
        return true;
    }

    /// <summary>Takes what stands between a marker segment's length and its end; the input stands at its marker, and behind it afterwards.</summary>
    /// <returns>Null when the file ends before, or the length cannot be.</returns>
    public byte[]? TakeSegment()
    {
        if (!Ensure(4))
        {
            return null;
        }

        int length = BinaryPrimitives.ReadUInt16BigEndian(Buffered[2..]);
        if (length < 2 || !Ensure(length + 2))
        {
            return null;
        }

        byte[] body = Buffered.Slice(4, length - 2).ToArray();
        Position += length + 2;
        return body;
    }

    /// <summary>Takes entropy-coded data up to the next marker, without stuffed zeros and fill bytes (ITU-T T.81 section F.1.2.3), as far as there is room.</summary>
    /// <returns>Bytes put there.</returns>
    public int TakeEntropyCoded(Span<byte> room)
    {
        int taken = 0;
        while (taken < room.Length && Ensure(1))
        {
            ReadOnlySpan<byte> source = Buffered;
            source = source[..Math.Min(source.Length, room.Length - taken)];
            int ff = source.IndexOf((byte)0xFF);
            int plain = ff < 0 ? source.Length : ff;
            source[..plain].CopyTo(room[taken..]);
            taken += plain;
            Position += plain;
            if (ff < 0)
            {
                continue;
            }

            if (!Ensure(2))
            {
                return taken;
            }

            byte next = window[Position + 1];
            if (next == 0xFF)
            {
                Position++;
            }
            else if (next == 0)
            {
                room[taken++] = 0xFF;
                Position += 2;
            }
            else
            {
                return taken;
            }
        }

        return taken;
    }

    public void Dispose() => ArrayPool<byte>.Shared.Return(window);

    private void Fill()
    {
        if (Position > 0)
        {
            Buffer.BlockCopy(window, Position, window, 0, End - Position);
            windowStart += Position;
            End -= Position;
            Position = 0;
        }

        int read = stream.Read(window, End, WindowSize - End);
        End += read;
        ended = read == 0;
    }
}
