using System.CommandLine;
using CameraBridge.Commands.Validation;

namespace CameraBridge.Commands;

/// <summary><c>validate</c>: DICOM files against the tables of their class, their encoding, and their bit stream against their attributes.</summary>
internal static class ValidateCommand
{
    public static Verb Build(Terminal terminal)
    {
        Argument<string[]> places = new("FILE|FOLDER")
        {
            Description = "DICOM files, or folders with all files below them.",
            Arity = ArgumentArity.OneOrMore,
        };
        Option<string?> html = new("--html")
        {
            Description = "Also write the report as a web page that stands alone.",
            HelpName = "FILE",
        };
        Verb verb = new(
            "validate",
            "Check DICOM files against the modules of their class, and their pictures and clips against what the attributes say. No value of a patient is shown.",
            ExitCodes.UsageOrConfiguration,
            ExitCodes.Nonconforming)
        {
            places,
            html,
        };
        verb.SetAction((parsed, cancellation) =>
        {
            IReadOnlyList<string> files = FilesToValidate.Find(parsed.GetValue(places)!);
            ValidationReply reply = ValidationReply.Of(files, cancellation);
            if (parsed.GetValue(html) is { } page)
            {
                WritePage(page, reply);
            }

            if (parsed.GetValue(CommonOptions.Json))
            {
                JsonReply.Write(terminal.Out, reply);
            }
            else
            {
                ValidationText.Write(terminal.Out, reply);
            }

            return Task.FromResult(reply.Conforms ? ExitCodes.AllWell : ExitCodes.Nonconforming);
        });
        return verb;
    }

    private static void WritePage(string path, ValidationReply reply)
    {
        try
        {
            using var writer = new StreamWriter(path);
            ValidationPage.Write(writer, reply);
        }
        catch (Exception error) when (error is IOException or UnauthorizedAccessException or ArgumentException)
        {
            throw new CommandException(ExitCodes.UsageOrConfiguration, "html", $"The page {path} cannot be written ({error.GetType().Name}). Name a file in a folder that exists and may be written.");
        }
    }
}
