using CameraBridge.Pipeline.Matches.Joint;

namespace CameraBridge.Pipeline.Matches.Clocks;

/// <summary>
/// A time over which nobody set a camera's clock: an offset that drifts evenly. Both are known as a normal distribution, found by summing the likelihood of the
/// witnesses over a grid that closes in on what matters.
/// </summary>
internal sealed class ClockSegment
{
    /// <summary>Standard deviation of the drift before anything is seen, in seconds a day. A quartz of 50 parts per million loses 4.3 s a day (common practice, no source).</summary>
    public const double DriftDeviation = 3;

    /// <summary>Steps or arrivals that tell a clock where no card does: fewer would be one late patient.</summary>
    private const int FewestWithoutCard = 3;

    /// <summary>Exif tells whole seconds.</summary>
    private const double SmallestDeviation = 0.5;

    private const int Points = 61, DriftPoints = 13, Rounds = 4;

    private readonly DateTime _anchor;
    private double _offset;
    private double _drift;
    private double _offsetVariance;
    private double _driftVariance;
    private double _covariance;

    /// <param name="witnesses">At least one, in the order of time.</param>
    /// <param name="near">An offset that suits them, in seconds.</param>
    /// <param name="lateness">How late the site's sittings begin.</param>
    public ClockSegment(IReadOnlyList<ClockWitness> witnesses, double near, Lateness lateness)
    {
        Witnesses = witnesses;
        First = witnesses[0].At;
        Last = witnesses[^1].At;

        // Where those that tell most are on average, offset and drift are nearly independent.
        ClockWitness[] closest = [.. witnesses.Where(witness => witness.Kind == WitnessKind.Card)];
        DateTime[] moments = [.. (closest.Length > 0 ? closest : witnesses).Select(witness => witness.At)];
        _anchor = moments[0].AddTicks((long)moments.Average(moment => (double)(moment - moments[0]).Ticks));
        Fit(near, lateness);
    }

    public IReadOnlyList<ClockWitness> Witnesses { get; }

    public DateTime First { get; }

    public DateTime Last { get; }

    /// <summary>By how many seconds it moved against the hospital's time before this, at a change to or from summer time; 0: it was set, or this is the first.</summary>
    public double DaylightSavingJump { get; init; }

    /// <summary>How the clock stood; null where too little tells it.</summary>
    /// <param name="at">The hospital's local time.</param>
    /// <param name="camera">For the record.</param>
    public ClockEstimate? At(DateTime at, string? camera)
    {
        int cards = Count(WitnessKind.Card);
        int steps = Count(WitnessKind.Step);
        int arrivals = Count(WitnessKind.Arrival);
        if (cards == 0 && steps < FewestWithoutCard && arrivals < FewestWithoutCard)
        {
            return null;
        }

        double days = (at - _anchor).TotalDays;
        double variance = _offsetVariance + (2 * days * _covariance) + (days * days * _driftVariance);
        if (cards == 0 && arrivals < FewestWithoutCard)
        {
            variance += Math.Pow(ClockPrior.DeviationBySteps(OffsetAt(at)), 2);
        }

        return new ClockEstimate
        {
            OffsetSeconds = OffsetAt(at),
            DeviationSeconds = Math.Sqrt(Math.Max(variance, SmallestDeviation * SmallestDeviation)),
            DriftSecondsADay = _drift,
            Cards = cards,
            Steps = steps,
            Arrivals = arrivals,
            Camera = camera,
        };
    }

    /// <summary>Seconds.</summary>
    public double OffsetAt(DateTime at) => _offset + (_drift * (at - _anchor).TotalDays);

    private int Count(WitnessKind kind) => Witnesses.Count(witness => witness.Kind == kind);

    private void Fit(double near, Lateness lateness)
    {
        double[] days = [.. Witnesses.Select(witness => (witness.At - _anchor).TotalDays)];
        (double middle, double half) = (near, 2400);
        (double driftMiddle, double driftHalf) = (0, 3.5 * DriftDeviation);
        for (int round = 0; round < Rounds; round++)
        {
            double step = half / (Points / 2);
            double driftStep = driftHalf / (DriftPoints / 2);
            Sum(days, lateness, middle, step, driftMiddle, driftStep);

            // A grid that is wider than its peak sees the peak in one point: it closes in until several are above it.
            (middle, half) = (_offset, Math.Max(5 * Math.Sqrt(_offsetVariance), 1.5 * step));
            (driftMiddle, driftHalf) = (_drift, Math.Max(5 * Math.Sqrt(_driftVariance), 1.5 * driftStep));
        }
    }

    private void Sum(double[] days, Lateness lateness, double middle, double step, double driftMiddle, double driftStep)
    {
        double[,] logs = new double[Points, DriftPoints];
        double most = double.NegativeInfinity;
        for (int i = 0; i < Points; i++)
        {
            for (int j = 0; j < DriftPoints; j++)
            {
                (double offset, double drift) = (Value(middle, step, i, Points), Value(driftMiddle, driftStep, j, DriftPoints));
                double log = ClockPrior.Log(offset) - (Math.Pow(drift / DriftDeviation, 2) / 2);
                for (int w = 0; w < days.Length; w++)
                {
                    log += Witnesses[w].LogLikelihood(offset + (drift * days[w]), lateness);
                }

                logs[i, j] = log;
                most = Math.Max(most, log);
            }
        }

        (double all, double sumOffset, double sumDrift, double sumOffset2, double sumDrift2, double sumBoth) = (0, 0, 0, 0, 0, 0);
        for (int i = 0; i < Points; i++)
        {
            for (int j = 0; j < DriftPoints; j++)
            {
                double weight = Math.Exp(logs[i, j] - most);
                double offset = Value(0, step, i, Points);
                double drift = Value(0, driftStep, j, DriftPoints);
                all += weight;
                sumOffset += weight * offset;
                sumDrift += weight * drift;
                sumOffset2 += weight * offset * offset;
                sumDrift2 += weight * drift * drift;
                sumBoth += weight * offset * drift;
            }
        }

        (double meanOffset, double meanDrift) = (sumOffset / all, sumDrift / all);
        (_offset, _drift) = (middle + meanOffset, driftMiddle + meanDrift);
        _offsetVariance = (sumOffset2 / all) - (meanOffset * meanOffset);
        _driftVariance = (sumDrift2 / all) - (meanDrift * meanDrift);
        _covariance = (sumBoth / all) - (meanOffset * meanDrift);
    }

    private static double Value(double middle, double step, int index, int points) => middle + ((index - (points / 2)) * step);
}
