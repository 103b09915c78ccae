using System.CommandLine;
using System.Globalization;
using CameraBridge.Configuration;
using CameraBridge.Persistence;
using CameraBridge.Pipeline.Deliveries;

namespace CameraBridge.Commands;

/// <summary><c>plan</c>: what fits on a stick or a disk, how long a backlog takes over a link, how long the spool lasts.</summary>
internal static class PlanCommand
{
    /// <summary>A camera's still and the rate of its clips, where the site has none yet (common practice, no source).</summary>
    private const long UsualStillBytes = 100_000, UsualClipBitsPerSecond = 8_000_000;

    public static Verb Build(Terminal terminal)
    {
        Option<string?> config = CommonOptions.Config();
        Option<string> size = Text("--size", "SIZE", "The stick or disk, for example '512 MB'.", "512 MB");
        Option<string?> still = new("--still") { Description = "Size of a still, for example '100 KB'; else what this site's stills weigh, else 100 KB.", HelpName = "SIZE" };
        Option<string> clip = Text("--clip-rate", "RATE", "Rate of a clip.", BandwidthReader.Write(UsualClipBitsPerSecond));
        Option<string> link = Text("--link", "RATE", "The link, for example '2 Mbit/s'.", "2 Mbit/s");
        Option<string> hours = Text("--hours", "N", "Hours of the day at which the link may be used.", "24");
        Option<int?> stills = new("--stills") { Description = "Stills that wait; else what waits in this site's state, else what fits on the stick.", HelpName = "N" };
        Option<int> daily = new("--stills-a-day") { Description = "Stills that are taken in a day.", HelpName = "N", DefaultValueFactory = _ => 500 };
        Verb verb = new(
            "plan",
            "What fits on a stick or disk, how long a backlog takes over a link, and how long a disk lasts as a spool. Estimates, and no promise of a link.",
            ExitCodes.UsageOrConfiguration)
        {
            size, still, clip, link, hours, stills, daily, config,
        };
        verb.SetAction(async (parsed, cancellation) =>
        {
            (bool hasState, long? measured, int waiting, long waitingBytes) = await MeasureAsync(parsed.GetValue(config), cancellation).ConfigureAwait(false);
            long stillBytes = parsed.GetValue(still) is { } written ? Size("--still", written) : measured ?? UsualStillBytes;
            long bytes = Size("--size", parsed.GetValue(size)!);
            long linkBits = Rate("--link", parsed.GetValue(link)!);
            double perDay = Hours(parsed.GetValue(hours)!) * 3600 * linkBits / 8.0;
            int fits = (int)Math.Min(int.MaxValue, bytes / stillBytes);
            (int count, long backlog) = parsed.GetValue(stills) is { } given ? (given, given * stillBytes) : waiting > 0 ? (waiting, waitingBytes) : (fits, fits * stillBytes);
            PlanReply reply = new()
            {
                StillBytes = stillBytes,
                StillBytesMeasured = hasState && measured is not null && parsed.GetValue(still) is null,
                SizeBytes = bytes,
                StillsThatFit = fits,
                ClipMinutesThatFit = Math.Round(bytes * 8.0 / Rate("--clip-rate", parsed.GetValue(clip)!) / 60, 1),
                LinkBitsPerSecond = linkBits,
                BacklogStills = count,
                BacklogBytes = backlog,
                BacklogHours = Math.Round(backlog / perDay * 24, 2),
                StillsADayOverTheLink = (long)(perDay / stillBytes),
                SpoolDays = Math.Round((double)bytes / Math.Max(1, (long)parsed.GetValue(daily) * stillBytes), 1),
                StillsADay = parsed.GetValue(daily),
            };
            if (parsed.GetValue(CommonOptions.Json))
            {
                JsonReply.Write(terminal.Out, reply);
            }
            else
            {
                reply.WriteText(terminal.Out);
            }

            return ExitCodes.AllWell;
        });
        return verb;
    }

    private static Option<string> Text(string name, string help, string description, string usual) =>
        new(name) { Description = description, HelpName = help, DefaultValueFactory = _ => usual };

