using System.Globalization;
using System.Text.RegularExpressions;

namespace CameraBridge.Tests.Dicom.Iods.Agreement;

/// <summary>An error that one judge told of an attribute and the other did not.</summary>
internal sealed record LoneTold(string Who, string Told, string Attribute, string Mutated);

/// <summary>A row of conformance/agreement.md: an asterisk stands for any text.</summary>
internal sealed record AgreementRow(string Who, string Told, string Attribute, string Mutated, int Times)
{
    public const string Ours = "ours", Theirs = "dciodvfy";

    public bool Explains(LoneTold one) => one.Who == Who && one.Told == Told && Fits(Attribute, one.Attribute) && Fits(Mutated, one.Mutated);

    public static string WithoutNumbers(string path) => Regex.Replace(path, @"\[\d+\]", "");

    private static bool Fits(string pattern, string text) => Regex.IsMatch(text, $"^{Regex.Escape(pattern).Replace(@"\*", ".*", StringComparison.Ordinal)}$");
}

/// <summary>conformance/agreement.md as the test reads it.</summary>
internal sealed record AgreementTable(IReadOnlyList<AgreementRow> Rows, int Objects, int Both, int OursAlone, int TheirsAlone)
{
    public static AgreementTable Read(string path)
    {
        string text = File.ReadAllText(path);
        AgreementRow[] rows =
        [
            .. text.Split('\n').Where(line => line.StartsWith("| ours |", StringComparison.Ordinal) || line.StartsWith("| dciodvfy |", StringComparison.Ordinal))
                .Select(line => line.Trim('|', '\r').Split('|').Select(cell => cell.Trim().Trim('`')).ToArray())
                .Select(cells => new AgreementRow(cells[0], cells[1], cells[2], cells[3], int.Parse(cells[4], CultureInfo.InvariantCulture))),
        ];
        return new AgreementTable(rows, Number(text, "Mutated objects"), Number(text, "Errors told by both"), Number(text, "Errors told by ours alone"), Number(text, "Errors told by dciodvfy alone"));
    }

    private static int Number(string text, string what) =>
        int.Parse(Regex.Match(text, $@"^\| {Regex.Escape(what)} \| ([\d,]+) \|", RegexOptions.Multiline).Groups[1].Value, NumberStyles.AllowThousands, CultureInfo.InvariantCulture);
}
