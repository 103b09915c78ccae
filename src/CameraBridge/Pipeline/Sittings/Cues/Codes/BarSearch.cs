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

    /// <summary>Lines laid over a field; where they do not tell, fewer that are broader, in which noise is averaged away.</summary>
    private static readonly int[] LineCounts = [9, 5];

    /// <summary>FNC1 is kept, as GS1 needs it.</summary>
    private static readonly Dictionary<DecodeHintType, object> Hints = new() { [DecodeHintType.ASSUME_GS1] = true };

    private readonly Code128Reader _reader = new();

    /// <summary>Reads the code in a field.</summary>
    /// <param name="picture">The picture.</param>
    /// <param name="fields">The field, as it may lie; taken one by one, until it is read.</param>
    /// <returns>Null where there is none that can be believed.</returns>
    public FoundCode? Read(GreyPicture picture, IEnumerable<BarField> fields)
    {
        // What was read in a field that lies otherwise, and is not said again, speaks against what is.
        var before = new List<string>();
        foreach (BarField field in fields)
        {
            var readings = new List<Reading>();
            foreach (int lines in LineCounts)
            {
                ReadLines(picture, field, lines, readings);
                if (Decide(field, readings, before) is { } code)
                {
                    return code;
                }
            }

            before.AddRange(readings.Select(reading => reading.Text));
        }

        return null;
    }

    private void ReadLines(GreyPicture picture, BarField field, int lines, List<Reading> readings)
    {
        double reach = field.HalfHeight / lines;
        bool any = false;
        for (int line = 0; line < lines && (any || line <= lines - LeastLines); line++)
        {
            // From the middle outwards.
            int place = (line + 1) / 2 * (line % 2 == 0 ? 1 : -1);
            if (ReadLine(picture, field, place * 2 * reach, reach) is { } reading)
            {
                readings.Add(reading);
                any = true;
            }
        }
    }

    private static FoundCode? Decide(BarField field, List<Reading> readings, List<string> before)
    {
        (string Text, Reading[] Own)[] sayings = [.. readings.GroupBy(reading => reading.Text, StringComparer.Ordinal).Select(group => (group.Key, Apart(group)))];
        if (sayings.Length == 0)
        {
            return null;
        }

        (string text, Reading[] own) = sayings.MaxBy(saying => saying.Own.Length);
        int others = readings.Count(reading => reading.Text != text) + before.Count(other => other != text);
        return own.Length >= LeastLines && own.Length >= AgainstOne * others ? new FoundCode(text, BarcodeFormat.CODE_128, Corners(field, own)) : null;
    }

    /// <summary>Those that share no row: each is a witness of its own.</summary>
    private static Reading[] Apart(IEnumerable<Reading> readings)
    {
        var apart = new List<Reading>();
        foreach (Reading reading in readings)
        {
            if (apart.All(other => Math.Abs(other.Along - reading.Along) > 0.999 * (other.Reach + reading.Reach)))
            {
                apart.Add(reading);
            }
        }

        return [.. apart];
    }

    private static (double X, double Y)[] Corners(BarField field, Reading[] readings)
    {
        // Lines that were read from behind begin at the far end.
        double from = readings.Average(reading => reading.From);
        double to = readings.Average(reading => reading.To);
        double top = Math.Min(-field.HalfHeight, readings.Min(reading => reading.Along));
        double bottom = Math.Max(field.HalfHeight, readings.Max(reading => reading.Along));
        return [field.At(from, top), field.At(to, top), field.At(to, bottom), field.At(from, bottom)];
    }

    private Reading? ReadLine(GreyPicture picture, BarField field, double along, double reach)
    {
        // Over the quiet zones at both ends.
        double half = (field.HalfLength * 1.2) + 12;

        // As broad as leaves each line rows of its own, so that a line that agrees is another witness.
        float[] values = field.Line(picture, along, half, (int)Math.Clamp(reach - 0.5, 0, 6));
        foreach (BitArray bits in Interpret(values, Math.Max(24, (int)(field.HalfLength * BarField.Fineness / 7))))
        {
            if (_reader.decodeRow(0, bits, Hints) is { } found)
            {
                (double from, double to) = Ends(found);
                return new Reading(CodeMark.TextOf(found), from - half, to - half, along, reach);
            }

            bits.reverse();
            if (_reader.decodeRow(0, bits, Hints) is { } turned)
            {
                (double from, double to) = Ends(turned);
                return new Reading(CodeMark.TextOf(turned), half - from, half - to, along, reach);
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
        double first = result.ResultPoints[0].X / BarField.Fineness;
        double last = result.ResultPoints[^1].X / BarField.Fineness;
        double module = (last - first) / (11.0 * Math.Max(1, result.RawBytes.Length - 1));
        return (first - (5.5 * module), last + (7.5 * module));
    }

    /// <summary>Which looks of a line are dark, as it may be seen: the ways that fit more lines first.</summary>
    private static IEnumerable<BitArray> Interpret(float[] values, int reach)
    {
        yield return ByExtremes(values, reach);
        yield return ByEdges(values);
        yield return ByExtremes(Sharpen(values), reach);
    }

    /// <summary>Dark is what lies below the middle between the extremes around it.</summary>
    private static BitArray ByExtremes(float[] values, int reach)
    {
        var bits = new BitArray(values.Length);
        float[] least = Sliding<Least>(values, reach);
        float[] most = Sliding<Most>(values, reach);
        for (int i = 0; i < values.Length; i++)
        {
            if (most[i] - least[i] > 16 && values[i] < (least[i] + most[i]) / 2)
            {
                bits[i] = true;
            }
        }

        return bits;
    }

    /// <summary>What is darker or lighter than its neighbours gets more so: out of focus, narrow bars and spaces are little else than grey.</summary>
    private static float[] Sharpen(float[] values)
    {
        const int Beside = 3;
        float[] sharp = [.. values];
        for (int i = Beside; i < values.Length - Beside; i++)
        {
            sharp[i] = (2 * values[i]) - ((values[i - Beside] + values[i + Beside]) / 2);
        }

        return sharp;
    }

    /// <summary>A bar begins where the light falls fastest, and ends where it rises fastest, however dark it is.</summary>
    private static BitArray ByEdges(float[] values)
    {
        var bits = new BitArray(values.Length);
        float[] slope = new float[values.Length];
        float steepest = 0;
        for (int i = BarField.Fineness; i < values.Length - BarField.Fineness; i++)
        {
            slope[i] = values[i + BarField.Fineness] - values[i - BarField.Fineness];
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
    private static float[] Sliding<TChoice>(float[] values, int reach)
        where TChoice : IChoice
    {
        int window = (2 * reach) + 1;
        int count = values.Length;
        float[] forth = new float[count];
        float[] back = new float[count];
        for (int begin = 0; begin < count; begin += window)
        {
            int end = Math.Min(begin + window, count);
            float chosen = values[begin];
            for (int i = begin; i < end; i++)
            {
                chosen = TChoice.Of(chosen, values[i]);
                forth[i] = chosen;
            }

            chosen = values[end - 1];
            for (int i = end - 1; i >= begin; i--)
            {
                chosen = TChoice.Of(chosen, values[i]);
                back[i] = chosen;
            }
        }

        float[] result = new float[count];
        for (int i = 0; i < count; i++)
        {
            int to = Math.Min(count - 1, i + reach);
            result[i] = i < reach ? forth[to] : TChoice.Of(back[i - reach], forth[to]);
        }

        return result;
    }

    /// <summary>One of two values.</summary>
    private interface IChoice
    {
        static abstract float Of(float one, float other);
    }

    private readonly struct Least : IChoice
    {
        public static float Of(float one, float other) => float.MinNative(one, other);
    }

    private readonly struct Most : IChoice
    {
        public static float Of(float one, float other) => float.MaxNative(one, other);
    }

    /// <summary>What one line said.</summary>
    /// <param name="Text">The text.</param>
    /// <param name="From">Pixels across the bars from the field's middle to where the code begins.</param>
    /// <param name="To">The same to where it ends.</param>
    /// <param name="Along">Pixels along the bars from the middle to the line.</param>
    /// <param name="Reach">Pixels to each side that are the line's own.</param>
    private readonly record struct Reading(string Text, double From, double To, double Along, double Reach);
}
