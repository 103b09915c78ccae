using CameraBridge.Pipeline.Sittings.Cues.Codes;

namespace CameraBridge.Pipeline.Sittings.Cues;

/// <summary>
/// A quick look at the edges of a small picture that tells where a code of modules could be at all. Skin, mucosa, teeth and cloth have few sharp edges
/// or scattered ones; a code fills an area with them. What this passes over is not searched, so it errs on the side of finding too much.
/// </summary>
internal static class CodeScreen
{
    /// <summary>Mean edge strength (sum of both directions, grey levels a pixel) below which a square holds no code that could be decoded.</summary>
    private const int LeastEdges = 7;

    /// <summary>In a noisy picture: so many times the strength of its quieter squares.</summary>
    private const double AboveNoise = 1.7;

    /// <summary>Grey levels between the darkest and the lightest pixel of a square.</summary>
    private const int LeastContrast = 40;

    /// <summary>The same in stark parts: one in ten of the busy parts of photographs without a code has a core of such squares.</summary>
    private const int StarkContrast = 100;

    /// <summary>The same in small ones: of small print little contrast is left.</summary>
    private const int SmallStarkContrast = 65;

    /// <summary>Squares of the longer side of a small one.</summary>
    private const int LargestSmall = 12;

    /// <summary>
    /// Edges of a square by its contrast, at the middle of a part: one straight edge through each gives eight to ten, and half of the stark parts of photographs give no more. Of
    /// drawn codes some do so too, nearly all with squares of one direction only, as large modules have: those show in the halved picture.
    /// </summary>
    private const double LeastFineness = 10.4;

    /// <summary>Squares with light and dark: a code of 24 by 24 pixels covers so many.</summary>
    private const int LeastSquares = 9;

    /// <summary>
    /// Of nine squares in a block, so many must be busy somewhere in a part: a code fills an area, while the outline of a tooth, a ruler or a fold is
    /// one or two squares wide.
    /// </summary>
    private const int LeastOfNine = 8;

    /// <summary>False where too few squares hold both light and dark for any code.</summary>
    public static bool MayHoldCode(EdgeField edges)
    {
        int count = 0;
        for (int row = 0; row < edges.Rows; row++)
        {
            for (int column = 0; column < edges.Columns; column++)
            {
                count += edges[column, row].Contrast >= LeastContrast ? 1 : 0;
            }
        }

        return count >= LeastSquares;
    }

    /// <summary>Finds the busy parts, largest sum of edges first.</summary>
    /// <param name="edges">The small picture's edges.</param>
    /// <param name="reach">Busy squares are one part when they are no further apart than this: 1 for those that touch.</param>
    /// <returns>Where, in pixels of that picture.</returns>
    public static IReadOnlyList<PixelArea> Find(EdgeField edges, int reach) => Find(edges, reach, LeastContrast);

    /// <summary>Finds the busy parts that are nearly black and white, as print is: few and small enough to be looked at more than once.</summary>
    /// <param name="edges">The small picture's edges.</param>
    /// <returns>Where, in pixels of that picture, largest sum of edges first; and whether a part is so full of edges that bars or modules in it are small.</returns>
    public static IReadOnlyList<(PixelArea Area, bool IsFine)> FindStark(EdgeField edges)
    {
        IReadOnlyList<PixelArea> stark = Find(edges, 1, StarkContrast);
        IEnumerable<PixelArea> small = Find(edges, 1, SmallStarkContrast)
            .Where(part => Math.Max(part.Width, part.Height) <= LargestSmall * EdgeField.Square && !stark.Any(part.Meets));
        return [.. stark.Concat(small).Select(part => (part, Fineness(edges, part) >= LeastFineness))];
    }

    private static double Fineness(EdgeField edges, PixelArea part)
    {
        var shares = new List<double>();
        for (int row = part.Y / EdgeField.Square; row < part.Bottom / EdgeField.Square; row++)
        {
            for (int column = part.X / EdgeField.Square; column < part.Right / EdgeField.Square; column++)
            {
                EdgeField.Sums square = edges[column, row];
                if (square.Contrast >= SmallStarkContrast)
                {
                    shares.Add(square.Sum / (double)square.Contrast);
                }
            }
        }

        shares.Sort();
        return shares[shares.Count / 2];
    }

    private static IReadOnlyList<PixelArea> Find(EdgeField edges, int reach, int contrast)
    {
        if (edges.Columns == 0 || edges.Rows == 0)
        {
            return [];
        }

        bool[] busy = Busy(edges, contrast);
        bool[] seen = new bool[busy.Length];
        var open = new Stack<int>();
        var parts = new List<(PixelArea Area, long Strength)>();
        for (int start = 0; start < busy.Length; start++)
        {
            if (!seen[start] && busy[start])
            {
                seen[start] = true;
                open.Push(start);
                if (Join(edges, busy, seen, open, reach) is { } part)
                {
                    parts.Add(part);
                }
            }
        }

        return [.. parts.OrderByDescending(part => part.Strength).Select(part => part.Area)];
    }

    private static bool[] Busy(EdgeField edges, int contrast)
    {
        const int Pixels = EdgeField.Square * EdgeField.Square;
        int threshold = (int)Math.Max(LeastEdges * Pixels, edges.Quiet * AboveNoise);
        bool[] busy = new bool[edges.Columns * edges.Rows];
        for (int i = 0; i < busy.Length; i++)
        {
            EdgeField.Sums square = edges[i % edges.Columns, i / edges.Columns];
            busy[i] = square.Sum >= threshold && square.Contrast >= contrast;
        }

        return busy;
    }

    private static (PixelArea Area, long Strength)? Join(EdgeField edges, bool[] busy, bool[] seen, Stack<int> open, int reach)
    {
        bool hasCore = false;
        (int left, int top, int right, int bottom) = (edges.Columns, edges.Rows, -1, -1);
        long sum = 0;
        while (open.TryPop(out int index))
        {
            (int row, int column) = Math.DivRem(index, edges.Columns);
            hasCore = hasCore || IsCore(edges, busy, column, row);
            sum += edges[column, row].Sum;
            (left, right) = (Math.Min(left, column), Math.Max(right, column));
            (top, bottom) = (Math.Min(top, row), Math.Max(bottom, row));
            for (int y = Math.Max(0, row - reach); y <= Math.Min(edges.Rows - 1, row + reach); y++)
            {
                for (int x = Math.Max(0, column - reach); x <= Math.Min(edges.Columns - 1, column + reach); x++)
                {
                    int next = (y * edges.Columns) + x;
                    if (!seen[next] && busy[next])
                    {
                        seen[next] = true;
                        open.Push(next);
                    }
                }
            }
        }

        const int Side = EdgeField.Square;
        return hasCore ? (new PixelArea(left * Side, top * Side, (right - left + 1) * Side, (bottom - top + 1) * Side), sum) : null;
    }

    private static bool IsCore(EdgeField edges, bool[] busy, int column, int row)
    {
        if (column == 0 || row == 0 || column == edges.Columns - 1 || row == edges.Rows - 1)
        {
            return false;
        }

        int count = 0;
        for (int y = row - 1; y <= row + 1; y++)
        {
            for (int x = column - 1; x <= column + 1; x++)
            {
                count += busy[(y * edges.Columns) + x] ? 1 : 0;
            }
        }

        return count >= LeastOfNine;
    }
}
