using CameraBridge.Pipeline.Matches.Joint;

namespace CameraBridge.Tests.Pipeline.Matches.Joint.Clinic;

/// <summary>A planned step of a simulated day.</summary>
/// <param name="Room">The room it is planned for, from 0.</param>
/// <param name="ScheduledAt">When.</param>
/// <param name="Optic">The optic it asks for.</param>
/// <param name="Side">"R", "L", "B", or null where it names none.</param>
/// <param name="Pictures">How many pictures such a step brings on average.</param>
internal sealed record ClinicStep(int Room, DateTime ScheduledAt, string Optic, string? Side, double Pictures);

/// <summary>A sitting of a simulated day, with the truth.</summary>
/// <param name="Room">The room, and so the camera, from 0.</param>
/// <param name="At">When it began.</param>
/// <param name="Step">Index of the step it belongs to; -1: none.</param>
/// <param name="Optic">The optic that was used.</param>
/// <param name="Side">"R", "L", "B" or null.</param>
/// <param name="Pictures">How many pictures were taken.</param>
/// <param name="IsLabelled">A label says whose it is.</param>
internal sealed record ClinicSitting(int Room, DateTime At, int Step, string Optic, string? Side, int Pictures, bool IsLabelled);

/// <summary>One day of a simulated clinic.</summary>
/// <param name="Date">The day.</param>
/// <param name="Steps">All rooms' steps.</param>
/// <param name="Sittings">All rooms' sittings, in the order of time.</param>
/// <param name="ClockOffsets">For each room, what its camera's clock is fast, in minutes.</param>
internal sealed record ClinicDay(DateOnly Date, IReadOnlyList<ClinicStep> Steps, IReadOnlyList<ClinicSitting> Sittings, IReadOnlyList<double> ClockOffsets)
{
    public const double Hours = 9;

    /// <summary>The sittings of one room's camera.</summary>
    public IReadOnlyList<ClinicSitting> SittingsOf(int room) => [.. Sittings.Where(sitting => sitting.Room == room)];

    /// <summary>What one room's camera shows at a time.</summary>
    public DateTime Shown(int room, DateTime at) => at.AddMinutes(ClockOffsets[room]);

    /// <summary>The problem that the program is given: one room's sittings as the camera tells them, all steps, and whose sittings labels tell.</summary>
    public JointProblem ProblemOf(int room, JointParameters parameters) => new(
        [.. SittingsOf(room).Select(sitting => new JointSitting
        {
            FirstPictureAt = Shown(room, sitting.At),
            Pictures = sitting.Pictures,
            Traits = new JointTraits(sitting.Optic, Side: sitting.Side),
            IsIdentified = sitting.IsLabelled,
            StepIndex = sitting.IsLabelled ? sitting.Step : -1,
        })],
        [.. Steps.Select(step => new JointStep
        {
            ScheduledAt = step.ScheduledAt,
            Station = step.Room == room ? JointStation.Own : JointStation.Other,
            Traits = new JointTraits(step.Optic, Side: step.Side),
            ExpectedPictures = step.Pictures,
        })],
        ClockBelief.Unknown(Date.ToDateTime(new TimeOnly(12, 0)), parameters.Clocks),
        parameters);

    /// <summary>What a site that had confirmed all of these days would know of its habits.</summary>
    public static JointHistory HistoryOf(IReadOnlyList<ClinicDay> days) => new()
    {
        LatenessMinutes = [.. days.SelectMany(day => day.Sittings.Where(sitting => sitting.Step >= 0).Select(sitting => (sitting.At - day.Steps[sitting.Step].ScheduledAt).TotalMinutes))],
        Steps = days.Sum(day => day.Steps.Count),
        NoShows = days.Sum(day => day.Steps.Count - day.Sittings.Count(sitting => sitting.Step >= 0)),
        Hours = days.Sum(day => day.ClockOffsets.Count * Hours),
        WalkIns = days.Sum(day => day.Sittings.Count(sitting => sitting.Step < 0)),
        OtherStationSteps = days.Sum(day => day.Steps.Count * (day.ClockOffsets.Count - 1)),
        OtherStationSittings = days.Sum(day => day.Sittings.Count(sitting => sitting.Step >= 0 && day.Steps[sitting.Step].Room != sitting.Room)),
        ClockMinutes = [.. days.SelectMany(day => day.ClockOffsets)],
        OpticsCompared = days.Sum(day => day.Sittings.Count(sitting => sitting.Step >= 0)),
        OpticsDiffering = days.Sum(day => day.Sittings.Count(sitting => sitting.Step >= 0 && day.Steps[sitting.Step].Optic != sitting.Optic)),
        TraitsCompared = days.Sum(day => day.Sittings.Count(sitting => sitting.Step >= 0 && sitting.Side is not null && day.Steps[sitting.Step].Side is not null)),
        TraitsDiffering = days.Sum(day => day.Sittings.Count(sitting => sitting.Step >= 0 && sitting.Side is not null && day.Steps[sitting.Step].Side is { } side && side != sitting.Side)),
    };
}
