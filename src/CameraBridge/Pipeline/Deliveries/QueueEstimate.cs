using System.Globalization;
using CameraBridge.Configuration;
using CameraBridge.Persistence;

namespace CameraBridge.Pipeline.Deliveries;

/// <summary>How long a queue takes to empty, as far as that can be told: by what went lately, else by the limit of the link.</summary>
internal static class QueueEstimate
{
    /// <summary>How far back what was delivered counts.</summary>
    public static readonly TimeSpan Window = TimeSpan.FromMinutes(10);

    /// <summary>Shorter than this, what went is a burst and no rate.</summary>
    private static readonly TimeSpan LeastMeasure = TimeSpan.FromSeconds(20);

    /// <returns>Null when nothing tells.</returns>
    public static TimeSpan? Of(DeliveryQueue queue, DestinationConfiguration? destination, DateTimeOffset now, TimeZoneInfo zone)
    {
        if (queue.Bytes == 0)
        {
            return TimeSpan.Zero;
        }

        double? measured = queue.DoneSince is { } since && now - since >= LeastMeasure ? queue.DoneBytes / (now - since).TotalSeconds : null;
        double? allowed = destination?.Bandwidth.FirstOrDefault(window => window.Covers(TimeOnly.FromDateTime(TimeZoneInfo.ConvertTime(now, zone).DateTime)))?.BitsPerSecond / 8.0;
        double? rate = measured is > 0 ? measured : allowed is > 0 ? allowed : null;
        return rate is { } bytesPerSecond && queue.Bytes / bytesPerSecond < TimeSpan.FromDays(3650).TotalSeconds ? TimeSpan.FromSeconds(queue.Bytes / bytesPerSecond) : null;
    }

    /// <summary>"12 stills and 1 clip, 3.4 MB, about 5 min", or that it is not known.</summary>
    public static string Words(DeliveryQueue queue, TimeSpan? left)
    {
        if (queue.Bytes == 0)
        {
            return "empty";
        }

        string what = queue.Clips == 0 ? Number(queue.Stills, "still") : queue.Stills == 0 ? Number(queue.Clips, "clip") : $"{Number(queue.Stills, "still")} and {Number(queue.Clips, "clip")}";
        return string.Create(CultureInfo.InvariantCulture, $"{what}, {queue.Bytes / 1e6:0.0} MB, {(left is { } time ? $"about {Time(time)} at the rate of the last minutes" : "time not known: nothing went lately")}");
    }

    /// <summary>A duration as people say it.</summary>
    public static string Time(TimeSpan time) => time switch
    {
        { TotalDays: >= 2 } => string.Create(CultureInfo.InvariantCulture, $"{time.TotalDays:0.#} days"),
        { TotalHours: >= 2 } => string.Create(CultureInfo.InvariantCulture, $"{time.TotalHours:0.#} h"),
        { TotalMinutes: >= 2 } => string.Create(CultureInfo.InvariantCulture, $"{time.TotalMinutes:0} min"),
        _ => string.Create(CultureInfo.InvariantCulture, $"{Math.Max(1, time.TotalSeconds):0} s"),
    };

    private static string Number(int count, string what) => string.Create(CultureInfo.InvariantCulture, $"{count} {what}{(count == 1 ? "" : "s")}");
}
