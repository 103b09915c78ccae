using System.Globalization;
using CameraBridge.Dicom.Iods;

namespace CameraBridge.Commands.Validation;

/// <summary>The report for a terminal: each file in a line, its errors and warnings below it. Notes are counted; the other forms have them.</summary>
internal static class ValidationText
{
    public static void Write(TextWriter writer, ValidationReply reply)
    {
        foreach (ValidatedFile file in reply.Files)
        {
            writer.WriteLine($"{(file.Conforms ? "conforms" : "WRONG   ")}  {file.File}  ({file.Class}, {file.TransferSyntax})");
            foreach (Finding finding in file.Findings.Where(finding => finding.Severity != Severity.Note))
            {
                writer.WriteLine($"  {Word(finding.Severity),-8}{Where(finding)}: {finding.Found}; right is {finding.Right}  [{finding.Rule}, {finding.Section}]");
            }
        }

        if (reply.NotTestable.Count > 0)
        {
            writer.WriteLine();
            writer.WriteLine("Not testable from a file:");
            foreach (NotTestable rule in reply.NotTestable)
            {
                writer.WriteLine($"  {rule.Path}: {rule.Why}  [{rule.Section}]");
            }
        }

        writer.WriteLine();
        writer.WriteLine(Summary(reply));
    }

    public static string Summary(ValidationReply reply)
    {
        ValidationCounts counts = reply.Counts;
        return string.Create(
            CultureInfo.InvariantCulture,
            $"{Number(counts.Files, "file")} against {reply.Edition}: {counts.Files - counts.Nonconforming:N0} conform, {counts.Nonconforming:N0} do not. {Number(counts.Errors, "error")}, {Number(counts.Warnings, "warning")}, {Number(counts.Notes, "note")}.");
    }

    public static string Word(Severity severity) => severity switch
    {
        Severity.Error => "error",
        Severity.Warning => "warning",
        _ => "note",
    };

    /// <summary>The attribute, or the file itself.</summary>
    public static string Where(Finding finding) => finding.Path.Length > 0 ? finding.Path : "the file";

    private static string Number(int count, string one) => string.Create(CultureInfo.InvariantCulture, $"{count:N0} {one}{(count == 1 ? "" : "s")}");
}
