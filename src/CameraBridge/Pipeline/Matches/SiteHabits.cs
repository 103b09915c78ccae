using CameraBridge.Configuration;
using CameraBridge.Persistence;
using CameraBridge.Pipeline.Matches.Clocks;
using CameraBridge.Pipeline.Matches.Joint;

namespace CameraBridge.Pipeline.Matches;

/// <summary>What a site's history tells of its habits.</summary>
/// <param name="Parameters">For joint matching.</param>
/// <param name="Pictures">How many pictures steps of a name bring, and of any name under ""; empty where too little is known.</param>
internal sealed record Habits(JointParameters Parameters, IReadOnlyDictionary<string, double> Pictures)
{
    /// <summary>Null where it is not known.</summary>
    public double? PicturesOf(WorklistStep step) =>
        Pictures.TryGetValue(SittingTraits.NameOf(step), out double own) || Pictures.TryGetValue("", out own) ? own : null;
}

/// <summary>
/// Learns the habits of a source from what was confirmed there: by a label or a person. What was inferred proves nothing. Each habit leaves what is taken for granted only as
/// far as there is history.
/// </summary>
internal sealed class SiteHabits(SiteConfiguration site, IPipelineDatabase database, TimeProvider clock)
{
    private static readonly TimeSpan History = TimeSpan.FromDays(180);

    /// <summary>What nobody has assigned by then belongs to no step, and a step that has brought nothing by then brings nothing.</summary>
    private static readonly TimeSpan Decided = TimeSpan.FromDays(14);

    /// <summary>Habits change slowly.</summary>
    private static readonly TimeSpan LearnedFor = TimeSpan.FromHours(1);

    /// <summary>
    /// A camera takes many optics, and its source names the usual one: how often the order's modality is another is for the site's history to show, unless the site
    /// demands that they agree.
    /// </summary>
    private const double OtherOptic = 0.3;

    private const int MostSittings = 500, MostInquiries = 200, FewestForPictures = 10;

    /// <summary>Sittings by which the mean of all steps weighs in that of a name.</summary>
    private const double PicturesWeight = 3;

    private readonly Dictionary<(string, string?), (DateTimeOffset At, Habits Habits)> _learned = [];

    /// <summary>Learns, or knows yet.</summary>
    public async Task<Habits> OfAsync(string source, MatchCircumstances circumstances, CameraTracks tracks, CancellationToken cancellation)
    {
        DateTimeOffset now = clock.GetUtcNow();
        if (_learned.TryGetValue((source, circumstances.Camera), out (DateTimeOffset At, Habits Habits) known) && now - known.At < LearnedFor)
        {
            return known.Habits;
        }

        IReadOnlyList<SittingTime> sittings = await database
            .GetSittingTimesAsync(source, now - History, now, matchedOnly: false, MostSittings, cancellation).ConfigureAwait(false);
        IReadOnlyList<PastInquiry> inquiries = await database
            .GetInquiriesAsync(source, now - History, now - Decided, MostInquiries, cancellation).ConfigureAwait(false);
        (SittingTime Sitting, WorklistStep Step)[] confirmed =
        [
            .. sittings.Where(sitting => sitting.State == SittingState.Matched).Select(sitting => (sitting, Inference.Identified(sitting)))
                .Where(pair => pair.Item2 is not null).Select(pair => (pair.sitting, pair.Item2!)),
        ];
        WorklistStep[] compared = [.. confirmed.Select(pair => pair.Step).Where(step => step.Modality is not null && circumstances.Modality is not null)];
        JointHistory history = WithRates(
            new JointHistory
            {
                LatenessMinutes = [.. confirmed.Select(pair => Lateness(pair.Sitting, pair.Step, pair.Sitting.Camera == circumstances.Camera ? tracks.All : null)).OfType<double>()],
                OpticsCompared = compared.Length,
                OpticsDiffering = compared.Count(step => step.Modality != circumstances.Modality),
            },
            sittings,
            confirmed,
            inquiries,
            circumstances,
            now);
        JointParameters defaults = new();
        JointParameters parameters = JointParameters.Learn(history, defaults with { OpticError = circumstances.RequireModality ? defaults.OpticError : OtherOptic });
        parameters = parameters with { Clocks = ClockHabits.Learn(ClockMinutes(confirmed, parameters.Lateness.Mode), defaults.Clocks) };
        Habits habits = new(parameters, PicturesOf(confirmed));
        _learned[(source, circumstances.Camera)] = (now, habits);
        return habits;
    }

