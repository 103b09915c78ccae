using CameraBridge.Configuration;
using CameraBridge.Persistence;
using CameraBridge.Pipeline.Matches.Joint;
using CameraBridge.Pipeline.Sittings.Cues;

namespace CameraBridge.Pipeline.Matches.Clocks;

/// <summary>
/// What the state tells of the clocks of a source's cameras: clock cards, sittings whose step a label or a person has told, and arrivals of files. Each camera that
/// names itself in its pictures has a clock of its own; those that do not share one.
/// </summary>
internal sealed class SourceClocks(SiteConfiguration site, IPipelineDatabase database, TimeProvider clock)
{
    /// <summary>So far back clocks are looked at: what they did before says little of today.</summary>
    private static readonly TimeSpan LookBack = TimeSpan.FromDays(60);

    /// <summary>Sittings of so many days are matched together; what they tell of the clock is weighed there.</summary>
    private static readonly TimeSpan Together = TimeSpan.FromDays(2);

    /// <summary>Files that came within this time of each other came together, and tell no more than the one that came soonest after it was taken.</summary>
    private static readonly TimeSpan OneArrival = TimeSpan.FromMinutes(10);

    /// <summary>A day that says nothing new keeps what was found.</summary>
    private static readonly TimeSpan KnownFor = TimeSpan.FromMinutes(1);

    /// <summary>A start that is further from its step is another visit, or a clock that no lateness explains.</summary>
    private static readonly TimeSpan LongestWait = TimeSpan.FromHours(18);

    private const int MostMoments = 3000, MostSittings = 300;

    private readonly Dictionary<string, Known> _known = new(StringComparer.Ordinal);

    /// <summary>All that tells how a camera's clock went.</summary>
    /// <param name="source">Name of the source.</param>
    /// <param name="camera">See <see cref="Capture.Camera"/>.</param>
    /// <param name="mustKnow">A picture of a clock card that must be among what is looked at; 0: what was looked at lately will do.</param>
    /// <param name="cancellation">Gives the call up.</param>
    public async Task<CameraTracks> OfAsync(string source, string? camera, long mustKnow, CancellationToken cancellation)
    {
        DateTimeOffset now = clock.GetUtcNow();
        if (!_known.TryGetValue(source, out Known? known) || now - known.At > KnownFor || now < known.At || !(mustKnow == 0 || known.Moments.Any(moment => moment.CaptureId == mustKnow)))
        {
            IReadOnlyList<ClockMoment> moments = await database.GetClockMomentsAsync(source, now - LookBack, MostMoments, cancellation).ConfigureAwait(false);
            IReadOnlyList<SittingTime> filed = await database
                .GetSittingTimesAsync(source, now - LookBack, now, matchedOnly: true, MostSittings, cancellation).ConfigureAwait(false);
            known = new Known(now, moments, filed, []);
            _known[source] = known;
        }

        if (!known.Tracks.TryGetValue(camera ?? "", out CameraTracks? tracks))
        {
            tracks = Find(known, source, camera, now);
            known.Tracks[camera ?? ""] = tracks;
        }

        return tracks;
    }

    private CameraTracks Find(Known known, string source, string? camera, DateTimeOffset now)
    {
        SourceConfiguration? configured = site.FindSource(source);
        TimeZoneInfo zone = configured?.TimeZone ?? site.TimeZone;
        ClockMoment[] moments = [.. known.Moments.Where(moment => moment.Camera == camera)];
        ClockWitness[] precise = [.. Cards(moments, zone), .. Arrivals(moments, configured?.Kind ?? SourceKind.Share, zone)];
        (SittingTime Sitting, ClockWitness Witness)[] steps =
        [
            .. known.Filed.Where(sitting => sitting.Camera == camera).Select(sitting => (sitting, StepOf(sitting))).Where(pair => pair.Item2 is not null).Select(pair => (pair.sitting, pair.Item2!)),
        ];
        return new CameraTracks(
            Track([.. precise, .. steps.Select(pair => pair.Witness)]),
            Track([.. precise, .. steps.Where(pair => pair.Sitting.OpenedAt < now - Together).Select(pair => pair.Witness)]),
            [.. moments.Where(moment => moment.TakenAtOrigin != CaptureTime.FileOrigin).Select(moment => (moment.CaptureId, moment.TakenAt))]);

        ClockTrack Track(ClockWitness[] witnesses) => ClockTrack.Of(witnesses, LatenessFit.Prior, zone, camera);
    }

    private static IEnumerable<ClockWitness> Cards(ClockMoment[] moments, TimeZoneInfo zone) => moments.Where(moment => moment.Card is not null).Select(moment =>
        new ClockWitness(WitnessKind.Card, moment.TakenAt.DateTime, TimeZoneInfo.ConvertTime(moment.Card!.Value, zone).DateTime) { IsCoarse = moment.TakenAtOrigin == CaptureTime.FileOrigin });

    /// <summary>Of files that came together, the one that was taken last.</summary>
    private static IEnumerable<ClockWitness> Arrivals(ClockMoment[] moments, SourceKind kind, TimeZoneInfo zone)
    {
        ClockMoment? latest = null;
        DateTimeOffset until = DateTimeOffset.MinValue;
        foreach (ClockMoment moment in moments.OrderBy(moment => moment.SettledAt))
        {
            if (latest is not null && moment.SettledAt > until)
            {
                yield return Witness(latest);
                latest = null;
            }

            until = latest is null ? moment.SettledAt + OneArrival : until;
            latest = latest is null || moment.TakenAt.DateTime > latest.TakenAt.DateTime ? moment : latest;
        }

        if (latest is not null)
        {
            yield return Witness(latest);
        }

        ClockWitness Witness(ClockMoment moment) => new(
            kind == SourceKind.Share && moment.TakenAtOrigin != CaptureTime.FileOrigin ? WitnessKind.Arrival : WitnessKind.Stick,
            moment.TakenAt.DateTime,
            TimeZoneInfo.ConvertTime(moment.SettledAt, zone).DateTime);
    }

    private static ClockWitness? StepOf(SittingTime sitting)
    {
        if (Inference.Identified(sitting) is not { StartDate: { } day, StartTime: { } time })
        {
            return null;
        }

        DateTime planned = day.ToDateTime(time);
        DateTime shown = sitting.FirstTakenAt.DateTime;
        return (shown - planned).Duration() < LongestWait ? new ClockWitness(WitnessKind.Step, shown, planned) { IsCoarse = sitting.IsFileTime } : null;
    }

    private sealed record Known(
        DateTimeOffset At, IReadOnlyList<ClockMoment> Moments, IReadOnlyList<SittingTime> Filed, Dictionary<string, CameraTracks> Tracks);
}

/// <summary>How a camera's clock went.</summary>
/// <param name="All">By all that tells it.</param>
/// <param name="Before">Without the identified sittings of the last days, which joint matching weighs itself.</param>
/// <param name="Shown">What it showed in pictures.</param>
internal sealed record CameraTracks(ClockTrack All, ClockTrack Before, IReadOnlyList<(long CaptureId, DateTimeOffset TakenAt)> Shown);
