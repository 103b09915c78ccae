using CameraBridge.Pipeline.Sittings.Cues.Labels;
using ZXing;
using ZXing.Common;
using ZXing.OneD;

namespace CameraBridge.Pipeline.Sittings.Cues.Codes;

/// <summary>
/// Reads a Code 128 along lines across its bars, however they lie. One line proves little: the only check value is modulo 103 (ISO/IEC 15417), so that
/// one misread line in a hundred would pass for a patient's ID. Several lines must say the same, and hardly one anything else.
/// </summary>
internal sealed class BarSearch
{
    /// <summary>So many must say the same.</summary>
    private const int LeastLines = 3;

    /// <summary>For each line that says something else, so many must say the same.</summary>
    private const int AgainstOne = 4;

    /// <summary>Start, four characters with the check value, stop: so many edges has the shortest label.</summary>
    private const int LeastTurns = 24;

    /// <summary>Grey levels between the light and the dark along a line.</summary>
    private const float LeastRange = 35;

    /// <summary>Looks a pixel.</summary>
    private const int Fineness = 2;

    /// <summary>Lines laid over a field; where they do not tell, fewer that are broader, in which noise is averaged away.</summary>
    private static readonly int[] LineCounts = [9, 5];

    /// <summary>FNC1 is kept, as GS1 needs it.</summary>
    private static readonly Dictionary<DecodeHintType, object> Hints = new() { [DecodeHintType.ASSUME_GS1] = true };

    private readonly Code128Reader _reader = new();

    /// <summary>Reads the code in a field.</summary>
    /// <returns>Null where there is none that can be believed.</returns>
    public FoundCode? Read(GreyPicture picture, BarField field)
    {
        // What was read before and is not said again speaks against what is.
        var before = new List<string>();
        foreach (int lines in LineCounts)
        {
            if (Read(picture, field, lines, before) is { } code)
            {
                return code;
            }
        }

        return null;
    }

    private FoundCode? Read(GreyPicture picture, BarField field, int lines, List<string> before)
    {
        var votes = new Dictionary<string, int>(StringComparer.Ordinal);
        var ends = new List<(double From, double To, double Along)>();
        string? leader = null;
        for (int line = 0; line < lines; line++)
        {
            // From the middle outwards.
            int place = (line + 1) / 2 * (line % 2 == 0 ? 1 : -1);
            double along = place * 2 * field.HalfHeight / lines;
            if (ReadLine(picture, field, along, field.HalfHeight / lines) is not { } read)
            {
                if (line >= lines - LeastLines && votes.Count == 0)
                {
                    return null;
                }

                continue;
            }

            votes[read.Text] = votes.GetValueOrDefault(read.Text) + 1;
            leader = leader is null || votes[read.Text] > votes[leader] ? read.Text : leader;
            ends.Add((read.From, read.To, along));
        }

        if (leader is null)
        {
            return null;
        }

        int most = votes[leader];
        int others = votes.Values.Sum() - most + before.Count(text => text != leader);
        before.AddRange(votes.SelectMany(vote => Enumerable.Repeat(vote.Key, vote.Value)));
        return most >= LeastLines && most >= AgainstOne * others ? new FoundCode(leader, BarcodeFormat.CODE_128, Corners(field, ends)) : null;
    }

    /// <summary>Whether lines across a field go up and down as often as those across a code do. A quick look, in the small picture.</summary>
    public static bool LooksLikeBars(GreyPicture picture, BarField field)
    {
        int alike = 0;
        for (int line = -1; line <= 1; line++)
        {
            float[] values = Line(picture, field, line * field.HalfHeight / 3, field.HalfLength, 0);
            alike += Turns(values) >= LeastTurns ? 1 : 0;
        }

        return alike >= 2;
    }

