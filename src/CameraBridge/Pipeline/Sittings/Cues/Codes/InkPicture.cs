using System.Numerics;
using System.Runtime.CompilerServices;
using System.Runtime.InteropServices;
using System.Runtime.Intrinsics;

namespace CameraBridge.Pipeline.Sittings.Cues.Codes;

/// <summary>A picture in two values: what is darker than its surroundings is ink.</summary>
internal sealed class InkPicture
{
    /// <summary>Grey levels by which ink is darker than the mean around it.</summary>
    private const int Margin = 2;

    private readonly bool[] _ink;

    /// <summary>Columns at which ink begins and ends, by turns, row after row ...</summary>
    private readonly List<int> _turns;

    /// <summary>... and where each row's begin among them; one more than there are rows.</summary>
    private readonly int[] _firsts;

    private InkPicture(bool[] ink, PixelArea area)
    {
        _ink = ink;
        Area = area;
        _turns = new List<int>(ink.Length / 4);
        _firsts = new int[area.Height + 1];
        for (int y = 0; y < area.Height; y++)
        {
            AddTurns(MemoryMarshal.AsBytes(ink.AsSpan(y * area.Width, area.Width)), _turns);
            _firsts[y + 1] = _turns.Count;
        }
    }

    /// <summary>Where it lies in the picture that it was made of.</summary>
    public PixelArea Area { get; }

    public int Width => Area.Width;

    public int Height => Area.Height;

    /// <summary>The columns of a row at which ink begins and, after it, ends, by turns; the last end may be the row's.</summary>
    public ReadOnlySpan<int> Turns(int y) => CollectionsMarshal.AsSpan(_turns)[_firsts[y].._firsts[y + 1]];

    public bool this[int x, int y] => _ink[(y * Width) + x];

    /// <summary>Whether a point is ink; beside the picture there is none.</summary>
    public bool Has(double x, double y) => x >= 0 && y >= 0 && x < Width && y < Height && this[(int)x, (int)y];

    /// <summary>Compares each pixel of a part of a picture with the mean of a square around it, which does not depend on where the part ends.</summary>
    /// <param name="picture">The picture.</param>
    /// <param name="area">The part, within the picture.</param>
    /// <param name="reach">Pixels from the middle of the square to its side: it must be wider than the largest dark or light area of a code.</param>
    public static InkPicture Of(SummedPicture picture, PixelArea area, int reach)
    {
        (int width, int height) = (picture.Picture.Width, picture.Picture.Height);
        bool[] ink = new bool[area.Width * area.Height];
        for (int y = 0; y < area.Height; y++)
        {
            int above = Math.Max(0, area.Y + y - reach);
            int below = Math.Min(height, area.Y + y + reach + 1);
            Compare(
                picture.Above(above), picture.Above(below), area.X, picture.Picture.Pixels.AsSpan(((area.Y + y) * width) + area.X, area.Width),
                ink.AsSpan(y * area.Width, area.Width), reach, below - above);
        }

        return new InkPicture(ink, area);
    }

    private static void AddTurns(ReadOnlySpan<byte> row, List<int> turns)
    {
        // A bit a pixel; set where a pixel is other than the one before it.
        uint before = 0;
        int x = 0;
        for (; x <= row.Length - Vector256<byte>.Count; x += Vector256<byte>.Count)
        {
            uint ink = Vector256.Equals(Vector256.Create(row[x..]), Vector256<byte>.One).ExtractMostSignificantBits();
            for (uint other = ink ^ ((ink << 1) | before); other != 0; other &= other - 1)
            {
                turns.Add(x + BitOperations.TrailingZeroCount(other));
            }

            before = ink >> 31;
        }

        for (; x < row.Length; x++)
        {
            if (row[x] != before)
            {
                turns.Add(x);
                before = row[x];
            }
        }

        if (before != 0)
        {
            turns.Add(row.Length);
        }
    }

    /// <param name="above">Sums above the square.</param>
    /// <param name="below">Sums above what is below it.</param>
    /// <param name="first">The row's first column.</param>
    /// <param name="row">Pixels of the row.</param>
    /// <param name="ink">Takes which are ink.</param>
    /// <param name="reach">Columns to each side.</param>
    /// <param name="rows">Rows of the square.</param>
    private static void Compare(ReadOnlySpan<int> above, ReadOnlySpan<int> below, int first, ReadOnlySpan<byte> row, Span<bool> ink, int reach, int rows)
    {
        int width = above.Length - 1;
        ref byte pixels = ref MemoryMarshal.GetReference(row);
        ref byte marks = ref MemoryMarshal.GetReference(MemoryMarshal.AsBytes(ink));
        ref int upper = ref MemoryMarshal.GetReference(above);
        ref int lower = ref MemoryMarshal.GetReference(below);
        int x = 0;
        while (x < row.Length)
        {
            // Eight at once, where the squares of all of them or of none are cut off at a side of the picture.
            int column = x + first;
            bool isCutLeft = column + Vector256<int>.Count <= reach;
            bool isCutRight = column + reach + 1 >= width;
            if (x + Vector256<int>.Count <= row.Length && (isCutLeft || column >= reach) && (isCutRight || column + reach + Vector256<int>.Count <= width))
            {
                int from = isCutLeft ? 0 : column - reach;
                int to = isCutRight ? width : column + reach + 1;
                Vector256<int> widths = Vector256.Create(to - from) + (isCutRight ? Vector256<int>.Zero : Vector256<int>.Indices) - (isCutLeft ? Vector256<int>.Zero : Vector256<int>.Indices);
                Vector256<int> sums = (isCutRight ? Vector256.Create(below[width] - above[width]) : Load(ref lower, to) - Load(ref upper, to))
                    - (isCutLeft ? Vector256<int>.Zero : Load(ref lower, from) - Load(ref upper, from));
                Vector256<int> isInk = Vector256.LessThan((Eight(ref pixels, x) + Vector256.Create(Margin)) * (widths * rows), sums) & Vector256<int>.One;
                Vector128<short> words = Vector128.Narrow(isInk.GetLower(), isInk.GetUpper());
                Vector128.Narrow(words, words).GetLower().AsByte().StoreUnsafe(ref marks, (nuint)x);
                x += Vector256<int>.Count;
                continue;
            }

            int left = Math.Max(0, column - reach);
            int right = Math.Min(width, column + reach + 1);
            ink[x] = (row[x] + Margin) * (right - left) * rows < below[right] - below[left] - above[right] + above[left];
            x++;
        }
    }

    private static Vector256<int> Load(ref int first, int at) => Vector256.LoadUnsafe(ref first, (nuint)at);

    private static Vector256<int> Eight(ref byte first, int at)
    {
        Vector128<ushort> words = Vector128.WidenLower(Vector128.CreateScalarUnsafe(Unsafe.ReadUnaligned<ulong>(ref Unsafe.Add(ref first, at))).AsByte());
        return Vector256.Create(Vector128.WidenLower(words), Vector128.WidenUpper(words)).AsInt32();
    }
}
