using System.Globalization;
using System.Net;
using CameraBridge.Dicom.Iods;

namespace CameraBridge.Commands.Validation;

/// <summary>
/// The report as one web page that stands alone: no script, no font, no picture from elsewhere; legible on paper. All text is escaped, since file
/// names and values come from others.
/// </summary>
internal static class ValidationPage
{
    private const string Style = """
        :root { color-scheme: light; --ink: #1b1f24; --quiet: #5b6570; --rule: #d6dbe1; --bad: #a4161a; --bad-back: #fbe9e9; --care: #8a5a00; --care-back: #fdf3dd; --good: #14643b; --good-back: #e5f4ec; --note-back: #eef1f5; }
        * { box-sizing: border-box; }
        body { margin: 0 auto; max-width: 76rem; padding: 2rem 1.5rem 4rem; font: 15px/1.5 system-ui, "Segoe UI", Roboto, "Helvetica Neue", Arial, sans-serif; color: var(--ink); background: #fff; }
        h1 { font-size: 1.6rem; margin: 0 0 .25rem; }
        h2 { font-size: 1.15rem; margin: 2.5rem 0 .75rem; border-bottom: 1px solid var(--rule); padding-bottom: .35rem; }
        p.quiet, td.quiet { color: var(--quiet); }
        .verdict { display: inline-block; padding: .35rem .8rem; border-radius: .4rem; font-weight: 600; margin: .75rem 0 0; }
        .good { color: var(--good); background: var(--good-back); }
        .bad { color: var(--bad); background: var(--bad-back); }
        dl { display: flex; flex-wrap: wrap; gap: .75rem; margin: 1rem 0 0; }
        dl div { border: 1px solid var(--rule); border-radius: .4rem; padding: .5rem .9rem; min-width: 7rem; }
        dt { color: var(--quiet); font-size: .85rem; }
        dd { margin: 0; font-size: 1.3rem; font-variant-numeric: tabular-nums; }
        details { border: 1px solid var(--rule); border-radius: .4rem; margin: .5rem 0; }
        summary { cursor: pointer; padding: .5rem .8rem; display: flex; flex-wrap: wrap; gap: .25rem .9rem; align-items: baseline; }
        summary .name { font-family: ui-monospace, "Cascadia Mono", Menlo, Consolas, monospace; overflow-wrap: anywhere; font-weight: 600; }
        summary .kind { color: var(--quiet); }
        table { border-collapse: collapse; width: 100%; font-size: .92rem; }
        th, td { text-align: left; vertical-align: top; padding: .4rem .8rem; border-top: 1px solid var(--rule); overflow-wrap: break-word; }
        th { color: var(--quiet); font-weight: 600; }
        td.path, td.rule { font-family: ui-monospace, "Cascadia Mono", Menlo, Consolas, monospace; font-size: .85rem; }
        td.found { overflow-wrap: anywhere; }
        .tag { display: inline-block; white-space: nowrap; border-radius: .3rem; padding: 0 .5rem; font-size: .85rem; font-weight: 600; }
        .error { color: var(--bad); background: var(--bad-back); }
        .warning { color: var(--care); background: var(--care-back); }
        .note { color: var(--quiet); background: var(--note-back); }
        @media print { body { max-width: none; padding: 0; font-size: 10pt; } details { break-inside: avoid-page; } details::details-content { content-visibility: visible; } tr { break-inside: avoid; } @page { margin: 15mm; } }
        """;

