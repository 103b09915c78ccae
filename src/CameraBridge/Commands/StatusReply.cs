using System.Globalization;
using CameraBridge.Configuration;
using CameraBridge.Persistence;
using CameraBridge.Pipeline;
using CameraBridge.Pipeline.Deliveries;
using CameraBridge.Pipeline.Releases;

namespace CameraBridge.Commands;

/// <summary>What waits for one destination.</summary>
internal sealed record DestinationStatus(string Name, int Waiting, int Ended, int Unconfirmed, DateTimeOffset? OldestSince, string? Outcome)
{
    /// <summary>What waits and how long that may take, in words.</summary>
    public string Queue { get; init; } = "empty";

    /// <summary>Seconds until the queue is empty; null when that cannot be told.</summary>
    public double? SecondsLeft { get; init; }
}

/// <summary>How a site stands: what lies on its sources, what waits for its destinations, what is held. Numbers and names of sources only, no patient.</summary>
internal sealed record StatusReply
{
    public required DateTimeOffset At { get; init; }

    public IReadOnlyList<SourceSurvey> Sources { get; init; } = [];

    public IReadOnlyList<DestinationStatus> Destinations { get; init; } = [];

    /// <summary>Sittings that wait for a person, or have pictures that do.</summary>
    public int Held { get; init; }

    /// <summary>Bytes free where the spool is; null when that cannot be told.</summary>
    public long? SpoolFreeBytes { get; init; }

    public int ExitCode => ExitCodes.Of(
        anyHeld: Held > 0, anyUndelivered: Destinations.Any(destination => destination.Waiting + destination.Ended + destination.Unconfirmed > 0));

    /// <summary>Looks at the state and, where there are some, at the sources' folders.</summary>
    /// <param name="site">The site.</param>
    /// <param name="sources">Which sources.</param>
    /// <param name="database">The state.</param>
    /// <param name="thorough">Compare every file by content.</param>
    /// <param name="clock">Clock.</param>
    /// <param name="cancellation">Gives up.</param>
    public static async Task<StatusReply> ReadAsync(
        SiteConfiguration site, IReadOnlyList<SourceConfiguration> sources, IPipelineDatabase database, bool thorough, TimeProvider clock, CancellationToken cancellation)
    {
        List<SourceSurvey> surveys = [];
        foreach (SourceConfiguration source in sources)
        {
            IReadOnlyList<CaptureStanding> standings = await database.GetStandingsAsync(source.Name, cancellation).ConfigureAwait(false);
            surveys.AddRange(await Task.Run(() => SourceSurvey.Of(source, standings, thorough, cancellation), cancellation).ConfigureAwait(false));
        }

        IReadOnlyList<Undelivered> undelivered = await database.GetUndeliveredAsync(null, null, cancellation).ConfigureAwait(false);
        IReadOnlyList<Unconfirmed> unconfirmed = await database.GetUnconfirmedAsync(null, null, cancellation).ConfigureAwait(false);
        IReadOnlyList<DeliveryQueue> queues = await database.GetQueuesAsync(QueueEstimate.Window, cancellation).ConfigureAwait(false);
        IEnumerable<string> names = site.Destinations.Select(destination => destination.Name)
            .Concat(undelivered.Select(some => some.Destination)).Concat(unconfirmed.Select(some => some.Destination)).Distinct(StringComparer.Ordinal);
        return new StatusReply
        {
            At = TimeZoneInfo.ConvertTime(clock.GetUtcNow(), site.TimeZone),
            Sources = surveys,
            Destinations = [.. names.Select(name => DestinationOf(
                name, [.. undelivered.Where(some => some.Destination == name)], [.. unconfirmed.Where(some => some.Destination == name)]))
                .Select(one => queues.FirstOrDefault(queue => queue.Destination == one.Name) is { } queue ? WithQueue(one, queue, site, clock) : one)],
            Held = (await database.GetHeldAsync(cancellation).ConfigureAwait(false)).Count,
            SpoolFreeBytes = Free(site.SpoolFolder),
        };
    }

    public void WriteText(TextWriter writer)
    {
        TextTable.Write(writer, ["source", "mount", "may it be wiped?"], Sources.Select(one => (IReadOnlyList<string>)[one.Source, one.Mount, one.Words]));
        writer.WriteLine();
        TextTable.Write(
            writer,
            ["destination", "waiting", "refused or given up", "not confirmed", "oldest since", "queue", "last word"],
            Destinations.Select(one => (IReadOnlyList<string>)
            [
                one.Name, Number(one.Waiting), Number(one.Ended), Number(one.Unconfirmed),
                one.OldestSince is { } since ? TimeZoneInfo.ConvertTime(since, TimeZoneInfo.Utc).ToString("yyyy-MM-dd HH:mm 'UTC'", CultureInfo.InvariantCulture) : "",
                one.Queue,
                one.Outcome ?? "",
            ]));
        writer.WriteLine();
        writer.WriteLine(Held == 0 ? "Nothing is held." : $"{Number(Held)} sittings are held, or have pictures that are: 'camerabridge held list' shows them.");
        if (SpoolFreeBytes is { } free)
        {
            writer.WriteLine(string.Create(CultureInfo.InvariantCulture, $"{free / 1e9:0.0} GB are free for the spool."));
        }

        writer.WriteLine("Whether and when a stick may be wiped is for the policy of the hospital to say; this is no diagnostic device.");
    }

    private static DestinationStatus WithQueue(DestinationStatus status, DeliveryQueue queue, SiteConfiguration site, TimeProvider clock)
    {
        TimeSpan? left = QueueEstimate.Of(queue, site.Destinations.FirstOrDefault(one => one.Name == queue.Destination), clock.GetUtcNow(), site.TimeZone);
        return status with { Queue = QueueEstimate.Words(queue, left), SecondsLeft = left?.TotalSeconds };
    }

    private static DestinationStatus DestinationOf(string name, Undelivered[] undelivered, Unconfirmed[] unconfirmed) => new(
        name,
        undelivered.Where(some => some.State == DeliveryState.Waiting).Sum(some => some.Count),
        undelivered.Where(some => some.State != DeliveryState.Waiting).Sum(some => some.Count),
        unconfirmed.Sum(some => some.Count),
        undelivered.Select(some => some.Since).Concat(unconfirmed.Select(some => some.Since)).Select(since => (DateTimeOffset?)since).Min(),
        undelivered.OrderByDescending(some => some.Count).Select(some => some.Outcome).FirstOrDefault(words => words is not null)
            ?? unconfirmed.OrderByDescending(some => some.Count).Select(some => some.Words).FirstOrDefault(words => words is not null));

    private static long? Free(string folder)
    {
        try
        {
            return Directory.Exists(folder) ? new DriveInfo(folder).AvailableFreeSpace : null;
        }
        catch (IOException)
        {
            return null;
        }
    }

    private static string Number(int count) => count.ToString(CultureInfo.InvariantCulture);
}
