namespace CameraBridge.Pipeline.Matches.Joint;

/// <summary>
/// Finds the lateness of a site: the maximum of the posterior density, which is the likelihood of the history times a prior of a clinic of which nothing is
/// known. The heavy tails of the distribution make it robust: a wrong record of some hours is an outlier and draws nothing after it.
/// </summary>
internal static class LatenessFit
{
    private const double Smallest = 1e-4;

    /// <summary>A clinic of which nothing is known: mostly some minutes late, seldom early (common practice, no source).</summary>
    public static readonly Lateness Prior = new(5, 5, 12, 4);

    /// <summary>Standard deviations of the prior: of the mode in minutes, of the others in their logarithms.</summary>
    private static readonly double[] Deviations = [5, 0.5, 0.5, 0.35];

    /// <summary>The mode moves against both scales, as a density that is shifted keeps its shoulders.</summary>
    private static readonly double[][] Directions =
    [
        [1, 0, 0, 0], [0, 1, 0, 0], [0, 0, 1, 0], [0, 0, 0, 1], [0.5, 0.5, -0.5, 0], [0, 0.5, 0.5, 0.5],
    ];

    /// <summary>Fits.</summary>
    /// <param name="minutes">Lateness of confirmed sittings; any number, none gives the prior.</param>
    public static Lateness Of(IReadOnlyList<double> minutes)
    {
        double[] start = [Prior.Mode, Math.Log(Prior.EarlyScale), Math.Log(Prior.LateScale), Math.Log(Prior.Freedom)];
        double[] best = [.. start];
        double height = LogPosterior(best);

        // A search along axes and along what two of them share, halving its steps: four smooth parameters need no derivative.
        for (double step = 1; step > Smallest; step /= 2)
        {
            bool moved = true;
            for (int round = 0; moved && round < 60; round++)
            {
                moved = false;
                foreach (double[] direction in Directions)
                {
                    moved |= TryMove(direction, step) || TryMove(direction, -step);
                }
            }
        }

        return ToLateness(best);

        bool TryMove(double[] direction, double step)
        {
            double[] tried = [.. best.Select((value, i) => value + (direction[i] * step * Deviations[i]))];
            double reached = LogPosterior(tried);
            if (reached <= height)
            {
                return false;
            }

            (best, height) = (tried, reached);
            return true;
        }

        double LogPosterior(double[] at)
        {
            double sum = 0;
            for (int i = 0; i < at.Length; i++)
            {
                double z = (at[i] - start[i]) / Deviations[i];
                sum -= z * z / 2;
            }

            Lateness lateness = ToLateness(at);
            foreach (double late in minutes)
            {
                sum += lateness.LogDensity(late);
            }

            return sum;
        }
    }

    /// <summary>At least one degree of freedom, and scales that are no point.</summary>
    private static Lateness ToLateness(double[] at) =>
        new(at[0], Math.Max(0.2, Math.Exp(at[1])), Math.Max(0.2, Math.Exp(at[2])), Math.Max(1, Math.Exp(at[3])));
}
