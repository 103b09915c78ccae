using System.CommandLine;
using System.Globalization;
using System.Text.Json;
using CameraBridge.Configuration;
using CameraBridge.Persistence;
using CameraBridge.Pipeline;
using CameraBridge.Pipeline.Deliveries;

namespace CameraBridge.Commands;

/// <summary><c>deliveries list</c>, <c>deliveries again</c>: what did not reach its archive, why, and a person's word to send it again.</summary>
internal static class DeliveriesCommand
{
    public static Verb Build(Terminal terminal) => new(
        "deliveries", "What did not reach its destination, why, and sending it again. This view is for the operator's eyes.", ExitCodes.UsageOrConfiguration, ExitCodes.Undelivered)
    {
        List(terminal),
        DeliveriesAgain.Build(terminal),
    };

    public static Option<string?> Destination() => new("--destination") { Description = "Only what is for this destination; else for all.", HelpName = "NAME" };

    public static bool IsConfigured(SiteConfiguration site, string destination) => site.Destinations.Any(one => one.Name == destination);

    /// <summary>A name that neither the configuration nor the state knows is a slip of the pen.</summary>
    public static CommandException NoSuchDestination(SiteConfiguration site, string destination)
    {
        string? nearest = NearestWord.Of(destination, site.Destinations.Select(one => one.Name));
        return new CommandException(
            ExitCodes.UsageOrConfiguration,
            "no-such-destination",
            $"There is no destination '{destination}' in the configuration.{(nearest is null ? " 'camerabridge config show' lists them." : $" Did you mean {nearest}?")}");
    }

    /// <summary>"2 waiting, 1 refused, 1 given up", without what there is none of.</summary>
    public static string Counts(IEnumerable<Undelivered> some) => string.Join(", ", some
        .GroupBy(one => one.State).OrderBy(group => group.Key)
        .Select(group => FormattableString.Invariant($"{group.Sum(one => one.Count)} {Words(group.Key)}")));

    public static string Words(DeliveryState state) => JsonNamingPolicy.SnakeCaseLower.ConvertName(state.ToString()).Replace('_', ' ');

    private static Verb List(Terminal terminal)
    {
        Option<string?> config = CommonOptions.Config();
        Option<string?> destination = Destination();
        Verb verb = new(
            "list", "What is not delivered and why: waiting for its next attempt, refused, or given up; and what is stored and not confirmed.", ExitCodes.UsageOrConfiguration, ExitCodes.Undelivered)
        {
            destination, config,
        };
        verb.SetAction(async (parsed, cancellation) =>
        {
            SiteConfiguration site = ConfigurationFile.Load(ConfigurationFile.Locate(parsed.GetValue(config)));
            IPipelineDatabase database = await HeldCommand.OpenStateAsync(site, cancellation).ConfigureAwait(false);
            await using (database.ConfigureAwait(false))
            {
                string? only = parsed.GetValue(destination);
                IReadOnlyList<Undelivered> all = await database.GetUndeliveredAsync(only is null ? null : [only], null, cancellation).ConfigureAwait(false);
                IReadOnlyList<Unconfirmed> unconfirmed = await database.GetUnconfirmedAsync(only is null ? null : [only], null, cancellation).ConfigureAwait(false);
                if (only is not null && all.Count == 0 && !IsConfigured(site, only))
                {
                    throw NoSuchDestination(site, only);
                }

                IReadOnlyList<DeliveryQueue> queues = await database.GetQueuesAsync(QueueEstimate.Window, cancellation).ConfigureAwait(false);
                if (parsed.GetValue(CommonOptions.Json))
                {
                    WriteJson(terminal.Out, site, all, unconfirmed, queues);
                }
                else
                {
                    WriteText(terminal.Out, site, all, queues);
                    WriteUnconfirmed(terminal.Out, site, unconfirmed);
                }

                return all.Count + unconfirmed.Count == 0 ? ExitCodes.AllWell : ExitCodes.Undelivered;
            }
        });
        return verb;
    }

    private static void WriteJson(
        TextWriter writer, SiteConfiguration site, IReadOnlyList<Undelivered> all, IReadOnlyList<Unconfirmed> unconfirmed, IReadOnlyList<DeliveryQueue> queues) =>
        JsonReply.Write(writer, new
        {
            Destinations = ByDestination(all).Select(group => new
            {
                Destination = group.Key,
                Configured = IsConfigured(site, group.Key),
                Undelivered = group.Sum(one => one.Count),
                Waiting = Count(group, DeliveryState.Waiting),
                Refused = Count(group, DeliveryState.Refused),
                GivenUp = Count(group, DeliveryState.GivenUp),
                Sittings = group.Select(one => one.SittingId).Distinct().Count(),
                SecondsLeft = queues.FirstOrDefault(queue => queue.Destination == group.Key) is { } queue ? Left(site, queue)?.TotalSeconds : null,
            }),
            Undelivered = all.Select(one => new
            {
                Sitting = one.SittingId,
                one.Source,
                one.Folder,
                one.Destination,
                one.State,
                one.Count,
                one.Delivered,
                one.Since,
                one.NextAttemptAt,
                Status = one.Status?.ToString("X4", CultureInfo.InvariantCulture),
                one.Outcome,
                one.AskedBy,
                one.AskedAt,
            }),
            Unconfirmed = unconfirmed,
        });

