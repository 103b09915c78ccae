using System.CommandLine;
using CameraBridge.Configuration;

namespace CameraBridge.Commands;

/// <summary><c>config show</c>, <c>config test</c>.</summary>
internal static class ConfigCommand
{
    public static Verb Build(Terminal terminal) => new("config", "Show or test the configuration.", ExitCodes.UsageOrConfiguration)
    {
        Show(terminal),
        Test(terminal),
    };

    private static Verb Show(Terminal terminal)
    {
        Option<string?> config = CommonOptions.Config();
        Verb verb = new("show", "Every setting in force, defaults included, and where each comes from.", ExitCodes.UsageOrConfiguration) { config };
        verb.SetAction(parsed =>
        {
            ConfigurationFile file = Read(parsed.GetValue(config));
            if (parsed.GetValue(CommonOptions.Json))
            {
                JsonReply.Write(terminal.Out, new
                {
                    file.File,
                    Settings = file.Settings.Select(setting => new { setting.Key, setting.Value, Origin = setting.Line is null ? "default" : "file", setting.Line }),
                });
                return;
            }

            terminal.Out.WriteLine($"Configuration: {file.File}");
            TextTable.Write(
                terminal.Out,
                ["setting", "value", "from"],
                file.Settings.Select(setting => (IReadOnlyList<string>)
                    [setting.Key, setting.Value.Length == 0 ? "(none)" : setting.Value, setting.Line is { } line ? FormattableString.Invariant($"line {line}") : "default"]));
        });
        return verb;
    }

    private static Verb Test(Terminal terminal)
    {
        Option<string?> config = CommonOptions.Config();
        Verb verb = new("test", "Read the configuration and tell every mistake at once, with line, column and fix.", ExitCodes.UsageOrConfiguration) { config };
        verb.SetAction(parsed =>
        {
            ConfigurationFile file = Read(parsed.GetValue(config));
            SiteConfiguration site = file.Site!;
            if (parsed.GetValue(CommonOptions.Json))
            {
                JsonReply.Write(terminal.Out, new { file.File, Valid = true, Sources = site.Sources.Count, Destinations = site.Destinations.Count });
                return;
            }

            terminal.Out.WriteLine(FormattableString.Invariant(
                $"{file.File}: no mistakes. Sources: {site.Sources.Count}. Destinations: {site.Destinations.Count}. Worklist: {(site.Worklist is null ? "none, so every sitting will be held" : "yes")}."));
        });
        return verb;
    }

    private static ConfigurationFile Read(string? named)
    {
        ConfigurationFile file = ConfigurationFile.Read(ConfigurationFile.Locate(named));
        return file.Problems.Count == 0 ? file : throw new ConfigurationException(file.Problems);
    }
}
