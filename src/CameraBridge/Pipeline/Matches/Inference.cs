using System.Globalization;
using CameraBridge.Configuration;
using CameraBridge.Persistence;
using CameraBridge.Pipeline.Matches.Clocks;
using CameraBridge.Pipeline.Matches.Joint;
using CameraBridge.Pipeline.Objects.Optics;

namespace CameraBridge.Pipeline.Matches;

/// <summary>How likely it is that a sitting belongs to a step, and why, in words.</summary>
internal sealed record Likelihood(double Probability, Reason Evidence);

/// <summary>What joint matching says of a sitting that nothing identifies.</summary>
/// <param name="Steps">The steps of the worklist by their keys.</param>
/// <param name="None">That it belongs to none of them, in words.</param>
/// <param name="FileFrom">From which probability the site has it filed; null: never.</param>
internal sealed record Inferred(IReadOnlyDictionary<(string?, string?, string?, string?, string?), Likelihood> Steps, Reason None, double? FileFrom)
{
    /// <summary>Evidence of this code stands with what was filed by inference; such a sitting proves nothing about others.</summary>
    public const string Code = "by-inference";

    public Likelihood? Of(WorklistStep step) => Steps.GetValueOrDefault(step.Key);
}

/// <summary>
/// Gathers what joint matching needs for a sitting that nothing identifies: the source's sittings of the same days, the worklist's open steps, and the habits of
/// the site as its confirmed sittings show them.
/// </summary>
internal sealed class Inference(SiteConfiguration site, IPipelineDatabase database, TimeProvider clock)
{
    /// <summary>Sittings that were opened so long before and after this one are looked at beside it.</summary>
    private static readonly TimeSpan Beside = TimeSpan.FromDays(2);

    /// <summary>No patient waits for longer; what is further away is another visit, or another clock.</summary>
    public static readonly TimeSpan LongestWait = TimeSpan.FromHours(18);

    private const int MostBeside = 60;
    private const int MostSteps = 120;
    private readonly SiteHabits _habits = new(site, database, clock);

    /// <summary>The clocks of the sources' cameras, each looked at once for many sittings.</summary>
    public SourceClocks Clocks { get; } = new(site, database, clock);

    /// <summary>Finds.</summary>
    /// <param name="sitting">The sitting.</param>
    /// <param name="circumstances">What is known of it.</param>
    /// <param name="answers">What the worklist answered.</param>
    /// <param name="cancellation">Gives the call up.</param>
    /// <returns>Null where something identifies the sitting, its time is not known, or the worklist did not answer.</returns>
    public async Task<Inferred?> FindAsync(Sitting sitting, MatchCircumstances circumstances, IReadOnlyList<WorklistAnswers> answers, CancellationToken cancellation)
    {
        if (circumstances.Identity.IsNamed || circumstances is not { First: { } first, FirstAt: { } firstAt, Arrived: { } arrived } || answers.Any(answer => answer.Failure is not null))
        {
            return null;
        }

        IReadOnlyList<SittingTime> near = await database
            .GetSittingTimesAsync(sitting.Source, sitting.OpenedAt - Beside, sitting.OpenedAt + Beside, matchedOnly: false, MostBeside, cancellation).ConfigureAwait(false);
        SittingTime[] ofDay = [.. near.Where(one => one.State != SittingState.Empty && (one.FirstTakenAt.DateTime - first.DateTime).Duration() < LongestWait)];

        // Another camera's clock is another clock: what is known of its sittings takes their steps, and tells nothing of this one's.
        SittingTime[] beside = [.. ofDay.Where(one => one.Camera == circumstances.Camera || Identified(one) is null)];
        int own = Array.FindIndex(beside, one => one.SittingId == sitting.Id);
        if (own < 0)
        {
            return null;
        }

        WorklistStep?[] filed = [.. beside.Select(Identified)];
        HashSet<(string?, string?, string?, string?, string?)> elsewhere = [.. ofDay.Except(beside).Select(Identified).OfType<WorklistStep>().Select(step => step.Key)];
        WorklistStep[] steps =
        [
            .. StepUnion.Of(answers).Where(step => !step.IsClosed).Concat(filed.OfType<WorklistStep>())
                .Where(step => step.StartDate is not null && !elsewhere.Contains(step.Key)).DistinctBy(step => step.Key)
                .OrderByDescending(step => filed.Any(one => one?.Key == step.Key))
                .ThenBy(step => (StartOf(step) - firstAt).Duration()).Take(MostSteps),
        ];
        CameraTracks tracks = await Clocks.OfAsync(sitting.Source, circumstances.Camera, mustKnow: 0, cancellation).ConfigureAwait(false);
        Habits habits = await _habits.OfAsync(sitting.Source, circumstances, tracks, cancellation).ConfigureAwait(false);
        SourceConfiguration? source = site.FindSource(sitting.Source);
        JointSitting[] sittings = new JointSitting[beside.Length];
        Optic? optic = null;
        for (int i = 0; i < beside.Length; i++)
        {
            IReadOnlyList<Cue> cues = await database.GetCuesOfSittingAsync(beside[i].SittingId, cancellation).ConfigureAwait(false);
            sittings[i] = ToSitting(beside[i], SittingTraits.Of(site.Optics, source, cues), filed[i], steps);
            optic = i == own ? SittingTraits.OpticOf(site.Optics, source, cues) : optic;
        }

        JointProblem problem = new(
            sittings,
            [.. steps.Select(step => ToStep(step, circumstances, optic, habits))],
            tracks.Before.When(first.DateTime, arrived) is { } known
                ? ClockBelief.Estimated(first.DateTime, known.OffsetSeconds / 60, known.DeviationSeconds / 60)
                : ClockBelief.Unknown(first.DateTime, habits.Parameters.Clocks),
            habits.Parameters)
        {
            ObservedUntil = LocalOf(beside[own].SettledAt, first),
        };
        Inferred inferred = ToInferred(problem, JointMatching.Solve(problem), own, steps, filed);

        // A sitting that is still open may yet show a label, and with it take the very step: until then this one is proposed and not filed.
        return beside.Any(one => one.State == SittingState.Open) ? inferred with { FileFrom = null } : inferred;
    }