    /// <summary>What this site's stills weigh and what waits, where there is a site; a plan can be made without one.</summary>
    private static async Task<(bool HasState, long? StillBytes, int Waiting, long WaitingBytes)> MeasureAsync(string? config, CancellationToken cancellation)
    {
        string path = ConfigurationFile.Locate(config);
        if (config is null && !File.Exists(path))
        {
            return (false, null, 0, 0);
        }

        SiteConfiguration site = ConfigurationFile.Load(path);
        if (!File.Exists(site.StateFile))
        {
            return (false, null, 0, 0);
        }

        IPipelineDatabase database = await PipelineDatabase.OpenAsync(site, TimeProvider.System, cancellation).ConfigureAwait(false);
        await using (database.ConfigureAwait(false))
        {
            (bool IsClip, int Count, long Bytes) stills = (await database.GetCaptureSizesAsync(cancellation).ConfigureAwait(false)).FirstOrDefault(sizes => !sizes.IsClip);
            DeliveryQueue? longest = (await database.GetQueuesAsync(QueueEstimate.Window, cancellation).ConfigureAwait(false)).MaxBy(queue => queue.Bytes);
            return (true, stills.Count > 0 ? stills.Bytes / stills.Count : null, (longest?.Stills ?? 0) + (longest?.Clips ?? 0), longest?.Bytes ?? 0);
        }
    }

    private static long Size(string option, string text) => SizeReader.Read(text, out long bytes) is null && bytes > 0
        ? bytes
        : throw new CommandException(ExitCodes.UsageOrConfiguration, "usage", $"{option} is no size. Write a number and a unit, for example 512 MB.");

    private static long Rate(string option, string text) => BandwidthReader.Rate(text, out long bits) is { } fault || bits == 0
        ? throw new CommandException(ExitCodes.UsageOrConfiguration, "usage", $"{option} is no rate. Write a number and a unit, for example 512 kbit/s or 2 Mbit/s.")
        : bits;

    private static double Hours(string text) =>
        double.TryParse(text, NumberStyles.AllowDecimalPoint, CultureInfo.InvariantCulture, out double hours) && hours is > 0 and <= 24
            ? hours
            : throw new CommandException(ExitCodes.UsageOrConfiguration, "usage", "--hours is no number of hours. Write one above 0 and up to 24.");
}

/// <summary>A plan in numbers.</summary>
internal sealed record PlanReply
{
    public long StillBytes { get; init; }

    /// <summary>Whether that is what this site's stills weigh.</summary>
    public bool StillBytesMeasured { get; init; }

    public long SizeBytes { get; init; }

    public int StillsThatFit { get; init; }

    public double ClipMinutesThatFit { get; init; }

    public long LinkBitsPerSecond { get; init; }

    public int BacklogStills { get; init; }

    public long BacklogBytes { get; init; }

    /// <summary>Hours on the clock until the backlog is through, the hours at which the link may not be used included.</summary>
    public double BacklogHours { get; init; }

    public long StillsADayOverTheLink { get; init; }

    public int StillsADay { get; init; }

    /// <summary>Days until a spool of that size is full, when nothing is delivered.</summary>
    public double SpoolDays { get; init; }

    public void WriteText(TextWriter writer)
    {
        string Line(FormattableString text) => text.ToString(CultureInfo.InvariantCulture);
        writer.WriteLine(Line($"A still weighs {StillBytes / 1000.0:0} KB ({(StillBytesMeasured ? "measured here" : "assumed")})."));
        writer.WriteLine(Line($"{SizeBytes / 1e6:#,0} MB hold {StillsThatFit:#,0} stills, or {ClipMinutesThatFit:#,0.#} minutes of clips."));
        writer.WriteLine(Line(
            $"Over {BandwidthReader.Write(LinkBitsPerSecond)}, {BacklogStills:#,0} objects ({BacklogBytes / 1e6:#,0} MB) take {QueueEstimate.Time(TimeSpan.FromHours(BacklogHours))}; {StillsADayOverTheLink:#,0} stills a day get through."));
        writer.WriteLine(Line($"As a spool, that size lasts {SpoolDays:#,0.#} days of {StillsADay:#,0} stills while nothing can be delivered."));
        writer.WriteLine("Estimates: a link seldom gives what it says, and clips weigh what they weigh.");
    }
}