    public static void Write(TextWriter writer, ValidationReply reply)
    {
        writer.WriteLine("<!doctype html>");
        writer.WriteLine("<html lang=\"en\"><head><meta charset=\"utf-8\"><meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">");
        writer.WriteLine("<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'\">");
        writer.WriteLine($"<title>DICOM validation: {Text(Count(reply.Counts.Files))} files</title>");
        writer.WriteLine($"<style>\n{Style}\n</style></head><body>");
        writer.WriteLine("<h1>DICOM validation</h1>");
        writer.WriteLine($"<p class=\"quiet\">CameraBridge, tables of {Text(reply.Edition)}. Values that may name a patient are not shown.</p>");
        writer.WriteLine(reply.Conforms
            ? "<p class=\"verdict good\">Every file conforms</p>"
            : $"<p class=\"verdict bad\">{Text(Count(reply.Counts.Nonconforming))} of {Text(Count(reply.Counts.Files))} files do not conform</p>");
        writer.WriteLine("<dl>");
        WriteCount(writer, "Files", reply.Counts.Files);
        WriteCount(writer, "Not conforming", reply.Counts.Nonconforming);
        WriteCount(writer, "Errors", reply.Counts.Errors);
        WriteCount(writer, "Warnings", reply.Counts.Warnings);
        WriteCount(writer, "Notes", reply.Counts.Notes);
        writer.WriteLine("</dl>");
        writer.WriteLine("<h2>Files</h2>");
        // What is wrong comes first: among a thousand files nobody looks for it.
        foreach (ValidatedFile file in reply.Files.OrderBy(file => file.Conforms))
        {
            WriteFile(writer, file);
        }

        WriteNotTestable(writer, reply.NotTestable);
        writer.WriteLine("</body></html>");
    }

    private static void WriteCount(TextWriter writer, string what, int count) =>
        writer.WriteLine($"<div><dt>{Text(what)}</dt><dd>{Text(Count(count))}</dd></div>");

    private static void WriteFile(TextWriter writer, ValidatedFile file)
    {
        writer.WriteLine($"<details{(file.Conforms ? "" : " open")}><summary><span class=\"tag {(file.Conforms ? "good\">conforms" : "error\">wrong")}</span>"
            + $"<span class=\"name\">{Text(file.File)}</span><span class=\"kind\">{Text(file.Class)} · {Text(file.TransferSyntax)}</span></summary>");
        if (file.Findings.Count == 0)
        {
            writer.WriteLine("<table><tr><td class=\"quiet\">Nothing found.</td></tr></table></details>");
            return;
        }

        writer.WriteLine("<table><thead><tr><th></th><th>Attribute</th><th>Found</th><th>Right</th><th>Section</th><th>Rule</th></tr></thead><tbody>");
        foreach (Finding finding in file.Findings)
        {
            string word = ValidationText.Word(finding.Severity);
            writer.WriteLine($"<tr><td><span class=\"tag {word}\">{word}</span></td><td class=\"path\">{Path(ValidationText.Where(finding))}</td><td class=\"found\">{Text(finding.Found)}</td>"
                + $"<td>{Text(finding.Right)}</td><td>{Text(finding.Section)}</td><td class=\"rule\">{Text(finding.Rule)}</td></tr>");
        }

        writer.WriteLine("</tbody></table></details>");
    }

    private static void WriteNotTestable(TextWriter writer, IReadOnlyList<NotTestable> rules)
    {
        if (rules.Count == 0)
        {
            return;
        }

        writer.WriteLine("<h2>Not testable from a file</h2><p class=\"quiet\">Conditions of the standard whose answer is not in the object: they were not judged.</p>");
        writer.WriteLine("<table><thead><tr><th>Attribute or module</th><th>Why</th><th>Section</th><th>Files</th></tr></thead><tbody>");
        foreach (NotTestable rule in rules)
        {
            writer.WriteLine($"<tr><td class=\"path\">{Path(rule.Path)}</td><td>{Text(rule.Why)}</td><td>{Text(rule.Section)}</td><td>{Text(Count(rule.Files))}</td></tr>");
        }

        writer.WriteLine("</tbody></table>");
    }

    private static string Count(int number) => number.ToString("N0", CultureInfo.InvariantCulture);

    /// <summary>A path may break between keywords, and nowhere else.</summary>
    private static string Path(string path) => Text(path).Replace(".", ".<wbr>", StringComparison.Ordinal);

    private static string Text(string text) => WebUtility.HtmlEncode(text);
}
