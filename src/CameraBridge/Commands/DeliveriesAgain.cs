using System.CommandLine;
using CameraBridge.Configuration;
using CameraBridge.Persistence;
using CameraBridge.Pipeline;

namespace CameraBridge.Commands;

/// <summary>
/// <c>deliveries again</c>: a person has what was refused or given up put into the queue again, under their name, and what waits tried at once. The objects
/// stay what they are: the same bytes go under the same UIDs, and nothing that is delivered goes again.
/// </summary>
internal static class DeliveriesAgain
{
    public static Verb Build(Terminal terminal)
    {
        Option<string?> config = CommonOptions.Config();
        Option<string?> destination = DeliveriesCommand.Destination();
        Option<long?> sitting = new("--sitting") { Description = "Only what is of this sitting; else of all.", HelpName = "N" };
        Option<string> by = DecidedBy.Option();
        Option<bool> dryRun = new("--dry-run") { Description = "Show what would happen and change nothing." };
        Verb verb = new(
            "again",
            "Send what was refused or given up again, and try what waits at once: the same objects under the same UIDs. Nothing that is delivered is sent again.",
            ExitCodes.UsageOrConfiguration,
            ExitCodes.Undelivered)
        {
            destination, sitting, by, dryRun, config,
        };
        verb.SetAction(async (parsed, cancellation) =>
        {
            string name = DecidedBy.Check(parsed.GetValue(by)!);
            SiteConfiguration site = ConfigurationFile.Load(ConfigurationFile.Locate(parsed.GetValue(config)));
            IPipelineDatabase database = await HeldCommand.OpenStateAsync(site, cancellation).ConfigureAwait(false);
            await using (database.ConfigureAwait(false))
            {
                IReadOnlyList<string> destinations = Choose(site, parsed.GetValue(destination));
                long? sittingId = parsed.GetValue(sitting);
                if (sittingId is { } number && await database.GetSittingAsync(number, cancellation).ConfigureAwait(false) is null)
                {
                    throw new CommandException(
                        ExitCodes.UsageOrConfiguration,
                        "no-such-sitting",
                        FormattableString.Invariant($"There is no sitting {number}. 'camerabridge deliveries list' shows those of which something is undelivered."));
                }

                bool dry = parsed.GetValue(dryRun);
                IReadOnlyList<Undelivered> asked = dry
                    ? [.. (await database.GetUndeliveredAsync(destinations, sittingId, cancellation).ConfigureAwait(false)).Where(some => some.CanBeAskedFor)]
                    : await database.SendAgainAsync(destinations, sittingId, name, cancellation).ConfigureAwait(false);
                int questions = dry
                    ? (await database.GetUnconfirmedAsync(destinations, sittingId, cancellation).ConfigureAwait(false)).Sum(some => some.Count)
                    : await database.AskAgainAsync(destinations, sittingId, cancellation).ConfigureAwait(false);
                IReadOnlyList<Undelivered> unserved = parsed.GetValue(destination) is not null
                    ? []
                    : [.. (await database.GetUndeliveredAsync(null, sittingId, cancellation).ConfigureAwait(false))
                        .Where(some => !DeliveriesCommand.IsConfigured(site, some.Destination))];
                Report(terminal.Out, parsed.GetValue(CommonOptions.Json), asked, unserved, questions, name, dry);
            }
        });
        return verb;
    }

    /// <summary>Only what is configured is served: whatever were queued for another would lie there.</summary>
    private static IReadOnlyList<string> Choose(SiteConfiguration site, string? destination) =>
        destination is null ? [.. site.Destinations.Select(one => one.Name)]
        : DeliveriesCommand.IsConfigured(site, destination) ? [destination]
        : throw DeliveriesCommand.NoSuchDestination(site, destination);

    private static void Report(TextWriter writer, bool json, IReadOnlyList<Undelivered> asked, IReadOnlyList<Undelivered> unserved, int questions, string name, bool dry)
    {
        var groups = asked.GroupBy(some => (some.SittingId, some.Destination)).Select(group => new
        {
            Sitting = group.Key.SittingId,
            group.First().Source,
            group.First().Folder,
            group.Key.Destination,
            QueuedAgain = Count(group, some => some.State != DeliveryState.Waiting),
            BroughtForward = Count(group, some => some.State == DeliveryState.Waiting),
            Was = DeliveriesCommand.Counts(group),
        }).ToList();
        int queued = groups.Sum(group => group.QueuedAgain);
        int forward = groups.Sum(group => group.BroughtForward);
        if (json)
        {
            JsonReply.Write(writer, new
            {
                Asked = !dry,
                QueuedAgain = queued,
                BroughtForward = forward,
                Sittings = groups.Select(group => new { group.Sitting, group.Source, group.Folder, group.Destination, group.QueuedAgain, group.BroughtForward }),
                ConfirmationsAskedAgain = questions,
                NotConfigured = unserved.Sum(some => some.Count),
                DecidedBy = name,
            });
            return;
        }

        foreach (IGrouping<string, Undelivered> group in unserved.GroupBy(some => some.Destination, StringComparer.Ordinal))
        {
            writer.WriteLine($"Left as it is, since {group.Key} is in the configuration no more: {DeliveriesCommand.Counts(group)}");
        }

        if (questions > 0)
        {
            writer.WriteLine(FormattableString.Invariant($"{questions} stored objects that are not confirmed {(dry ? "would be" : "are")} asked for again."));
        }

        if (groups.Count == 0 && questions > 0)
        {
            return;
        }

        if (groups.Count == 0)
        {
            writer.WriteLine("There is nothing to send again: what else is undelivered, if anything, is due already or under way. 'camerabridge deliveries list' shows it.");
            return;
        }

        foreach (var group in groups)
        {
            writer.WriteLine(FormattableString.Invariant(
                $"Sitting {group.Sitting}, source {group.Source}, folder {(group.Folder.Length == 0 ? "(top)" : group.Folder)}, to {group.Destination}: {group.Was}"));
        }

        writer.WriteLine(FormattableString.Invariant(
            $"{queued} {(dry ? "would be" : "are")} put into the queue again and {forward} brought forward to now, asked for by {name}."));
        writer.WriteLine(dry ? "Nothing was changed (--dry-run)." : "Done. The running service, or the next 'once', sends them.");
    }

    private static int Count(IEnumerable<Undelivered> some, Func<Undelivered, bool> which) => some.Where(which).Sum(one => one.Count);
}
