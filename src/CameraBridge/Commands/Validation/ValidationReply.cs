using System.Text.Json.Serialization;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Iods;

namespace CameraBridge.Commands.Validation;

/// <summary>What the check of many files says: the JSON document, and what text and page are made of.</summary>
/// <param name="Conforms">No file has an error.</param>
/// <param name="Edition">Edition of the standard that the tables are of.</param>
/// <param name="Counts">Files and findings.</param>
/// <param name="Files">Every file in the order of the command line.</param>
/// <param name="NotTestable">Rules that a file alone cannot answer, each once.</param>
internal sealed record ValidationReply(
    bool Conforms, string Edition, ValidationCounts Counts, IReadOnlyList<ValidatedFile> Files, IReadOnlyList<NotTestable> NotTestable)
{
    private const string TablesEdition = "DICOM 2025e";

    /// <summary>Checks the files on all processors.</summary>
    public static ValidationReply Of(IReadOnlyList<string> paths, CancellationToken cancellation)
    {
        var files = new ValidatedFile[paths.Count];
        var untestable = new Dictionary<Untestable, int>();
        var gate = new Lock();
        Parallel.For(0, paths.Count, new ParallelOptions { CancellationToken = cancellation }, i =>
        {
            FileReport report = FileCheck.Check(paths[i]);
            files[i] = ValidatedFile.Of(paths[i], report);
            lock (gate)
            {
                foreach (Untestable rule in report.Untestable)
                {
                    untestable[rule] = untestable.GetValueOrDefault(rule) + 1;
                }
            }
        });
        var counts = new ValidationCounts(
            files.Length, files.Count(file => !file.Conforms), Count(files, Severity.Error), Count(files, Severity.Warning), Count(files, Severity.Note));
        return new ValidationReply(
            counts.Nonconforming == 0, TablesEdition, counts, files,
            [.. untestable.OrderBy(rule => rule.Key.Section, StringComparer.Ordinal).ThenBy(rule => rule.Key.Path, StringComparer.Ordinal)
                .Select(rule => new NotTestable(rule.Key.Path, rule.Key.Section, rule.Key.Why, rule.Value))]);
    }

    private static int Count(IEnumerable<ValidatedFile> files, Severity severity) => files.Sum(file => file.Count(severity));
}

/// <summary>How many of what.</summary>
internal sealed record ValidationCounts(int Files, int Nonconforming, int Errors, int Warnings, int Notes);

/// <summary>A rule that was not judged, and in how many files it would have counted.</summary>
internal sealed record NotTestable(string Path, string Section, string Why, int Files);

/// <summary>One file.</summary>
/// <param name="File">As it was named or found.</param>
/// <param name="Conforms">It has no error.</param>
/// <param name="Class">The name of its SOP class.</param>
/// <param name="SOPClassUID">The class.</param>
/// <param name="TransferSyntax">The name of its transfer syntax.</param>
/// <param name="TransferSyntaxUID">The transfer syntax.</param>
/// <param name="Findings">Errors, then warnings, then notes.</param>
internal sealed record ValidatedFile(
    string File,
    bool Conforms,
    string Class,
    [property: JsonPropertyName("sop_class_uid")] string SOPClassUID,
    string TransferSyntax,
    string TransferSyntaxUID,
    IReadOnlyList<Finding> Findings)
{
    public static ValidatedFile Of(string path, FileReport report) => new(
        path,
        report.Conforms,
        report.Iod?.Name ?? (report.SOPClassUID.Length > 0 ? UidRegistry.NameOf(report.SOPClassUID) : "unknown"),
        report.SOPClassUID,
        report.TransferSyntaxUID.Length > 0 ? UidRegistry.NameOf(report.TransferSyntaxUID) : "unknown",
        report.TransferSyntaxUID,
        report.Findings);

    public int Count(Severity severity) => Findings.Count(finding => finding.Severity == severity);
}