    public static DateTime StartOf(WorklistStep step) => step.StartDate!.Value.ToDateTime(step.StartTime ?? new TimeOnly(12, 0));

    public static DateTime LocalOf(DateTimeOffset moment, DateTimeOffset zone) => moment.ToOffset(zone.Offset).DateTime;

    /// <summary>The step of a sitting that a cue or a person has identified; what was inferred proves nothing.</summary>
    public static WorklistStep? Identified(SittingTime sitting) =>
        sitting.StepJson is { } json && sitting.Evidence.All(reason => reason.Code != Inferred.Code) ? WorklistStep.FromJson(json) : null;

    private static JointSitting ToSitting(SittingTime sitting, JointTraits traits, WorklistStep? filed, WorklistStep[] steps) => new()
    {
        FirstPictureAt = sitting.FirstTakenAt.DateTime,
        Pictures = sitting.Pictures,
        Traits = traits,
        ArrivedAt = LocalOf(sitting.SettledAt, sitting.FirstTakenAt),
        IsIdentified = filed is not null,
        StepIndex = filed is null ? -1 : Array.FindIndex(steps, step => step.Key == filed.Key),
    };

    private static JointStep ToStep(WorklistStep step, MatchCircumstances circumstances, Optic? optic, Habits habits) => new()
    {
        ScheduledAt = StartOf(step),
        HasTime = step.StartTime is not null,
        Station = circumstances.StationAETitle is not { } station || step.StationAETitles.Count == 0 ? JointStation.Unknown
            : step.StationAETitles.Contains(station, StringComparer.Ordinal) ? JointStation.Own
            : JointStation.Other,
        Traits = SittingTraits.Of(step, optic),
        ExpectedPictures = habits.PicturesOf(step),
    };

    private Inferred ToInferred(JointProblem problem, JointResult result, int own, WorklistStep[] steps, WorklistStep?[] filed)
    {
        var likelihoods = new Dictionary<(string?, string?, string?, string?, string?), Likelihood>();
        HashSet<(string?, string?, string?, string?, string?)> taken = [.. filed.OfType<WorklistStep>().Select(step => step.Key)];
        for (int i = 0; i < steps.Length; i++)
        {
            if (!taken.Contains(steps[i].Key))
            {
                double probability = result.Pairs[own][i];
                likelihoods[steps[i].Key] = new Likelihood(probability, new Reason(Inferred.Code, Words(problem, result, own, i, probability)));
            }
        }

        return new Inferred(
            likelihoods,
            new Reason("none-of-them", $"{Percent(result.None[own])} that they belong to no step of the worklist"),
            site.Matching.Unidentified == UnidentifiedPolicy.File ? site.Matching.Threshold : null);
    }

    /// <summary>"started 8 min after the step of 10:20, station agrees, clock +3 min 12 s +/- 4 s, 94 %".</summary>
    private static string Words(JointProblem problem, JointResult result, int sitting, int step, double probability)
    {
        JointStep planned = problem.Steps[step];
        double late = (problem.Sittings[sitting].FirstPictureAt - planned.ScheduledAt).TotalMinutes - result.Clock.MeanMinutes;
        string day = planned.ScheduledAt.Date == problem.Sittings[sitting].FirstPictureAt.Date ? "HH:mm" : "yyyy-MM-dd HH:mm";
        string[] parts =
        [
            planned.HasTime
                ? string.Create(CultureInfo.InvariantCulture, $"started {Span(Math.Abs(late))} {(late < 0 ? "before" : "after")} the step of {planned.ScheduledAt.ToString(day, CultureInfo.InvariantCulture)}")
                : string.Create(CultureInfo.InvariantCulture, $"a step of {planned.ScheduledAt:yyyy-MM-dd} without time"),
            .. planned.Station switch
            {
                JointStation.Own => new[] { "station agrees" },
                JointStation.Other => ["of another station"],
                _ => [],
            },
            $"clock {(result.Clock.MeanMinutes < 0 ? "-" : "+")}{ClockSpan(Math.Abs(result.Clock.MeanMinutes))} +/- {ClockSpan(result.Clock.DeviationMinutes)}",
            Percent(probability),
        ];
        return string.Join(", ", parts);
    }

    private static string Span(double minutes) => minutes < 99.5
        ? string.Create(CultureInfo.InvariantCulture, $"{minutes:0} min")
        : string.Create(CultureInfo.InvariantCulture, $"{Math.Floor(minutes / 60):0} h {minutes % 60:0} min");

    private static string ClockSpan(double minutes)
    {
        int seconds = (int)Math.Round(Math.Min(minutes, 1e6) * 60);
        return seconds < 60
            ? string.Create(CultureInfo.InvariantCulture, $"{seconds} s")
            : string.Create(CultureInfo.InvariantCulture, $"{seconds / 60} min {seconds % 60} s");
    }

    /// <summary>Never "100 %": nothing is certain that was inferred.</summary>
    private static string Percent(double probability) => probability switch
    {
        >= 0.995 => "over 99 %",
        < 0.005 => "under 1 %",
        _ => string.Create(CultureInfo.InvariantCulture, $"{100 * probability:0} %"),
    };
}
