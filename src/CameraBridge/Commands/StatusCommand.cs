using System.CommandLine;
using CameraBridge.Configuration;
using CameraBridge.Persistence;

namespace CameraBridge.Commands;

/// <summary><c>status</c>: whether sticks and folders may be wiped, what waits for each destination, what is held.</summary>
internal static class StatusCommand
{
    public static Verb Build(Terminal terminal)
    {
        Option<string?> config = CommonOptions.Config();
        Option<string?> only = new("--source") { Description = "Only this source; else all.", HelpName = "NAME" };
        Option<bool> thorough = new("--thorough") { Description = "Compare every file on the sources by its content; else by place, size and time, and by content in doubt." };
        Verb verb = new(
            "status",
            "Whether what lies on each source is kept in the archives, what waits for each destination, and what is held. Names no patient.",
            ExitCodes.UsageOrConfiguration,
            ExitCodes.Held,
            ExitCodes.Undelivered)
        {
            only, thorough, config,
        };
        verb.SetAction(async (parsed, cancellation) =>
        {
            SiteConfiguration site = ConfigurationFile.Load(ConfigurationFile.Locate(parsed.GetValue(config)));
            IReadOnlyList<SourceConfiguration> sources = Choose(site, parsed.GetValue(only));
            IPipelineDatabase database = await HeldCommand.OpenStateAsync(site, cancellation).ConfigureAwait(false);
            await using (database.ConfigureAwait(false))
            {
                StatusReply reply = await StatusReply.ReadAsync(site, sources, database, parsed.GetValue(thorough), TimeProvider.System, cancellation).ConfigureAwait(false);
                if (parsed.GetValue(CommonOptions.Json))
                {
                    JsonReply.Write(terminal.Out, reply);
                }
                else
                {
                    reply.WriteText(terminal.Out);
                }

                return reply.ExitCode;
            }
        });
        return verb;
    }

    private static IReadOnlyList<SourceConfiguration> Choose(SiteConfiguration site, string? name)
    {
        if (name is null)
        {
            return site.Sources;
        }

        if (site.Sources.FirstOrDefault(source => source.Name == name) is { } source)
        {
            return [source];
        }

        string? nearest = NearestWord.Of(name, site.Sources.Select(one => one.Name));
        throw new CommandException(
            ExitCodes.UsageOrConfiguration,
            "no-such-source",
            $"There is no source '{name}' in the configuration.{(nearest is null ? " 'camerabridge config show' lists them." : $" Did you mean {nearest}?")}");
    }
}
