namespace CameraBridge.Pipeline.Sittings.Cues;

/// <summary>A part of a picture that is as full of sharp edges as a code is.</summary>
/// <param name="Area">Where, in pixels of the screened picture.</param>
/// <param name="Angle">Degrees (clockwise, -90 to 90) by which its strongest edges stand off the upright.</param>
/// <param name="Coherence">0: edges of every direction; 1: of one direction only, like bars.</param>
/// <param name="Strength">Sum of edge strength; the larger, the more likely a code.</param>
internal readonly record struct BusyPart(PixelArea Area, double Angle, double Coherence, double Strength);

/// <summary>
/// A quick look at a small picture that tells where a code could be at all. Skin, mucosa, teeth and cloth have few sharp edges or scattered
/// ones; a code fills an area with them. What this passes over is not searched, so it errs on the side of finding too much.
/// </summary>
internal static class CodeScreen
{
    /// <summary>Side of the squares in which edges are counted, in pixels.</summary>
    private const int Block = 8;

    /// <summary>Mean edge strength (sum of both directions, grey levels a pixel) below which a square holds no code that could be decoded.</summary>
    private const int LeastEdges = 9;

    /// <summary>In a noisy picture: so many times the strength of its quieter squares.</summary>
    private const double AboveNoise = 1.7;

    /// <summary>The noise is never taken to be stronger than this, since a code may fill the whole picture.</summary>
    private const int MostNoise = 12;

    /// <summary>
    /// Of nine squares in a block, so many must be busy somewhere in a part: a code fills an area, while the outline of a tooth, a ruler or a fold is
    /// one or two squares wide.
    /// </summary>
    private const int LeastOfNine = 8;

    /// <summary>Finds the busy parts, strongest first.</summary>
    /// <param name="picture">The small picture.</param>
    /// <param name="reach">Busy squares are one part when they are no further apart than this: 1 for those that touch.</param>
    public static IReadOnlyList<BusyPart> Find(GreyPicture picture, int reach)
    {
        int columns = (picture.Width - 1) / Block;
        int rows = (picture.Height - 1) / Block;
        if (columns < 1 || rows < 1)
        {
            return [];
        }

        var squares = new Edges[columns * rows];
        for (int row = 0; row < rows; row++)
        {
            for (int column = 0; column < columns; column++)
            {
                squares[(row * columns) + column] = Measure(picture, column * Block, row * Block);
            }
        }

        int threshold = Threshold(squares);
        return Join(squares, columns, rows, threshold, reach);
    }

    private static int Threshold(Edges[] squares)
    {
        int[] sums = [.. squares.Select(square => square.Sum)];
        Array.Sort(sums);
        double noise = Math.Min(sums[sums.Length / 5] / (double)(Block * Block), MostNoise);
        return (int)(Math.Max(LeastEdges, noise * AboveNoise) * Block * Block);
    }

    private static Edges Measure(GreyPicture picture, int left, int top)
    {
        byte[] pixels = picture.Pixels;
        int width = picture.Width;
        int sum = 0;
        int xx = 0;
        int yy = 0;
        int xy = 0;
        for (int y = top; y < top + Block; y++)
        {
            int at = (y * width) + left;
            for (int x = 0; x < Block; x++, at++)
            {
                int dx = pixels[at + 1] - pixels[at];
                int dy = pixels[at + width] - pixels[at];
                sum += Math.Abs(dx) + Math.Abs(dy);
                xx += dx * dx;
                yy += dy * dy;
                xy += dx * dy;
            }
        }

        return new Edges(sum, xx, yy, xy);
    }

    private static List<BusyPart> Join(Edges[] squares, int columns, int rows, int threshold, int reach)
    {
        var parts = new List<BusyPart>();
        var seen = new bool[squares.Length];
        var open = new Stack<int>();
        for (int start = 0; start < squares.Length; start++)
        {
            if (seen[start] || squares[start].Sum < threshold)
            {
                continue;
            }

            seen[start] = true;
            open.Push(start);
            bool hasCore = false;
            (int left, int top, int right, int bottom) = (columns, rows, -1, -1);
            long sum = 0;
            double xx = 0;
            double yy = 0;
            double xy = 0;
            while (open.TryPop(out int index))
            {
                (int row, int column) = Math.DivRem(index, columns);
                hasCore = hasCore || IsCore(squares, columns, rows, threshold, column, row);
                sum += squares[index].Sum;
                xx += squares[index].XX;
                yy += squares[index].YY;
                xy += squares[index].XY;
                (left, right) = (Math.Min(left, column), Math.Max(right, column));
                (top, bottom) = (Math.Min(top, row), Math.Max(bottom, row));
                for (int y = Math.Max(0, row - reach); y <= Math.Min(rows - 1, row + reach); y++)
                {
                    for (int x = Math.Max(0, column - reach); x <= Math.Min(columns - 1, column + reach); x++)
                    {
                        int next = (y * columns) + x;
                        if (!seen[next] && squares[next].Sum >= threshold)
                        {
                            seen[next] = true;
                            open.Push(next);
                        }
                    }
                }
            }

            if (hasCore)
            {
                var area = new PixelArea(left * Block, top * Block, (right - left + 1) * Block, (bottom - top + 1) * Block);
                double angle = 0.5 * Math.Atan2(2 * xy, xx - yy) * 180 / Math.PI;
                double coherence = xx + yy > 0 ? Math.Sqrt(((xx - yy) * (xx - yy)) + (4 * xy * xy)) / (xx + yy) : 0;
                parts.Add(new BusyPart(area, angle, coherence, sum));
            }
        }

        parts.Sort((a, b) => b.Strength.CompareTo(a.Strength));
        return parts;
    }

    private static bool IsCore(Edges[] squares, int columns, int rows, int threshold, int column, int row)
    {
        if (column == 0 || row == 0 || column == columns - 1 || row == rows - 1)
        {
            return false;
        }

        int busy = 0;
        for (int y = row - 1; y <= row + 1; y++)
        {
            for (int x = column - 1; x <= column + 1; x++)
            {
                busy += squares[(y * columns) + x].Sum >= threshold ? 1 : 0;
            }
        }

        return busy >= LeastOfNine;
    }

    /// <summary>Sums of a square: of |dx| + |dy|, and of the products that make the structure tensor.</summary>
    private readonly record struct Edges(int Sum, int XX, int YY, int XY);
}
