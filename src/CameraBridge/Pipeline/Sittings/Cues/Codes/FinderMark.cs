namespace CameraBridge.Pipeline.Sittings.Cues.Codes;

/// <summary>A finder pattern of a QR code: dark, light, dark, light, dark as 1 : 1 : 3 : 1 : 1 through its middle in any direction (ISO/IEC 18004, 5.3.2; number from memory).</summary>
/// <param name="X">Its middle, in pixels.</param>
/// <param name="Y">Its middle, in pixels.</param>
/// <param name="Module">Pixels a module, the mean of along and across.</param>
/// <param name="Rows">Rows that crossed it.</param>
internal readonly record struct FinderMark(double X, double Y, double Module, int Rows)
{
    /// <summary>True where it is large and clear, as hardly any mark is that noise or cloth make.</summary>
    public bool IsSure { get; init; }

    /// <summary>The same in a picture that is larger.</summary>
    public FinderMark Scale(double factor) => this with { X = X * factor, Y = Y * factor, Module = Module * factor };

    public double Distance(FinderMark other) => Math.Sqrt(((X - other.X) * (X - other.X)) + ((Y - other.Y) * (Y - other.Y)));

    /// <summary>True where this lies on the other, so that both can only be one.</summary>
    public bool IsNear(FinderMark other) => Math.Abs(X - other.X) < 2 * other.Module && Math.Abs(Y - other.Y) < 2 * other.Module;
}

/// <summary>Finds finder patterns in a picture of two values.</summary>
internal static class FinderMarks
{
    /// <summary>More than this is print or cloth; the marks of a code have the most rows for their size.</summary>
    private const int Most = 24;

    /// <summary>Pixels a module: smaller ones are found in any cloth.</summary>
    private const double LeastSure = 2;

    /// <summary>Rows a module that cross a sure mark: half of its dark middle, which is three modules high.</summary>
    private const double RowsOfSure = 1.5;

    /// <summary>Two codes and what else looks like marks.</summary>
    private const int MostSure = 8;

    /// <summary>By so much the modules of two marks of one code differ under a slanted look.</summary>
    private const double MostUnlike = 1.4;

    /// <summary>Finds them, the surest first.</summary>
    /// <param name="picture">The ink; the marks' places are those in the picture that it was made of.</param>
    /// <param name="least">Pixels a module, at the least.</param>
    /// <param name="glare">Whether a part of a mark may be lost: then two directions besides its rows are enough.</param>
    public static IReadOnlyList<FinderMark> Find(InkPicture picture, double least = 0, bool glare = false)
    {
        var found = new List<FinderMark>();
        int near = 0;
        Span<int> runs = stackalloc int[5];
        for (int y = 1; y < picture.Height - 1; y++)
        {
            ReadOnlySpan<int> turns = picture.Turns(y);
            for (int first = 0; first + 5 < turns.Length; first += 2)
            {
                for (int i = 0; i < runs.Length; i++)
                {
                    runs[i] = turns[first + i + 1] - turns[first + i];
                }

                if (IsPattern(runs, out double module) && module >= least / 2)
                {
                    Check(picture, turns[first + 2] + (runs[2] / 2.0), y, module, glare ? 2 : 3, found, ref near);
                }
            }
        }

        return
        [
            .. found.Where(mark => mark.Module >= least && mark.Rows >= Math.Max(2, mark.Module * 0.7))
                .Select(mark => mark with { X = mark.X + picture.Area.X, Y = mark.Y + picture.Area.Y, IsSure = mark.Module >= LeastSure && mark.Rows >= RowsOfSure * mark.Module })
                .OrderByDescending(mark => mark.IsSure).ThenByDescending(mark => mark.Rows / mark.Module).Take(Most),
        ];
    }

    /// <summary>The two largest sure marks of one size; null where no two are sure, or so many that they are a pattern of cloth or brick.</summary>
    public static (FinderMark One, FinderMark Other)? LikelyPair(IReadOnlyList<FinderMark> marks)
    {
        FinderMark[] sure = [.. marks.Where(mark => mark.IsSure).OrderByDescending(mark => mark.Module)];
        for (int i = 1; i < sure.Length && sure.Length <= MostSure; i++)
        {
            if (sure[i - 1].Module <= MostUnlike * sure[i].Module)
            {
                return (sure[i - 1], sure[i]);
            }
        }

        return null;
    }