    /// <summary>
    /// Minutes, by the camera's clock or, where that is known, by the hospital's; null where the step has no time, or it was another day or another clock.
    /// </summary>
    private static double? Lateness(SittingTime sitting, WorklistStep step, ClockTrack? track)
    {
        if (step is not { StartDate: not null, StartTime: not null })
        {
            return null;
        }

        DateTime shown = sitting.FirstTakenAt.DateTime;
        ClockEstimate? known = track?.When(shown, Inference.LocalOf(sitting.SettledAt, sitting.FirstTakenAt));
        TimeSpan late = shown - Inference.StartOf(step) - (known is { CorrectsTimes: true } ? known.Offset : TimeSpan.Zero);
        return late.Duration() < Inference.LongestWait ? late.TotalMinutes : null;
    }

    /// <summary>By how many minutes the clocks of days seem fast on which at least two sittings are confirmed: the middle of them, less how late sittings usually are.</summary>
    private static double[] ClockMinutes(IEnumerable<(SittingTime Sitting, WorklistStep Step)> confirmed, double usual) =>
    [
        .. confirmed.Select(pair => (pair.Sitting.Camera, Day: pair.Sitting.FirstTakenAt.Date, Late: Lateness(pair.Sitting, pair.Step, null)))
            .Where(one => one.Late is not null).GroupBy(one => (one.Camera, one.Day), one => one.Late!.Value).Select(day => day.Order().ToArray())
            .Where(day => day.Length > 1).Select(day => ((day[(day.Length - 1) / 2] + day[day.Length / 2]) / 2) - usual),
    ];

    private static Dictionary<string, double> PicturesOf((SittingTime Sitting, WorklistStep Step)[] confirmed)
    {
        (string Name, int Pictures)[] counted = [.. confirmed.Where(pair => pair.Sitting.Pictures > 0).Select(pair => (SittingTraits.NameOf(pair.Step), pair.Sitting.Pictures))];
        if (counted.Length < FewestForPictures)
        {
            return [];
        }

        double mean = counted.Average(one => one.Pictures);
        Dictionary<string, double> means = counted.GroupBy(one => one.Name, one => (double)one.Pictures, StringComparer.Ordinal)
            .ToDictionary(name => name.Key, name => (name.Sum() + (mean * PicturesWeight)) / (name.Count() + PicturesWeight), StringComparer.Ordinal);
        means[""] = mean;
        return means;
    }

    /// <summary>How many steps of the station brought nothing, and how many sittings belonged to none, on days of which everything is decided.</summary>
    private JointHistory WithRates(
        JointHistory history,
        IReadOnlyList<SittingTime> sittings,
        (SittingTime Sitting, WorklistStep Step)[] confirmed,
        IReadOnlyList<PastInquiry> inquiries,
        MatchCircumstances circumstances,
        DateTimeOffset now)
    {
        TimeZoneInfo zone = site.TimeZone;
        var days = inquiries.GroupBy(inquiry => DateOnly.FromDateTime(TimeZoneInfo.ConvertTime(inquiry.DecidedAt, zone).DateTime))
            .ToDictionary(day => day.Key, day => day.SelectMany(inquiry => Inquiry.ReadBroad(inquiry.Inquiry)).ToArray());
        HashSet<(string?, string?, string?, string?, string?)> done = [.. confirmed.Select(pair => pair.Step.Key)];
        int steps = 0;
        int noShows = 0;
        int walkIns = 0;
        double hours = 0;
        foreach ((DateOnly day, WorklistStep[] asked) in days.Where(day => day.Value.Length > 0))
        {
            WorklistStep[] own =
            [
                .. asked.Concat(confirmed.Select(pair => pair.Step)).Where(step => step.StartDate == day
                    && (circumstances.StationAETitle is not { } station || step.StationAETitles.Contains(station, StringComparer.Ordinal))).DistinctBy(step => step.Key),
            ];
            SittingTime[] ofDay = [.. sittings.Where(sitting => DateOnly.FromDateTime(sitting.FirstTakenAt.DateTime) == day && sitting.OpenedAt < now - Decided)];
            if (own.Length == 0 || ofDay.Length == 0 || ofDay.Any(sitting => sitting.State == SittingState.Open))
            {
                continue;
            }

            steps += own.Length;
            noShows += own.Count(step => !done.Contains(step.Key));
            walkIns += ofDay.Count(sitting => sitting.State == SittingState.Held);
            hours += (ofDay.Max(sitting => sitting.FirstTakenAt) - ofDay.Min(sitting => sitting.FirstTakenAt)).TotalHours + 1;
        }

        return history with { Steps = steps, NoShows = noShows, WalkIns = walkIns, Hours = hours };
    }
}