    /// <summary>How often a line turns from light to dark or back by a good part of its whole range.</summary>
    private static int Turns(float[] values)
    {
        float[] sorted = [.. values];
        Array.Sort(sorted);
        float range = sorted[^((sorted.Length / 20) + 1)] - sorted[sorted.Length / 20];
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

    private static (double X, double Y)[] Corners(BarField field, List<(double From, double To, double Along)> ends)
    {
        // Lines that were read from behind begin at the far end.
        double from = ends.Average(end => end.From);
        double to = ends.Average(end => end.To);
        double top = Math.Min(-field.HalfHeight, ends.Min(end => end.Along));
        double bottom = Math.Max(field.HalfHeight, ends.Max(end => end.Along));
        return [field.At(from, top), field.At(to, top), field.At(to, bottom), field.At(from, bottom)];
    }

    private (string Text, double From, double To)? ReadLine(GreyPicture picture, BarField field, double along, double reach)
    {
        // Over the quiet zones at both ends.
        double half = (field.HalfLength * 1.2) + 12;

        // As broad as leaves each line rows of its own, so that a line that agrees is another witness.
        float[] values = Line(picture, field, along, half, (int)Math.Clamp(reach - 0.5, 0, 6));
        foreach (bool byEdges in new[] { false, true })
        {
            BitArray bits = byEdges ? ByEdges(values) : ByExtremes(values, Math.Max(24, (int)(field.HalfLength * Fineness / 7)));
            if (_reader.decodeRow(0, bits, Hints) is { } found)
            {
                (double from, double to) = Ends(found);
                return (CodeMark.TextOf(found), from - half, to - half);
            }

            bits.reverse();
            if (_reader.decodeRow(0, bits, Hints) is { } turned)
            {
                (double from, double to) = Ends(turned);
                return (CodeMark.TextOf(turned), half - from, half - to);
            }
        }

        return null;
    }

    /// <summary>
    /// Where the code begins and ends. The library tells the middle of the start and, but for its last bar, of the stop character; each character has 11
    /// modules and the stop two more (ISO/IEC 15417, 4.2; number from memory).
    /// </summary>
    private static (double From, double To) Ends(Result result)
    {
        double first = result.ResultPoints[0].X / Fineness;
        double last = result.ResultPoints[^1].X / Fineness;
        double module = (last - first) / (11.0 * Math.Max(1, result.RawBytes.Length - 1));
        return (first - (5.5 * module), last + (7.5 * module));
    }

    /// <summary>Values along a line across the bars, the mean of some beside each other.</summary>
    private static float[] Line(GreyPicture picture, BarField field, double along, double half, int width)
    {
        float[] values = new float[Math.Min((int)(half * 2 * Fineness), 16384)];
        for (int i = 0; i < values.Length; i++)
        {
            (double x, double y) = field.At((i / (double)Fineness) - half, along);
            float sum = 0;
            for (int beside = -width; beside <= width; beside++)
            {
                sum += picture.At(x - (beside * field.AcrossY), y + (beside * field.AcrossX));
            }

            values[i] = sum / ((2 * width) + 1);
        }

        return values;
    }

    /// <summary>Dark is what lies below the middle between the extremes around it.</summary>
    private static BitArray ByExtremes(float[] values, int reach)
    {
        var bits = new BitArray(values.Length);
        float[] least = Sliding(values, reach, Math.Min);
        float[] most = Sliding(values, reach, Math.Max);
        for (int i = 0; i < values.Length; i++)
        {
            if (most[i] - least[i] > 16 && values[i] < (least[i] + most[i]) / 2)
            {
                bits[i] = true;
            }
        }

        return bits;
    }

    /// <summary>A bar begins where the light falls fastest, and ends where it rises fastest, however dark it is.</summary>
    private static BitArray ByEdges(float[] values)
    {
        var bits = new BitArray(values.Length);
        float[] slope = new float[values.Length];
        float steepest = 0;
        for (int i = Fineness; i < values.Length - Fineness; i++)
        {
            slope[i] = values[i + Fineness] - values[i - Fineness];
            steepest = Math.Max(steepest, Math.Abs(slope[i]));
        }

        // The steepest place of each run of one sign, where it is steep enough; of two of the same sign in a row the steeper.
        var edges = new List<int>();
        for (int begin = 0, end; begin < values.Length; begin = end)
        {
            int best = begin;
            for (end = begin + 1; end < values.Length && Math.Sign(slope[end]) == Math.Sign(slope[begin]); end++)
            {
                best = Math.Abs(slope[end]) > Math.Abs(slope[best]) ? end : best;
            }

            if (Math.Abs(slope[best]) < steepest * 0.12f)
            {
                continue;
            }

            if (edges.Count == 0 || Math.Sign(slope[edges[^1]]) != Math.Sign(slope[best]))
            {
                edges.Add(best);
            }
            else if (Math.Abs(slope[edges[^1]]) < Math.Abs(slope[best]))
            {
                edges[^1] = best;
            }
        }

        for (int i = 0; i < edges.Count - 1; i++)
        {
            for (int at = edges[i]; slope[edges[i]] < 0 && at < edges[i + 1]; at++)
            {
                bits[at] = true;
            }
        }

        return bits;
    }

    /// <summary>The least or greatest value within reach of each place (van Herk 1992, from memory).</summary>
    private static float[] Sliding(float[] values, int reach, Func<float, float, float> choose)
    {
        int window = (2 * reach) + 1;
        int count = values.Length;
        float[] forth = new float[count];
        float[] back = new float[count];
        for (int i = 0; i < count; i++)
        {
            forth[i] = i % window == 0 ? values[i] : choose(forth[i - 1], values[i]);
        }

        for (int i = count - 1; i >= 0; i--)
        {
            back[i] = i == count - 1 || i % window == window - 1 ? values[i] : choose(back[i + 1], values[i]);
        }

        float[] result = new float[count];
        for (int i = 0; i < count; i++)
        {
            int from = Math.Max(0, i - reach);
            int to = Math.Min(count - 1, i + reach);
            result[i] = i < reach ? forth[to] : choose(back[from], forth[to]);
        }

        return result;
    }
}