    private static void WriteUnconfirmed(TextWriter writer, SiteConfiguration site, IReadOnlyList<Unconfirmed> unconfirmed)
    {
        if (unconfirmed.Count == 0)
        {
            return;
        }

        writer.WriteLine();
        TextTable.Write(
            writer,
            ["sitting", "source", "folder", "destination", "stored, not confirmed", "asked again", "why"],
            unconfirmed.Select(one => (IReadOnlyList<string>)
            [
                one.SittingId.ToString(CultureInfo.InvariantCulture),
                one.Source,
                one.Folder.Length == 0 ? "(top)" : one.Folder,
                one.Destination,
                one.Count.ToString(CultureInfo.InvariantCulture),
                one.State == ConfirmationState.Unconfirmed ? "no, a person is to look" : one.NextAskingAt is { } next ? Clock(site, next) : "now",
                one.Words ?? "not asked yet",
            ]));
        writer.WriteLine("An archive's success only means that it received an object. Do not wipe a source before its objects are confirmed; 'camerabridge status' tells.");
    }

    private static void WriteText(TextWriter writer, SiteConfiguration site, IReadOnlyList<Undelivered> all, IReadOnlyList<DeliveryQueue> queues)
    {
        if (all.Count == 0)
        {
            writer.WriteLine("Nothing is undelivered.");
            return;
        }

        TextTable.Write(
            writer,
            ["sitting", "source", "folder", "destination", "objects", "delivered", "state", "next attempt", "why"],
            all.GroupBy(one => (one.SittingId, one.Destination, one.State)).Select(group => Row(site, [.. group])));
        writer.WriteLine();
        foreach (IGrouping<string, Undelivered> group in ByDestination(all))
        {
            string queued = IsConfigured(site, group.Key) && queues.FirstOrDefault(queue => queue.Destination == group.Key) is { Bytes: > 0 } queue ? $" Queue: {QueueEstimate.Words(queue, Left(site, queue))}." : "";
            writer.WriteLine(FormattableString.Invariant(
                $"{group.Key}: {group.Sum(one => one.Count)} not delivered ({Counts(group)}), of {group.Select(one => one.SittingId).Distinct().Count()} sitting(s).{queued}{(IsConfigured(site, group.Key) ? "" : " It is in the configuration no more, so nothing is sent to it; add it there again.")}"));
        }

        writer.WriteLine("Nothing is lost. 'camerabridge check' finds the fault; camerabridge deliveries again --by \"YOUR NAME\" then sends what was refused or given up, and at once what waits.");
    }

    /// <summary>What is of one sitting, destination and state: the most frequent reason stands for all.</summary>
    private static IReadOnlyList<string> Row(SiteConfiguration site, IReadOnlyList<Undelivered> group)
    {
        Undelivered first = group[0];
        string next = first.State != DeliveryState.Waiting ? "none"
            : group.Any(one => one.NextAttemptAt is null) ? "now"
            : Clock(site, group.Min(one => one.NextAttemptAt)!.Value);
        int reasons = group.Select(one => one.Outcome).Distinct().Count();
        return
        [
            first.SittingId.ToString(CultureInfo.InvariantCulture),
            first.Source,
            first.Folder.Length == 0 ? "(top)" : first.Folder,
            first.Destination,
            group.Sum(one => one.Count).ToString(CultureInfo.InvariantCulture),
            first.Delivered.ToString(CultureInfo.InvariantCulture),
            Words(first.State),
            next,
            (first.Outcome ?? "not tried yet")
                + (reasons > 1 ? FormattableString.Invariant($" ({reasons - 1} more reason(s): --json)") : "")
                + (first is { AskedBy: { } person, AskedAt: { } at } ? $" (last asked for by {person}, {Clock(site, at)})" : ""),
        ];
    }

    private static TimeSpan? Left(SiteConfiguration site, DeliveryQueue queue) =>
        QueueEstimate.Of(queue, site.Destinations.FirstOrDefault(one => one.Name == queue.Destination), TimeProvider.System.GetUtcNow(), site.TimeZone);

    private static string Clock(SiteConfiguration site, DateTimeOffset moment) =>
        TimeZoneInfo.ConvertTime(moment, site.TimeZone).ToString("yyyy-MM-dd HH:mm:ss zzz", CultureInfo.InvariantCulture);

    private static IEnumerable<IGrouping<string, Undelivered>> ByDestination(IEnumerable<Undelivered> all) =>
        all.GroupBy(one => one.Destination, StringComparer.Ordinal).OrderBy(group => group.Key, StringComparer.Ordinal);

    private static int Count(IEnumerable<Undelivered> some, DeliveryState state) => some.Where(one => one.State == state).Sum(one => one.Count);
}
