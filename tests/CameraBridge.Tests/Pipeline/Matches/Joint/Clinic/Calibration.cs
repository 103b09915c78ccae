using CameraBridge.Pipeline.Matches.Joint;

namespace CameraBridge.Tests.Pipeline.Matches.Joint.Clinic;

/// <summary>A statement of joint matching beside the truth.</summary>
/// <param name="Probability">What it said.</param>
/// <param name="IsRight">Whether it was so.</param>
internal readonly record struct Statement(double Probability, bool IsRight);

/// <summary>What a threshold comes to: how many of the sittings that are not identified would be filed, and how many of those under a wrong step.</summary>
internal sealed record ThresholdPoint(double Threshold, int Sittings, int Filed, int Wrong)
{
    public double FiledShare => (double)Filed / Math.Max(1, Sittings);

    public double WrongShare => (double)Wrong / Math.Max(1, Filed);
}

/// <summary>Holds the probabilities of joint matching against the truth of simulated days.</summary>
internal sealed class Calibration
{
    private readonly List<Statement> _pairs = [];
    private readonly List<Statement> _best = [];

    /// <summary>Every pairing of at least one in a thousand, and every "none of them".</summary>
    public IReadOnlyList<Statement> Pairs => _pairs;

    /// <summary>For each sitting that is not identified the step that is likeliest.</summary>
    public IReadOnlyList<Statement> Best => _best;

    /// <summary>Adds one room's day.</summary>
    public void Add(ClinicDay day, int room, JointResult result)
    {
        IReadOnlyList<ClinicSitting> sittings = day.SittingsOf(room);
        for (int i = 0; i < sittings.Count; i++)
        {
            if (sittings[i].IsLabelled)
            {
                continue;
            }

            _pairs.AddRange(result.Pairs[i].Select((probability, step) => new Statement(probability, sittings[i].Step == step)).Where(pair => pair.Probability >= 0.001));
            _pairs.Add(new Statement(result.None[i], sittings[i].Step < 0));
            (double best, int bestStep) = result.Pairs[i].Select((probability, step) => (probability, step)).DefaultIfEmpty((0, -2)).MaxBy(pair => pair.Item1);
            _best.Add(new Statement(best, sittings[i].Step == bestStep));
        }
    }

    /// <summary>The expected calibration error: by how much what was said and what was so differ, on average over twenty bins of equal width.</summary>
    public static double Error(IReadOnlyCollection<Statement> statements) => statements
        .GroupBy(statement => Math.Min(19, (int)(statement.Probability * 20)))
        .Sum(bin => Math.Abs(bin.Average(statement => statement.Probability) - bin.Average(statement => statement.IsRight ? 1.0 : 0.0)) * bin.Count() / statements.Count);

    /// <summary>How many of the statements from one probability to another were right.</summary>
    public static (int Count, double Right) Between(IReadOnlyCollection<Statement> statements, double from, double to)
    {
        Statement[] within = [.. statements.Where(statement => statement.Probability >= from && statement.Probability < to)];
        return (within.Length, within.Length == 0 ? double.NaN : within.Average(statement => statement.IsRight ? 1.0 : 0.0));
    }

    /// <summary>What filing at a threshold would come to.</summary>
    public ThresholdPoint At(double threshold)
    {
        Statement[] filed = [.. _best.Where(best => best.Probability >= threshold)];
        return new ThresholdPoint(threshold, _best.Count, filed.Length, filed.Count(best => !best.IsRight));
    }
}
