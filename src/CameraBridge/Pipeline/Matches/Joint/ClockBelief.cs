namespace CameraBridge.Pipeline.Matches.Joint;

/// <summary>One way in which a clock may stand: normally distributed around a value.</summary>
/// <param name="Share">How likely it is, 0 to 1.</param>
/// <param name="MeanMinutes">What the clock shows minus what the time is, in minutes.</param>
/// <param name="DeviationMinutes">Standard deviation, above 0.</param>
internal sealed record ClockGuess(double Share, double MeanMinutes, double DeviationMinutes);

/// <summary>What is known of a camera's clock before the sittings are looked at. The shares of all guesses and of the open range sum to 1.</summary>
/// <param name="At">The instant, by the camera's clock, at which the offsets hold; from there the clock drifts.</param>
/// <param name="Guesses">Ways in which the clock may stand.</param>
internal sealed record ClockBelief(DateTime At, IReadOnlyList<ClockGuess> Guesses)
{
    /// <summary>How likely it is that it stands anywhere between <see cref="OpenFrom"/> and <see cref="OpenTo"/>.</summary>
    public double OpenShare { get; init; }

    /// <summary>Minutes.</summary>
    public double OpenFrom { get; init; }

    /// <summary>Minutes.</summary>
    public double OpenTo { get; init; }

    /// <summary>Standard deviation of the drift, in minutes a day. A quartz of 50 parts per million loses 4.3 s a day.</summary>
    public double DriftDeviation { get; init; } = 0.05;

    /// <summary>
    /// A clock that nobody has looked at: mostly right to some minutes, sometimes in summer instead of winter time or a zone beside, now and then set to
    /// anything.
    /// </summary>
    public static ClockBelief Unknown(DateTime at, ClockHabits? habits = null)
    {
        ClockHabits shares = habits ?? new ClockHabits();
        return new ClockBelief(at, [new(shares.Right, 0, 2), new(shares.HourOff / 2, 60, 2), new(shares.HourOff / 2, -60, 2)])
        {
            OpenShare = shares.Anything,
            OpenFrom = -780,
            OpenTo = 780,
        };
    }

    /// <summary>A clock that was estimated from something else; it may have been set anew since (shares: common practice, no source).</summary>
    public static ClockBelief Estimated(DateTime at, double meanMinutes, double deviationMinutes) => new(
        at, [new(0.95, meanMinutes, deviationMinutes), new(0.015, meanMinutes + 60, deviationMinutes), new(0.015, meanMinutes - 60, deviationMinutes)])
    {
        OpenShare = 0.02,
        OpenFrom = meanMinutes - 780,
        OpenTo = meanMinutes + 780,
    };
}

/// <summary>One state of the clock to be tried: an offset at <see cref="ClockBelief.At"/>, a drift, and how likely both are together.</summary>
/// <param name="Offset">Minutes.</param>
/// <param name="Drift">Minutes a day.</param>
/// <param name="Weight">All weights of a belief sum to 1.</param>
internal readonly record struct ClockState(double Offset, double Drift, double Weight);

/// <summary>Puts a grid over what a clock may be, so that a sum over states stands for the integral.</summary>
internal static class ClockGrid
{
    /// <summary>The states to be summed over; at least one.</summary>
    public static IReadOnlyList<ClockState> Of(JointProblem problem)
    {
        ClockBelief belief = problem.Clock;
        Lateness lateness = problem.Parameters.Lateness;

        // Many sittings tell the clock more closely than one does.
        double resolution = Math.Clamp(Math.Min(lateness.EarlyScale, lateness.LateScale) / Math.Sqrt(Math.Max(1, problem.Sittings.Count)), 0.5, 5);
        double days = problem.Sittings.Select(sitting => Math.Abs((sitting.FirstPictureAt - belief.At).TotalDays)).DefaultIfEmpty().Max();
        var states = new List<ClockState>();
        foreach (ClockGuess guess in belief.Guesses)
        {
            // The trapezoidal rule over a normal density errs by exp(-2 pi^2 (deviation / spacing)^2): one deviation is close enough, if the likelihood is smooth.
            double spacing = Math.Min(guess.DeviationMinutes, resolution);
            int reach = (int)Math.Ceiling(4.5 * guess.DeviationMinutes / spacing);
            double[] weights = [.. Enumerable.Range(-reach, (2 * reach) + 1).Select(k => Math.Exp(-Math.Pow(k * spacing / guess.DeviationMinutes, 2) / 2))];
            double all = weights.Sum();
            for (int k = -reach; k <= reach; k++)
            {
                AddWithDrift(states, belief, guess.MeanMinutes + (k * spacing), guess.Share * weights[k + reach] / all, resolution, days);
            }
        }

        int open = belief.OpenShare > 0 ? Math.Max(1, (int)Math.Ceiling((belief.OpenTo - belief.OpenFrom) / resolution)) : 0;
        for (int k = 0; k < open; k++)
        {
            double offset = belief.OpenFrom + ((k + 0.5) * (belief.OpenTo - belief.OpenFrom) / open);
            states.Add(new ClockState(offset, 0, belief.OpenShare / open));
        }

        return states;
    }

    /// <summary>Three points of Gauss-Hermite quadrature (Abramowitz and Stegun, Table 25.10) stand for the drift, one where it moves nothing.</summary>
    private static void AddWithDrift(List<ClockState> states, ClockBelief belief, double offset, double weight, double resolution, double days)
    {
        if (belief.DriftDeviation * days < resolution / 10)
        {
            states.Add(new ClockState(offset, 0, weight));
            return;
        }

        double outer = Math.Sqrt(3) * belief.DriftDeviation;
        states.Add(new ClockState(offset, 0, weight * 2 / 3));
        states.Add(new ClockState(offset, -outer, weight / 6));
        states.Add(new ClockState(offset, outer, weight / 6));
    }
}
