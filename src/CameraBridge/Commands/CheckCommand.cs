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
            "Walk configuration, folders, state, names, connections, associations, worklist and archives, and tell the next step where one fails.",
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

        if (site.Worklist is null)
        {
            yield return new CheckLine("worklist", CheckOutcome.Hint, "none is configured, so every sitting is held", "Add one under worklist.");
        }

        (PeerConfiguration Peer, string Kind)[] peers =
        [
            .. site.Worklist is null ? [] : new[] { (site.Worklist.Peer, "worklist") },
            .. site.Destinations.Select(destination => destination.Peer).OfType<PeerConfiguration>().Select(peer => (peer, "archive")),
        ];
        foreach ((PeerConfiguration peer, string kind) in peers)
        {
            await foreach (CheckLine line in new PeerChecks(site, peer, kind, TimeProvider.System).WalkAsync(cancellation).ConfigureAwait(false))
            {
                yield return line;
            }
        }

        foreach (WebConfiguration web in site.Destinations.Select(destination => destination.Web).OfType<WebConfiguration>())
        {
            await foreach (CheckLine line in new WebChecks(web, TimeProvider.System).WalkAsync(cancellation).ConfigureAwait(false))
            {
                yield return line;
            }
        }
    }
}
