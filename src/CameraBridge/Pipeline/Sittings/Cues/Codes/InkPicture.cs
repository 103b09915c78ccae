using System.Runtime.InteropServices;
using System.Runtime.Intrinsics;

namespace CameraBridge.Pipeline.Sittings.Cues.Codes;

/// <summary>A picture in two values: what is darker than its surroundings is ink.</summary>
internal sealed class InkPicture
{
    /// <summary>Grey levels by which ink is darker than the mean around it.</summary>
    private const int Margin = 2;

    private readonly bool[] _ink;

    private InkPicture(bool[] ink, int width, int height)
    {
        _ink = ink;
        Width = width;
        Height = height;
    }

    public int Width { get; }

    public int Height { get; }

    public ReadOnlySpan<bool> Row(int y) => _ink.AsSpan(y * Width, Width);

    public bool this[int x, int y] => _ink[(y * Width) + x];

    /// <summary>Whether a point is ink; beside the picture there is none.</summary>
    public bool Has(double x, double y) => x >= 0 && y >= 0 && x < Width && y < Height && this[(int)x, (int)y];

    /// <summary>Compares each pixel with the mean of a square around it.</summary>
    /// <param name="picture">The picture.</param>
    /// <param name="reach">Pixels from the middle of the square to its side: it must be wider than the largest dark or light area of a code.</param>
    public static InkPicture Of(GreyPicture picture, int reach)
    {
        int width = picture.Width;
        int height = picture.Height;
        bool[] ink = new bool[width * height];

        // Sums of columns over the rows of the square, moved on row by row.
        int[] columns = new int[width];
        int[] upTo = new int[width + 1];
        byte[] pixels = picture.Pixels;
        int rows = 0;
        for (int y = 0; y < Math.Min(reach, height); y++)
        {
            Add(columns, pixels.AsSpan(y * width, width), 1);
            rows++;
        }

        for (int y = 0; y < height; y++)
        {
            if (y + reach < height)
            {
                Add(columns, pixels.AsSpan((y + reach) * width, width), 1);
                rows++;
            }

            if (y - reach - 1 >= 0)
            {
                Add(columns, pixels.AsSpan((y - reach - 1) * width, width), -1);
                rows--;
            }

            for (int x = 0; x < columns.Length; x++)
            {
                upTo[x + 1] = upTo[x] + columns[x];
            }

            Compare(upTo, pixels.AsSpan(y * width, width), ink.AsSpan(y * width, width), reach, rows);
        }

        return new InkPicture(ink, width, height);
    }

    private static void Add(Span<int> columns, ReadOnlySpan<byte> row, int sign)
    {
        int x = 0;
        for (; x <= row.Length - Vector256<int>.Count; x += Vector256<int>.Count)
        {
            (Vector256.Create<int>(columns[x..]) + (Eight(row[x..]) * sign)).CopyTo(columns[x..]);
        }

        for (; x < row.Length; x++)
        {
            columns[x] += sign * row[x];
        }
    }

    /// <param name="upTo">Sums of all columns left of each.</param>
    /// <param name="row">Pixels of the row.</param>
    /// <param name="ink">Takes which are ink.</param>
    /// <param name="reach">Columns to each side.</param>
    /// <param name="rows">Rows that each column was summed over.</param>
    private static void Compare(ReadOnlySpan<int> upTo, ReadOnlySpan<byte> row, Span<bool> ink, int reach, int rows)
    {
        int width = row.Length;
        int full = ((2 * reach) + 1) * rows;
        Span<byte> marks = MemoryMarshal.AsBytes(ink);
        int x = 0;
        while (x < width)
        {
            if (x >= reach && x + reach + Vector256<int>.Count <= width)
            {
                Vector256<int> sums = Vector256.Create(upTo[(x + reach + 1)..]) - Vector256.Create(upTo[(x - reach)..]);
                Vector256<int> isInk = Vector256.LessThan((Eight(row[x..]) + Vector256.Create(Margin)) * full, sums) & Vector256<int>.One;
                Vector128<short> words = Vector128.Narrow(isInk.GetLower(), isInk.GetUpper());
                Vector128.Narrow(words, words).GetLower().AsByte().CopyTo(marks[x..]);
                x += Vector256<int>.Count;
                continue;
            }

            int from = Math.Max(0, x - reach);
            int to = Math.Min(width, x + reach + 1);
            ink[x] = (row[x] + Margin) * (to - from) * rows < upTo[to] - upTo[from];
            x++;
        }
    }

    private static Vector256<int> Eight(ReadOnlySpan<byte> row)
    {
        Vector128<ushort> words = Vector128.WidenLower(Vector128.CreateScalarUnsafe(MemoryMarshal.Read<ulong>(row)).AsByte());
        return Vector256.Create(Vector128.WidenLower(words), Vector128.WidenUpper(words)).AsInt32();
    }
}
