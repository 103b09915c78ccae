namespace CameraBridge.Pipeline.Matches.Joint;

/// <summary>The site's habits. The defaults are those of a clinic of which nothing is known (common practice, no source); a site's own history moves them.</summary>
internal sealed record JointParameters
{
    /// <summary>How late sittings begin.</summary>
    public Lateness Lateness { get; init; } = LatenessFit.Prior;

    /// <summary>Share of the open steps that bring no sitting at all, above 0 and below 1.</summary>
    public double NoShow { get; init; } = 0.12;

    /// <summary>Sittings in an hour of the day that belong to no step, above 0.</summary>
    public double WalkInsAnHour { get; init; } = 0.15;

    /// <summary>Share of the steps of another station that are done at this one all the same, above 0 and below 1.</summary>
    public double OtherStation { get; init; } = 0.03;

    /// <summary>Share of sittings whose optic or modality says nothing of their step, since it was chosen or entered carelessly, or stands for many; above 0.</summary>
    public double OpticError { get; init; } = 0.03;

    /// <summary>The same of body part and side, which somebody has said for this very sitting; above 0.</summary>
    public double TraitError { get; init; } = 0.03;

    /// <summary>Share of sittings whose number of pictures says nothing of their step; above 0.</summary>
    public double CountError { get; init; } = 0.2;

    /// <summary>How widely the number of pictures scatters around what is expected: the size parameter of a negative binomial distribution, above 0.</summary>
    public double CountSize { get; init; } = 4;

    /// <summary>How often two sittings that follow each other have changed places; 0: never.</summary>
    public double ChangedPlaces { get; init; } = 0.03;

    /// <summary>
    /// Share of sittings of which the model says nothing true, as no model holds everything that happens in a clinic: they belong to any step, or none, alike. It keeps
    /// certainty from growing beyond what such a day allows; 0: the model is the world.
    /// </summary>
    public double Unexplained { get; init; } = 0.004;

    /// <summary>How clocks stand that nobody has looked at.</summary>
    public ClockHabits Clocks { get; init; } = new();

    /// <summary>The habits as a site's history shows them; each leaves what was taken for granted only as far as there is history.</summary>
    /// <param name="history">What was confirmed.</param>
    /// <param name="prior">What is taken for granted before; null: the defaults.</param>
    public static JointParameters Learn(JointHistory history, JointParameters? prior = null)
    {
        prior ??= new JointParameters();
        return prior with
        {
            Lateness = LatenessFit.Of(history.LatenessMinutes),
            NoShow = Share(history.NoShows, history.Steps, prior.NoShow, weight: 20),
            WalkInsAnHour = (history.WalkIns + (prior.WalkInsAnHour * 20)) / (history.Hours + 20),
            OtherStation = Share(history.OtherStationSittings, history.OtherStationSteps, prior.OtherStation, weight: 40),
            OpticError = Share(history.OpticsDiffering, history.OpticsCompared, prior.OpticError, weight: 40),
            TraitError = Share(history.TraitsDiffering, history.TraitsCompared, prior.TraitError, weight: 40),
            Clocks = ClockHabits.Learn(history.ClockMinutes, prior.Clocks),
        };
    }

    private static double Share(double seen, double of, double prior, double weight) => (seen + (prior * weight)) / (of + weight);
}

/// <summary>What a site's own confirmed decisions tell of its habits. Empty: nothing is known yet.</summary>
internal sealed record JointHistory
{
    /// <summary>Minutes after the planned time at which confirmed sittings began, by the hospital's clock as well as it was known.</summary>
    public IReadOnlyList<double> LatenessMinutes { get; init; } = [];

    /// <summary>Steps of this station of which it is known whether they brought a sitting.</summary>
    public int Steps { get; init; }

    /// <summary>Those that brought none.</summary>
    public int NoShows { get; init; }

    /// <summary>Hours of the days that were looked at.</summary>
    public double Hours { get; init; }

    /// <summary>Sittings on them that belonged to no step.</summary>
    public int WalkIns { get; init; }

    /// <summary>Steps of other stations that could have been done here.</summary>
    public int OtherStationSteps { get; init; }

    /// <summary>Those that were.</summary>
    public int OtherStationSittings { get; init; }

    /// <summary>By how many minutes a camera's clock was fast, on days on which that is known.</summary>
    public IReadOnlyList<double> ClockMinutes { get; init; } = [];

    /// <summary>Confirmed pairs in which optic or modality was known on both sides.</summary>
    public int OpticsCompared { get; init; }

    /// <summary>Those in which it differed.</summary>
    public int OpticsDiffering { get; init; }

    /// <summary>Confirmed pairs in which a body part or side was known on both sides.</summary>
    public int TraitsCompared { get; init; }

    /// <summary>Those in which it differed.</summary>
    public int TraitsDiffering { get; init; }
}
