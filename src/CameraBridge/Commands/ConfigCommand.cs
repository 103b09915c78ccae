using System.CommandLine;
using CameraBridge.Configuration;
using CameraBridge.Pipeline.Objects.Optics;

namespace CameraBridge.Commands;

/// <summary><c>config show</c>, <c>config test</c>, <c>config optics</c>.</summary>
internal static class ConfigCommand
{
    public static Verb Build(Terminal terminal) => new("config", "Show or test the configuration.", ExitCodes.UsageOrConfiguration)
    {
        Show(terminal),
        Test(terminal),
        Optics(terminal),
    };

    private static Verb Optics(Terminal terminal)
    {
        Option<string?> config = CommonOptions.Config();
        Verb verb = new("optics", "Every optic that sources and sidecars may name: what its pictures become, what it needs, and its options.", ExitCodes.UsageOrConfiguration) { config };
        verb.SetAction(parsed =>
        {
            OpticRow[] rows = [.. Read(parsed.GetValue(config)).Site!.Optics.All.OrderBy(optic => optic.Name, StringComparer.Ordinal).Select(OpticRow.Of)];
            if (parsed.GetValue(CommonOptions.Json))
            {
                JsonReply.Write(terminal.Out, new { Optics = rows });
                return;
            }

            TextTable.Write(
                terminal.Out,
                ["optic", "still", "clip", "body site", "needs", "options"],
                rows.Select(row => (IReadOnlyList<string>)[row.Name, row.Still, row.Clip, row.BodySite, string.Join(", ", row.Needs), string.Join(", ", row.Options)]));
        });
        return verb;
    }

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
                JsonReply.Write(terminal.Out, new { file.File, Valid = true, Sources = site.Sources.Count, Destinations = site.Destinations.Count, Hints = OpticHint.Of(site) });
                return;
            }

            terminal.Out.WriteLine(FormattableString.Invariant(
                $"{file.File}: no mistakes. Sources: {site.Sources.Count}. Destinations: {site.Destinations.Count}. Worklist: {(site.Worklists.Count == 0 ? "none, so every sitting will be held" : "yes")}."));
            foreach (OpticHint hint in OpticHint.Of(site))
            {
                terminal.Out.WriteLine($"Hint, source {hint.Source}: {hint.Words}. {hint.Fix}");
            }
        });
        return verb;
    }

    private static ConfigurationFile Read(string? named)
    {
        ConfigurationFile file = ConfigurationFile.Read(ConfigurationFile.Locate(named));
        return file.Problems.Count == 0 ? file : throw new ConfigurationException(file.Problems);
    }

    private sealed record OpticRow(string Name, string Still, string Clip, string BodySite, IReadOnlyList<string> Needs, IReadOnlyList<string> Options)
    {
        public static OpticRow Of(Optic optic) => new(
            optic.Name,
            $"{optic.Still.Word}, {optic.Still.Modality}",
            $"{optic.Clip.Word}, {optic.Clip.Modality}",
            optic.Always.Values.CodeOf(ValueKeys.BodySite) is { } site ? $"{site.Value} {site.Meaning}" : "(by order or cue)",
            optic.Needs,
            [.. optic.Options.Select(option => option.Name)]);
    }
}
