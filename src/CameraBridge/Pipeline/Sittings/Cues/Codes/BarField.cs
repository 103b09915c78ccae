namespace CameraBridge.Pipeline.Sittings.Cues.Codes;

/// <summary>A part of a picture that is full of edges of one direction, as bars are.</summary>
/// <param name="X">Its middle, in pixels.</param>
/// <param name="Y">Its middle.</param>
/// <param name="AcrossX">Unit vector across the bars.</param>
/// <param name="AcrossY">The same.</param>
/// <param name="Slant">How far along the bars the direction of reading leads for each pixel across them: under a slanted look they lie askew to it.</param>
/// <param name="HalfLength">Pixels from the middle to its end in the direction of reading.</param>
/// <param name="HalfHeight">The same along the bars.</param>
/// <param name="Strength">Sum of edge strength.</param>
internal readonly record struct BarField(double X, double Y, double AcrossX, double AcrossY, double Slant, double HalfLength, double HalfHeight, double Strength)
{
    /// <summary>Of the edges in a square, so much must be of one direction.</summary>
    private const double LeastCoherence = 0.55;

    /// <summary>Mean edge strength of a pixel.</summary>
    private const int LeastEdges = 9;

    /// <summary>Grey levels between the darkest and the lightest pixel of a square.</summary>
    private const int LeastContrast = 30;

    /// <summary>Cosine of twice the angle by which neighbours may differ: 20 degrees.</summary>
    private const double LeastLikeness = 0.77;

    /// <summary>Tenths: 31 degrees.</summary>
    public const int MostSlant = 6;

    /// <summary>Looks a pixel.</summary>
    public const int Fineness = 2;

    /// <summary>Squares to each side over which a field goes on: wide bars and spaces leave some empty.</summary>
    private const int Reach = 2;

    /// <summary>Finds such parts, strongest first.</summary>
    public static IReadOnlyList<BarField> Find(EdgeField edges)
    {
        var fields = new List<BarField>();
        bool[] seen = new bool[edges.Columns * edges.Rows];
        var open = new Stack<(int Column, int Row)>();
        var members = new List<(int Column, int Row)>();
        for (int start = 0; start < seen.Length; start++)
        {
            (int row, int column) = Math.DivRem(start, edges.Columns);
            if (seen[start] || !IsBars(edges[column, row]))
            {
                continue;
            }

            members.Clear();
            seen[start] = true;
            open.Push((column, row));
            while (open.TryPop(out (int Column, int Row) at))
            {
                members.Add(at);
                EdgeField.Sums here = edges[at.Column, at.Row];
                for (int y = Math.Max(0, at.Row - Reach); y <= Math.Min(edges.Rows - 1, at.Row + Reach); y++)
                {
                    for (int x = Math.Max(0, at.Column - Reach); x <= Math.Min(edges.Columns - 1, at.Column + Reach); x++)
                    {
                        int index = (y * edges.Columns) + x;
                        if (!seen[index] && IsBars(edges[x, y]) && Likeness(here, edges[x, y]) >= LeastLikeness)
                        {
                            seen[index] = true;
                            open.Push((x, y));
                        }
                    }
                }
            }

            if (members.Count >= 4 && Of(edges, members) is { } field)
            {
                fields.Add(field);
            }
        }

        fields.Sort((a, b) => b.Strength.CompareTo(a.Strength));
        return fields;
    }

    private static bool IsBars(EdgeField.Sums square) =>
        square.Sum >= LeastEdges * EdgeField.Square * EdgeField.Square && square.Contrast >= LeastContrast && square.Coherence >= LeastCoherence;

    private static double Likeness(EdgeField.Sums a, EdgeField.Sums b)
    {
        double ax = a.XX - a.YY;
        double ay = 2.0 * a.XY;
        double bx = b.XX - b.YY;
        double by = 2.0 * b.XY;
        return ((ax * bx) + (ay * by)) / Math.Sqrt(((ax * ax) + (ay * ay)) * ((bx * bx) + (by * by)));
    }

    private static BarField? Of(EdgeField edges, List<(int Column, int Row)> members)
    {
        double xx = 0;
        double xy = 0;
        double strength = 0;
        foreach ((int column, int row) in members)
        {
            EdgeField.Sums square = edges[column, row];
            xx += square.XX - square.YY;
            xy += 2.0 * square.XY;
            strength += square.Sum;
        }

        double angle = Math.Atan2(xy, xx) / 2;
        (double sin, double cos) = Math.SinCos(angle);
        (double slant, double leastAlong, double mostAlong) = Band(edges, members, sin, cos);
        (double leastAcross, double mostAcross) = (double.MaxValue, double.MinValue);
        foreach ((int column, int row) in members)
        {
            double x = (column + 0.5) * EdgeField.Square;
            double y = (row + 0.5) * EdgeField.Square;
            double across = (x * cos) + (y * sin);
            double along = (y * cos) - (x * sin) - (slant * across);
            if (along >= leastAlong && along <= mostAlong)
            {
                (leastAcross, mostAcross) = (Math.Min(leastAcross, across), Math.Max(mostAcross, across));
            }
        }

        double middleAcross = (leastAcross + mostAcross) / 2;
        double middleAlong = ((leastAlong + mostAlong) / 2) + (slant * middleAcross);
        double halfLength = ((mostAcross - leastAcross) / 2) + (EdgeField.Square / 2);
        double halfHeight = (mostAlong - leastAlong) / 2;

        // Less than four squares in the direction of reading hold no code that could be told from a rim.
        return halfLength < 2 * EdgeField.Square
            ? null
            : new BarField((middleAcross * cos) - (middleAlong * sin), (middleAcross * sin) + (middleAlong * cos), cos, sin, slant, halfLength, halfHeight, strength);
    }

    /// <summary>
    /// Where, along the bars, most of them lie: print, the card's rim and what is behind it hang together with the bars, and reach further. The slant
    /// is the one by which they lie closest together.
    /// </summary>
    private static (double Slant, double Least, double Most) Band(EdgeField edges, List<(int Column, int Row)> members, double sin, double cos)
    {
        double slant = 0;
        double[] strips = [];
        double first = 0;
        double peak = 0;
        for (int step = -MostSlant; step <= MostSlant; step++)
        {
            double tried = step / 10.0;
            (double begin, double[] own) = Strips(edges, members, sin, cos, tried);
            double most = own.Max() * (1 - (0.002 * Math.Abs(step)));
            if (most > peak)
            {
                (slant, strips, first, peak) = (tried, own, begin, most);
            }
        }

        int best = Array.IndexOf(strips, strips.Max());
        int from = best;
        int to = best;
        while (from > 0 && strips[from - 1] > strips[best] * 0.45)
        {
            from--;
        }

        while (to < strips.Length - 1 && strips[to + 1] > strips[best] * 0.45)
        {
            to++;
        }

        return (slant, first + ((from - 0.25) * EdgeField.Square), first + ((to + 1.25) * EdgeField.Square));
    }

    private static (double First, double[] Sums) Strips(EdgeField edges, List<(int Column, int Row)> members, double sin, double cos, double slant)
    {
        (double alongRow, double alongColumn) = (cos - (slant * sin), -sin - (slant * cos));
        double least = double.MaxValue;
        double most = double.MinValue;
        foreach ((int column, int row) in members)
        {
            double along = ((row + 0.5) * alongRow) + ((column + 0.5) * alongColumn);
            least = Math.Min(least, along);
            most = Math.Max(most, along);
        }

        double[] strips = new double[(int)(most - least) + 1];
        foreach ((int column, int row) in members)
        {
            strips[(int)(((row + 0.5) * alongRow) + ((column + 0.5) * alongColumn) - least)] += edges[column, row].Sum;
        }

        return (least * EdgeField.Square, strips);
    }

    /// <summary>The point so many pixels across and along the bars from the middle, on the line of reading.</summary>
    public (double X, double Y) At(double across, double along)
    {
        double aslant = along + (Slant * across);
        return (X + (across * AcrossX) - (aslant * AcrossY), Y + (across * AcrossY) + (aslant * AcrossX));
    }

    /// <summary>The rectangle around it, and around so much more at every side by its half length, within a picture.</summary>
    public PixelArea Around(double margin, int width, int height)
    {
        double across = HalfLength * (1 + margin);
        double along = HalfHeight + (HalfLength * margin);
        (double X, double Y)[] corners = [At(-across, -along), At(across, -along), At(across, along), At(-across, along)];
        int left = (int)Math.Clamp(corners.Min(corner => corner.X), 0, width - 1);
        int top = (int)Math.Clamp(corners.Min(corner => corner.Y), 0, height - 1);
        int right = (int)Math.Clamp(corners.Max(corner => corner.X), left + 1, width);
        int bottom = (int)Math.Clamp(corners.Max(corner => corner.Y), top + 1, height);
        return new PixelArea(left, top, right - left, bottom - top);
    }

    /// <summary>Values along a line across the bars, the mean of some beside each other.</summary>
    public float[] Line(GreyPicture picture, double along, double half, int width)
    {
        float[] values = new float[Math.Min((int)(half * 2 * Fineness), 16384)];
        (double x, double y) = At(-half, along);
        double stepX = (AcrossX - (Slant * AcrossY)) / Fineness;
        double stepY = (AcrossY + (Slant * AcrossX)) / Fineness;
        for (int beside = -width; beside <= width; beside++)
        {
            picture.AddAlong(x - (beside * AcrossY), y + (beside * AcrossX), stepX, stepY, values);
        }

        int rows = (2 * width) + 1;
        for (int i = 0; i < values.Length && rows > 1; i++)
        {
            values[i] /= rows;
        }

        return values;
    }

    /// <summary>The same in a picture that is larger.</summary>
    public BarField Scale(double factor) => this with { X = X * factor, Y = Y * factor, HalfLength = HalfLength * factor, HalfHeight = HalfHeight * factor };
}
