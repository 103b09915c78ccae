using System.CommandLine;
using System.Runtime.CompilerServices;
using CameraBridge.Commands.Checks;
using CameraBridge.Configuration;

namespace CameraBridge.Commands;

/// <summary><c>check</c>: from the configuration to the archive, every step, never stopping at the first that fails.</summary>
internal static class CheckCommand
{
    public static Verb Build(Terminal terminal)
    {
        Option<string?> config = CommonOptions.Config();
        Verb verb = new(
            "check",
            "Walk configuration, folders, state, names, connections, associations, worklist, archives, RIS and the port for their reports, and tell the next step where one fails.",
            ExitCodes.UsageOrConfiguration,
            ExitCodes.Undelivered)
        {
            config,
        };
        verb.SetAction(async (parsed, cancellation) =>
        {
            string path = ConfigurationFile.Locate(parsed.GetValue(config));
            SiteConfiguration site = ConfigurationFile.Load(path);
            bool json = parsed.GetValue(CommonOptions.Json);
            List<CheckLine> lines = [];
            await foreach (CheckLine line in WalkAsync(path, site, cancellation).ConfigureAwait(false))
            {
                lines.Add(line);
                if (!json)
                {
                    await terminal.Out.WriteLineAsync(line.ToString()).ConfigureAwait(false);
                }
            }

            int failed = lines.Count(line => line.Outcome == CheckOutcome.Failed);
            if (json)
            {
                JsonReply.Write(terminal.Out, new { Good = failed == 0, Steps = lines });
            }
            else
            {
                await terminal.Out.WriteLineAsync(failed == 0 ? "All well." : FormattableString.Invariant($"{failed} failed.")).ConfigureAwait(false);
            }

            return failed == 0 ? ExitCodes.AllWell : ExitCodes.Undelivered;
        });
        return verb;
    }

    private static async IAsyncEnumerable<CheckLine> WalkAsync(string path, SiteConfiguration site, [EnumeratorCancellation] CancellationToken cancellation)
    {
        yield return new CheckLine("configuration", CheckOutcome.Ok, $"{path} has no mistakes");
        await foreach (CheckLine line in LocalChecks.WalkAsync(site, TimeProvider.System, cancellation).ConfigureAwait(false))
        {
            yield return line;
        }

        if (site.Worklists.Count == 0)
        {
            yield return new CheckLine("worklist", CheckOutcome.Hint, "none is configured, so every sitting is held", "Add one under worklist.");
        }

        (PeerConfiguration Peer, IPeerQuestions Questions)[] peers =
        [
            .. site.Worklists.Where(worklist => worklist.Peer is not null)
                .Select(worklist => (worklist.Peer!, (IPeerQuestions)new WorklistQuestions(site, worklist, TimeProvider.System))),
            .. site.Destinations.Where(destination => destination.Peer is not null)
                .Select(destination => (destination.Peer!, (IPeerQuestions)new StorageQuestions(site, destination))),
            .. site.PerformedStep is { } step ? new[] { (step.Peer, (IPeerQuestions)new PerformedStepQuestions()) } : [],
        ];
        foreach ((PeerConfiguration peer, IPeerQuestions questions) in peers)
        {
            await foreach (CheckLine line in new PeerChecks(site, peer, questions, TimeProvider.System).WalkAsync(cancellation).ConfigureAwait(false))
            {
                yield return line;
            }
        }

        if (site.Listen is not null)
        {
            yield return await ListenerCheck.LookAsync(site, TimeProvider.System, cancellation).ConfigureAwait(false);
        }

        (WebConfiguration Web, IWebQuestion Question)[] servers =
        [
            .. site.Worklists.Where(worklist => worklist.Web is not null)
                .Select(worklist => (worklist.Web!, (IWebQuestion)new WebWorklistQuestion(site, worklist, TimeProvider.System))),
            .. site.Destinations.Where(destination => destination.Web is not null)
                .Select(destination => (destination.Web!, (IWebQuestion)new WebArchiveQuestion(destination.Web!, destination.ConfirmBy, TimeProvider.System))),
        ];
        foreach ((WebConfiguration web, IWebQuestion question) in servers)
        {
            await foreach (CheckLine line in new WebChecks(web, question).WalkAsync(cancellation).ConfigureAwait(false))
            {
                yield return line;
            }
        }
    }
}
