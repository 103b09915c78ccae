using CameraBridge.Pipeline.Matches.Joint;

namespace CameraBridge.Pipeline.Matches.Clocks;

/// <summary>How a clock stands that nobody has looked at.</summary>
internal static class ClockPrior
{
    private const double Century = 100 * 365.25 * 86_400;

    /// <summary>Share of clocks that were reset to the year in which they were made, or to any other (common practice, no source).</summary>
    private const double YearsOff = 0.001;

    private static readonly ClockBelief Unknown = ClockBelief.Unknown(default);

    /// <summary>Logarithm of the density per second: <see cref="ClockBelief.Unknown"/>, and anything within a century.</summary>
    /// <param name="offset">Seconds; above 0: fast.</param>
    public static double Log(double offset)
    {
        double density = YearsOff / Century;
        foreach (ClockGuess guess in Unknown.Guesses)
        {
            double z = (offset - (60 * guess.MeanMinutes)) / (60 * guess.DeviationMinutes);
            density += guess.Share * Math.Exp(-z * z / 2) / (60 * guess.DeviationMinutes * Math.Sqrt(2 * Math.PI));
        }

        bool isOpen = offset / 60 >= Unknown.OpenFrom && offset / 60 <= Unknown.OpenTo;
        return Math.Log(density + (isOpen ? Unknown.OpenShare / (60 * (Unknown.OpenTo - Unknown.OpenFrom)) : 0));
    }

    /// <summary>
    /// How widely a clock is known at best, in seconds, where sittings of known steps alone tell it: a site that is late by habit looks like a clock that is fast, but for
    /// that clocks are mostly nearly right, or right by the hour.
    /// </summary>
    /// <param name="offset">Seconds.</param>
    public static double DeviationBySteps(double offset) =>
        Unknown.Guesses.Any(guess => Math.Abs(offset - (60 * guess.MeanMinutes)) < 3 * 60 * guess.DeviationMinutes) ? 60 * Unknown.Guesses[0].DeviationMinutes : 300;
}
