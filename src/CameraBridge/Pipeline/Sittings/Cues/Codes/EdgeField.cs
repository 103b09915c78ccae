using System.Runtime.CompilerServices;
using System.Runtime.Intrinsics;

namespace CameraBridge.Pipeline.Sittings.Cues.Codes;

/// <summary>The edges in a picture, summed over squares of eight pixels.</summary>
internal sealed class EdgeField
{
    /// <summary>Side of the squares, in pixels.</summary>
    public const int Square = 8;

    /// <summary>Noise is never taken to be stronger than nine grey levels a pixel, since a code may fill the whole picture.</summary>
    public const int MostQuiet = 9 * Square * Square;

    private readonly Sums[] _sums;

    private EdgeField(Sums[] sums, int columns, int rows)
    {
        _sums = sums;
        Columns = columns;
        Rows = rows;
        Quiet = QuietOf(sums);
    }

    public int Columns { get; }

    public int Rows { get; }

    /// <summary>The sum of edges that a fifth of the squares have less than, up to <see cref="MostQuiet"/>: what noise makes, where nothing is.</summary>
    public int Quiet { get; }

    public Sums this[int column, int row] => _sums[(row * Columns) + column];

    public static EdgeField Of(GreyPicture picture)
    {
        int columns = (picture.Width - 1) / Square;
        int rows = (picture.Height - 1) / Square;
        var sums = new Sums[Math.Max(0, columns * rows)];
        for (int row = 0; row < rows; row++)
        {
            for (int column = 0; column < columns; column++)
            {
                sums[(row * columns) + column] = Measure(picture, column * Square, row * Square);
            }
        }

        return new EdgeField(sums, Math.Max(0, columns), Math.Max(0, rows));
    }

    private static int QuietOf(Sums[] squares)
    {
        int[] counts = new int[MostQuiet + 1];
        foreach (Sums square in squares)
        {
            counts[Math.Min(square.Sum, MostQuiet)]++;
        }

        int quiet = 0;
        for (int before = counts[0]; squares.Length > 0 && before <= squares.Length / 5 && quiet < MostQuiet; before += counts[quiet])
        {
            quiet++;
        }

        return quiet;
    }

    private static Sums Measure(GreyPicture picture, int left, int top)
    {
        ref byte first = ref picture.Pixels[(top * picture.Width) + left];
        Vector128<short> strength = Vector128<short>.Zero;
        Vector128<int> xx = Vector128<int>.Zero;
        Vector128<int> yy = Vector128<int>.Zero;
        Vector128<int> xy = Vector128<int>.Zero;
        Vector128<short> least = Vector128.Create((short)255);
        Vector128<short> most = Vector128<short>.Zero;

        // Every other row tells enough, at half the cost.
        for (int y = 0; y < Square; y += 2)
        {
            ref byte row = ref Unsafe.Add(ref first, y * picture.Width);
            ref byte next = ref Unsafe.Add(ref row, picture.Width);
            Vector128<short> here = Eight(ref row);
            Vector128<short> beside = Eight(ref Unsafe.Add(ref row, 1));

            // Both differences stand for the point between four pixels: taken at different points they would lie about fine bars that lie aslant.
            Vector128<short> rising = Eight(ref Unsafe.Add(ref next, 1)) - here;
            Vector128<short> falling = beside - Eight(ref next);
            Vector128<short> dx = (rising + falling) >> 1;
            Vector128<short> dy = (rising - falling) >> 1;
            strength += Vector128.Abs(dx) + Vector128.Abs(dy);
            (Vector128<int> dxLower, Vector128<int> dxUpper) = Vector128.Widen(dx);
            (Vector128<int> dyLower, Vector128<int> dyUpper) = Vector128.Widen(dy);
            xx += (dxLower * dxLower) + (dxUpper * dxUpper);
            yy += (dyLower * dyLower) + (dyUpper * dyUpper);
            xy += (dxLower * dyLower) + (dxUpper * dyUpper);

            // With the pixels beside the square: of a drawn code each square may be a module of its own.
            least = Vector128.Min(least, Vector128.Min(here, beside));
            most = Vector128.Max(most, Vector128.Max(here, beside));
        }

        int darkest = 255;
        int lightest = 0;
        for (int i = 0; i < Vector128<short>.Count; i++)
        {
            darkest = Math.Min(darkest, least[i]);
            lightest = Math.Max(lightest, most[i]);
        }

        return new Sums(2 * Vector128.Sum(strength), Vector128.Sum(xx), Vector128.Sum(yy), Vector128.Sum(xy), (byte)(lightest - darkest));
    }

    private static Vector128<short> Eight(ref byte first) =>
        Vector128.WidenLower(Vector128.CreateScalarUnsafe(Unsafe.ReadUnaligned<ulong>(ref first)).AsByte()).AsInt16();

    /// <summary>Sums of a square: of |dx| + |dy|, of the products that make the structure tensor, and its darkest and lightest pixels' difference.</summary>
    internal readonly record struct Sums(int Sum, int XX, int YY, int XY, byte Contrast)
    {
        /// <summary>0: edges of every direction; 1: of one only.</summary>
        public double Coherence => XX + YY > 0 ? Math.Sqrt(((double)(XX - YY) * (XX - YY)) + (4.0 * XY * XY)) / (XX + YY) : 0;

        /// <summary>Radians: the direction across the edges, twice, so that opposite directions are the same.</summary>
        public double DoubleAngle => Math.Atan2(2.0 * XY, XX - YY);
    }
}
