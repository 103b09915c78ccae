namespace CameraBridge.Pipeline.Matches.Joint;

/// <summary>
/// How much later than planned a sitting begins, in minutes: Student's t distribution with another scale on each side of its mode (a two-piece, or
/// split, t distribution). The scales make it skewed, since people wait longer than they come early; the degrees of freedom give it heavy tails on both
/// sides, so that one sitting that is hours off is unlikely and not impossible.
/// </summary>
/// <param name="Mode">Where the density is highest, in minutes; above 0: late.</param>
/// <param name="EarlyScale">Scale below the mode, in minutes, above 0.</param>
/// <param name="LateScale">Scale above the mode, in minutes, above 0.</param>
/// <param name="Freedom">Degrees of freedom, above 0; fewer mean heavier tails.</param>
internal sealed record Lateness(double Mode, double EarlyScale, double LateScale, double Freedom)
{
    private readonly double _peak = 2 / (EarlyScale + LateScale) * StudentPeak(Freedom);

    /// <summary>Probability per minute of being so many minutes late.</summary>
    public double Density(double minutes)
    {
        double z = (minutes - Mode) / (minutes < Mode ? EarlyScale : LateScale);
        return _peak * Math.Pow(1 + (z * z / Freedom), -(Freedom + 1) / 2);
    }

    /// <summary>Natural logarithm of <see cref="Density"/>.</summary>
    public double LogDensity(double minutes)
    {
        double z = (minutes - Mode) / (minutes < Mode ? EarlyScale : LateScale);
        return Math.Log(_peak) - ((Freedom + 1) / 2 * Math.Log(1 + (z * z / Freedom)));
    }

    /// <summary>The probability of being at most so late.</summary>
    public double Until(double minutes)
    {
        double below = EarlyScale / (EarlyScale + LateScale);
        return minutes < Mode
            ? 2 * below * StudentT.Until((minutes - Mode) / EarlyScale, Freedom)
            : below + (2 * (1 - below) * (StudentT.Until((minutes - Mode) / LateScale, Freedom) - 0.5));
    }

    /// <summary>Density of Student's t distribution at 0.</summary>
    private static double StudentPeak(double freedom) =>
        Math.Exp(StudentT.LogGamma((freedom + 1) / 2) - StudentT.LogGamma(freedom / 2)) / Math.Sqrt(freedom * Math.PI);
}
