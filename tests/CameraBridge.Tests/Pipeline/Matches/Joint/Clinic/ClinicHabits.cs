namespace CameraBridge.Tests.Pipeline.Matches.Joint.Clinic;

/// <summary>
/// How a simulated clinic works. It does not work as the model believes: lateness is a mixture of its own, patients change places, rooms run late
/// as a whole, and clocks go wrong. All times in minutes (common practice, no source).
/// </summary>
internal sealed record ClinicHabits
{
    public int Rooms { get; init; } = 2;

    /// <summary>Steps planned for each room and day.</summary>
    public int Steps { get; init; } = 16;

    /// <summary>Minutes between two steps of a room.</summary>
    public double Interval { get; init; } = 20;

    /// <summary>Share of the steps that bring no sitting.</summary>
    public double NoShow { get; init; } = 0.12;

    /// <summary>Sittings in an hour and room that belong to no step.</summary>
    public double WalkIns { get; init; } = 0.2;

    /// <summary>Share of the steps that are done in another room than planned.</summary>
    public double OtherRoom { get; init; } = 0.03;

    /// <summary>Share of the sittings that change places with the next one of their room.</summary>
    public double Swaps { get; init; } = 0.03;

    /// <summary>How late an ordinary patient is in the middle.</summary>
    public double Late { get; init; } = 6;

    /// <summary>How widely ordinary patients scatter: the standard deviation of the logarithm of the time since ten minutes before the middle.</summary>
    public double Scatter { get; init; } = 0.6;

    /// <summary>Share of patients who come at any time from an hour early to two and a half hours late.</summary>
    public double Strays { get; init; } = 0.03;

    /// <summary>Standard deviation of what a room falls behind, or makes up, from one step to the next.</summary>
    public double Drag { get; init; } = 1;

    /// <summary>Share of the sittings that are identified by a label.</summary>
    public double Labels { get; init; } = 0.4;

    /// <summary>Share of the sittings whose optic or side was chosen carelessly.</summary>
    public double Careless { get; init; } = 0.03;

    /// <summary>Standard deviation of a clock that was set by hand.</summary>
    public double ClockError { get; init; } = 1;

    /// <summary>Share of camera days on which the clock is an hour off.</summary>
    public double SummerTime { get; init; } = 0.05;

    /// <summary>Share of camera days on which the clock is off by anything up to ten hours.</summary>
    public double WrongClock { get; init; } = 0.05;

    /// <summary>Drift in minutes a day.</summary>
    public double Drift { get; init; } = 0.05;
}
