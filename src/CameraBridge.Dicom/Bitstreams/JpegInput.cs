using System.Buffers;
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
