using System.CommandLine;
using CameraBridge.Configuration;
using CameraBridge.Conformance;
using CameraBridge.Pipeline.Objects.Optics;

namespace CameraBridge.Commands;

/// <summary><c>conformance statement</c>, <c>conformance coverage</c>: what an integrator must know, made of the program's own tables.</summary>
internal static class ConformanceCommand
{
    public static Verb Build(Terminal terminal) => new(
        "conformance", "The DICOM conformance statement and the coverage of attributes, for this version or for a site.", ExitCodes.UsageOrConfiguration)
    {
        Text(terminal, "statement", "The DICOM conformance statement (PS3.2 Annex N) as Markdown.", StatementText.Write),
        Text(
            terminal, "coverage", "Each class, module and attribute of the objects: always, when known, or never and why, as Markdown.",
            site => CoverageText.Write(site?.Optics ?? OpticsTable.Own)),
    };

    private static Verb Text(Terminal terminal, string name, string description, Func<SiteConfiguration?, string> write)
    {
        Option<string?> config = new("--config") { Description = "State it for this site; else for the program with its defaults.", HelpName = "FILE" };
        Verb verb = new(name, description, ExitCodes.UsageOrConfiguration) { config };
        verb.SetAction(parsed =>
        {
            string text = write(parsed.GetValue(config) is { } file ? ConfigurationFile.Load(file) : null);
            if (parsed.GetValue(CommonOptions.Json))
            {
                JsonReply.Write(terminal.Out, new { Document = name, Version = StatementText.Version, Markdown = text });
            }
            else
            {
                terminal.Out.Write(text);
            }
        });
        return verb;
    }
}
