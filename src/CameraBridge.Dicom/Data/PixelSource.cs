namespace CameraBridge.Dicom.Data;

/// <summary>
/// Where bytes are, so that pixels are never held in memory: an ordered list of pieces, each a range of a file or a few literal bytes.
/// A whole encoded data set may be one too (its header literal, its pixels a file range), which makes a retry send the very same bytes.
/// </summary>
public sealed class PixelSource
{
    private PixelSource(IReadOnlyList<Piece> pieces, Func<int, CancellationToken, ValueTask>? pace = null)
    {
        Pieces = pieces;
        Pace = pace;
        foreach (Piece piece in pieces)
        {
            Length = checked(Length + piece.Length);
        }
    }

    /// <summary>No bytes.</summary>
    public static PixelSource Empty { get; } = new([]);

    /// <summary>The pieces in order.</summary>
    public IReadOnlyList<Piece> Pieces { get; }

    /// <summary>Bytes in all.</summary>
    public long Length { get; }

    /// <summary>Awaited by who sends these bytes over a network, with their number, before each part of them goes: for links that are shared or slow. Null for none.</summary>
    public Func<int, CancellationToken, ValueTask>? Pace { get; }

    /// <summary>The same bytes, sent no faster than this lets them.</summary>
    public PixelSource Paced(Func<int, CancellationToken, ValueTask>? pace) => new(Pieces, pace);

    /// <summary>A range of a file. The file is opened only when the bytes are read.</summary>
    /// <exception cref="ArgumentOutOfRangeException">Offset or length is negative.</exception>
    public static PixelSource FromFile(string path, long offset, long length)
    {
        ArgumentException.ThrowIfNullOrEmpty(path);
        ArgumentOutOfRangeException.ThrowIfNegative(offset);
        ArgumentOutOfRangeException.ThrowIfNegative(length);
        return length == 0 ? Empty : new PixelSource([new Piece(path, offset, length, default)]);
    }

    /// <summary>Bytes in memory: headers, delimiters, padding, and small things in tests.</summary>
    public static PixelSource FromBytes(ReadOnlyMemory<byte> bytes) =>
        bytes.IsEmpty ? Empty : new PixelSource([new Piece(null, 0, bytes.Length, bytes)]);

    /// <summary>One after the other; the pace of one of them is that of all.</summary>
    public static PixelSource Concat(params IEnumerable<PixelSource> parts)
    {
        ArgumentNullException.ThrowIfNull(parts);
        PixelSource[] all = [.. parts];
        return new PixelSource([.. all.SelectMany(part => part.Pieces)], Array.Find(all, part => part.Pace is not null)?.Pace);
    }

    /// <summary>Some of the bytes; costs no memory.</summary>
    /// <exception cref="ArgumentOutOfRangeException">The range is not inside.</exception>
    public PixelSource Range(long position, long count)
    {
        ArgumentOutOfRangeException.ThrowIfNegative(position);
        ArgumentOutOfRangeException.ThrowIfNegative(count);
        ArgumentOutOfRangeException.ThrowIfGreaterThan(position, Length - count);
        List<Piece> parts = [];
        long start = 0;
        foreach (Piece piece in Pieces)
        {
            long from = Math.Max(position, start);
            long to = Math.Min(position + count, start + piece.Length);
            if (from < to)
            {
                long offset = from - start;
                long length = to - from;
                parts.Add(piece.Path is null
                    ? new Piece(null, 0, length, piece.Bytes.Slice((int)offset, (int)length))
                    : new Piece(piece.Path, piece.Offset + offset, length, default));
            }

            start += piece.Length;
        }

        return new PixelSource(parts);
    }

    /// <summary>A forward reader over all pieces, each file opened when its turn comes.</summary>
    /// <exception cref="IOException">While reading: a file is gone, or shorter than the range says.</exception>
    public Stream OpenRead() => new PixelSourceStream(Pieces, Length);

    /// <summary>One piece: a range of the file at <paramref name="Path"/>, or, where that is null, the literal <paramref name="Bytes"/>.</summary>
    /// <param name="Path">File, or null for literal bytes.</param>
    /// <param name="Offset">First byte in the file.</param>
    /// <param name="Length">Number of bytes.</param>
    /// <param name="Bytes">The literal bytes.</param>
    public sealed record Piece(string? Path, long Offset, long Length, ReadOnlyMemory<byte> Bytes);
}
