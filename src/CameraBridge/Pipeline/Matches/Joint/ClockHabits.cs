namespace CameraBridge.Pipeline.Matches.Joint;

/// <summary>
/// How often clocks that nobody has looked at are nearly right, an hour off, or anything: the defaults are common practice, no source; a site's history moves them. The three
/// sum to 1.
/// </summary>
/// <param name="Right">Share of those that are right to some minutes.</param>
/// <param name="HourOff">Share of those that are an hour behind or fast: summer and winter time, or a zone beside.</param>
internal sealed record ClockHabits(double Right = 0.84, double HourOff = 0.08)
{
    /// <summary>A clock nearer than this to the right time, or to an hour beside it, counts as set so, in minutes: three deviations of what is taken for right.</summary>
    private const double Near = 6;

    /// <summary>Days by which the default weighs.</summary>
    private const double Weight = 20;

    public double Anything => 1 - Right - HourOff;

    /// <summary>The shares as a site's history shows them.</summary>
    /// <param name="minutes">By how many minutes clocks were fast, one for each camera and day.</param>
    /// <param name="prior">What is taken for granted before.</param>
    public static ClockHabits Learn(IReadOnlyList<double> minutes, ClockHabits prior)
    {
        int right = minutes.Count(offset => Math.Abs(offset) <= Near);
        int hourOff = minutes.Count(offset => Math.Abs(Math.Abs(offset) - 60) <= Near);
        double all = minutes.Count + Weight;
        return new ClockHabits((right + (prior.Right * Weight)) / all, (hourOff + (prior.HourOff * Weight)) / all);
    }
}
