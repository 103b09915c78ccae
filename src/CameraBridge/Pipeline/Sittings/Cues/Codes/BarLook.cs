namespace CameraBridge.Pipeline.Sittings.Cues.Codes;

/// <summary>Tells bars from hair, leaves and print in a field of edges, and how the line of reading lies. A quick look, in the small picture.</summary>
internal static class BarLook
{
    /// <summary>Start, four characters with the check value, stop: so many edges has the shortest label.</summary>
    private const int LeastTurns = 24;

    /// <summary>Grey levels between the light and the dark along a line.</summary>
    private const float LeastRange = 35;

    /// <summary>Correlation of two lines across the same bars, at the least.</summary>
    private const double LeastLikeness = 0.5;

    /// <summary>Looks by which one of them may be moved.</summary>
    private const int MostShift = 3 * BarField.Fineness;

    /// <summary>Where the lines are more alike than this, the field lies as the bars do.</summary>
    private const double Alike = 0.9;

    /// <summary>
    /// Whether lines across a field go up and down as often as those across a code do, and alike, as bars make them do. Where they do not, the line of
    /// reading may lie otherwise than the edges told, since print and the card's rim hang together with the bars: then it is sought.
    /// </summary>
    /// <returns>The field as the lines are most alike, and as it was where that is not the same; none where it is not of bars.</returns>
    public static IReadOnlyList<BarField> Align(GreyPicture picture, BarField field)
    {
        double best = Likeness(picture, field);
        BarField aligned = field;
        for (int tenths = -BarField.MostSlant; best is >= LeastLikeness and < Alike && tenths <= BarField.MostSlant; tenths++)
        {
            BarField tried = field with { Slant = tenths / 10.0 };
            double likeness = Likeness(picture, tried);
            if (likeness > best)
            {
                (best, aligned) = (likeness, tried);
            }
        }

        return best < LeastLikeness ? [] : aligned == field ? [field] : [aligned, field];
    }

    /// <summary>How alike the outer ones of those lines are that turn often enough: 0 where fewer than two of three do.</summary>
    private static double Likeness(GreyPicture picture, BarField field)
    {
        var lines = new List<float[]>();
        for (int line = -1; line <= 1; line++)
        {
            float[] values = field.Line(picture, line * field.HalfHeight / 3, field.HalfLength, 0);
            if (Turns(values) >= LeastTurns)
            {
                lines.Add(values);
            }
        }

        return lines.Count >= 2 ? Likeness(lines[0], lines[^1]) : 0;
    }

    /// <summary>The best correlation of two lines, one moved along the other by a few pixels: a field's direction is known to some degrees only.</summary>
    private static double Likeness(float[] one, float[] other)
    {
        double best = 0;
        for (int shift = -MostShift; shift <= MostShift; shift++)
        {
            best = Math.Max(best, Correlation(one.AsSpan(Math.Max(0, shift), one.Length - Math.Abs(shift)), other.AsSpan(Math.Max(0, -shift), one.Length - Math.Abs(shift))));
        }

        return best;
    }

    private static double Correlation(ReadOnlySpan<float> one, ReadOnlySpan<float> other)
    {
        (double sumOne, double sumOther, double squaresOne, double squaresOther, double products) = (0, 0, 0, 0, 0);
        for (int i = 0; i < one.Length; i++)
        {
            sumOne += one[i];
            sumOther += other[i];
            squaresOne += one[i] * one[i];
            squaresOther += other[i] * other[i];
            products += one[i] * other[i];
        }

        double spreads = (squaresOne - (sumOne * sumOne / one.Length)) * (squaresOther - (sumOther * sumOther / one.Length));
        return spreads > 0 ? (products - (sumOne * sumOther / one.Length)) / Math.Sqrt(spreads) : 0;
    }

    /// <summary>How often a line turns from light to dark or back by a good part of its whole range.</summary>
    private static int Turns(float[] values)
    {
        int outer = values.Length / 20;
        float range = InOrder(values, values.Length - 1 - outer) - InOrder(values, outer);
        if (range < LeastRange)
        {
            return 0;
        }

        int turns = 0;
        float extreme = values[0];
        bool rising = true;
        foreach (float value in values)
        {
            if (rising ? value > extreme : value < extreme)
            {
                extreme = value;
            }
            else if (Math.Abs(value - extreme) > range * 0.22f)
            {
                turns++;
                rising = !rising;
                extreme = value;
            }
        }

        return turns;
    }

    /// <summary>The value that would stand at a place, were they in order: only those of its grey level are sorted.</summary>
    private static float InOrder(ReadOnlySpan<float> values, int place)
    {
        Span<int> counts = stackalloc int[256];
        counts.Clear();
        foreach (float value in values)
        {
            counts[(byte)value]++;
        }

        int level = 0;
        for (; place >= counts[level]; level++)
        {
            place -= counts[level];
        }

        float[] same = new float[counts[level]];
        int taken = 0;
        foreach (float value in values)
        {
            if ((byte)value == level)
            {
                same[taken++] = value;
            }
        }

        Array.Sort(same);
        return same[place];
    }
}