    private static bool IsPattern(ReadOnlySpan<int> runs, out double module)
    {
        int total = runs[0] + runs[1] + runs[2] + runs[3] + runs[4];
        module = total / 7.0;

        // Most are none because a run is longer than the middle one: what the bounds below allow too is not.
        int longest = runs[2] + 1;
        if (total < 7 || runs[0] > longest || runs[1] > longest || runs[3] > longest || runs[4] > longest)
        {
            return false;
        }

        double off = (module * 0.65) + 0.5;
        return Math.Abs(runs[0] - module) < off && Math.Abs(runs[1] - module) < off && Math.Abs(runs[2] - (3 * module)) < 2 * off
            && Math.Abs(runs[3] - module) < off && Math.Abs(runs[4] - module) < off;
    }

    /// <summary>A pattern along a row is looked at down, along again through the better middle, and along both diagonals.</summary>
    private static void Check(InkPicture picture, double x, int y, double along, int directions, List<FinderMark> found, ref int near)
    {
        // In cloth there are thousands of them; those that end above this row are passed for good.
        while (near < found.Count && y - found[near].Y >= 2 * found[near].Module)
        {
            near++;
        }

        for (int i = near; i < found.Count; i++)
        {
            FinderMark known = found[i];
            if (Math.Abs(known.X - x) < 1.5 * known.Module && Math.Abs(known.Y - y) < 2 * known.Module)
            {
                found[i] = known with { Rows = known.Rows + 1 };
                return;
            }
        }

        (double Off, double Length)? down = Through(picture, x, y + 0.5, 0, 1, along);
        double atY = y + 0.5 + (down?.Off ?? 0);
        if ((down is null && directions == 3) || Through(picture, x, atY, 1, 0, along) is not { } across)
        {
            return;
        }

        double atX = x + across.Off;
        int passed = down is null ? 0 : 1;
        passed += Through(picture, atX, atY, 0.7071, 0.7071, along) is null ? 0 : 1;
        passed += passed < directions - 1 || Through(picture, atX, atY, 0.7071, -0.7071, along) is null ? 0 : 1;
        if (passed < directions)
        {
            return;
        }

        var mark = new FinderMark(atX, atY, ((down?.Length ?? across.Length) + across.Length) / 14, 1);
        for (int i = 0; i < found.Count; i++)
        {
            if (mark.IsNear(found[i]))
            {
                found[i] = found[i] with { Rows = found[i].Rows + 1 };
                return;
            }
        }

        found.Add(mark);
    }

    /// <summary>Walks from a point both ways over the five runs of a pattern.</summary>
    /// <returns>How far its middle lies from the point along the direction, and its length; null where it is none.</returns>
    private static (double Off, double Length)? Through(InkPicture picture, double x, double y, double dx, double dy, double module)
    {
        Span<int> forth = stackalloc int[3];
        Span<int> back = stackalloc int[3];
        int limit = (int)Math.Ceiling(module * 6) + 2;
        if (!Walk(picture, x, y, dx, dy, limit, forth) || !Walk(picture, x, y, -dx, -dy, limit, back))
        {
            return null;
        }

        // The start was counted both ways.
        Span<int> runs = [back[2], back[1], back[0] + forth[0] - 1, forth[1], forth[2]];
        if (!IsPattern(runs, out double own) || own < module * 0.4 || own > module * 2.5)
        {
            return null;
        }

        return ((forth[0] - back[0]) / 2.0, own * 7);
    }

    /// <summary>Counts steps over dark, light, dark.</summary>
    private static bool Walk(InkPicture picture, double x, double y, double dx, double dy, int limit, Span<int> runs)
    {
        int run = 0;
        for (int step = 0; ; step++)
        {
            int atX = (int)(x + (step * dx));
            int atY = (int)(y + (step * dy));
            bool isOutside = atX < 0 || atY < 0 || atX >= picture.Width || atY >= picture.Height || x + (step * dx) < 0 || y + (step * dy) < 0;
            if (isOutside)
            {
                return run == 2 && runs[2] > 0;
            }

            if (picture[atX, atY] != (run % 2 == 0))
            {
                if (runs[run] == 0 || ++run == 3)
                {
                    return run == 3;
                }
            }

            if (++runs[run] > limit)
            {
                return false;
            }
        }
    }
}
