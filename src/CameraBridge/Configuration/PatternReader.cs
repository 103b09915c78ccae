using System.Globalization;
using System.Text.RegularExpressions;
using CameraBridge.Pipeline.Sittings.Cues.Labels;

namespace CameraBridge.Configuration;

/// <summary>The vocabulary of a pattern that picks an identity out of a label, a folder's or a file's name.</summary>
internal static class PatternReader
{
    /// <summary>What a check digit can stand in.</summary>
    private static readonly string[] Checked = ["patient_id", "accession_number"];

    /// <summary>Patterns over the texts of codes.</summary>
    public static IReadOnlyList<IdentityPattern> OfLabels(SettingReader reader, string key) => reader.List(key, pattern =>
    {
        bool hasElements = pattern.Has("gs1");
        return Read(pattern, hasElements ? NoExpression(pattern) : Expression(pattern)) with
        {
            Elements = hasElements ? ReadElements(pattern) : new Dictionary<string, string>(StringComparer.Ordinal),
            AlsoIn = pattern.Many<RareCode>("also_in", [], (string text, out RareCode code) => SettingReaderValues.Word(text, out code), code => SettingReaderValues.Word(code)),
        };
    });

    /// <summary>Patterns over the names of folders and files.</summary>
    public static IReadOnlyList<IdentityPattern> OfNames(SettingReader reader, string key) => reader.List(key, pattern => Read(pattern, Expression(pattern)));

    /// <summary>What must hold between the settings of one pattern.</summary>
    public static void Check(string list, IReadOnlyList<IdentityPattern> patterns, SettingLog log)
    {
        for (int i = 0; i < patterns.Count; i++)
        {
            IdentityPattern pattern = patterns[i];
            foreach (string group in pattern.CheckDigits.Keys.Where(group => !pattern.Elements.ContainsKey(group) && pattern.Expression?.GroupNumberFromName(group) is not >= 0))
            {
                log.ReportAt(
                    string.Create(CultureInfo.InvariantCulture, $"{list}[{i + 1}].check_digits.{group}"),
                    new ValueFault("is for a part that the pattern does not pick out", "Name the part in expression or gs1, or leave the check out."));
            }
        }
    }

    private static IdentityPattern Read(SettingReader pattern, Regex? expression) => new(
        pattern.NeedText("name", "Give the pattern a short name; evidence names it.", SettingValues.Name), expression, pattern.Text("issuer"))
    {
        CheckDigits = ReadChecks(pattern),
    };

    private static Regex Expression(SettingReader pattern) =>
        pattern.NeedPattern("expression", "Write the regular expression that the whole or a part of the text must fit.") ?? new Regex("(?!)");

    private static Regex? NoExpression(SettingReader pattern) => pattern.Get<Regex?>(
        "expression",
        null,
        (string _, out Regex? expression) =>
        {
            expression = null;
            return new ValueFault("stands beside gs1, which says where the ID is by itself", "Leave one of the two.");
        },
        _ => "");

    private static Dictionary<string, string> ReadElements(SettingReader pattern)
    {
        SettingReader map = pattern.Map("gs1");
        var elements = new Dictionary<string, string>(StringComparer.Ordinal);
        foreach (string group in SettingValues.PatternGroups)
        {
            if (map.Get<string?>(group, null, Identifier, identifier => identifier ?? "") is { } identifier)
            {
                elements.Add(group, identifier);
            }
        }

        if (!Checked.Any(map.Has))
        {
            map.Need("patient_id", "", "Write the Application Identifier that holds the patient ID, for example 8018; or accession_number with that of the order.", Identifier!, value => value);
        }

        map.Done();
        return elements;
    }

    private static Dictionary<string, CheckScheme> ReadChecks(SettingReader pattern)
    {
        SettingReader map = pattern.Map("check_digits");
        var checks = new Dictionary<string, CheckScheme>(StringComparer.Ordinal);
        foreach (string group in Checked)
        {
            if (map.Get<CheckScheme?>(group, null, Scheme, scheme => scheme?.Name ?? "") is { } scheme)
            {
                checks.Add(group, scheme);
            }
        }

        map.Done();
        return checks;
    }

    private static ValueFault? Identifier(string text, out string? identifier)
    {
        identifier = text;
        return Gs1Elements.IsIdentifier(text) ? null : new ValueFault("is no Application Identifier of GS1", "Write its two to four digits, in quotes, for example '8018'.");
    }

    private static ValueFault? Scheme(string text, out CheckScheme? scheme)
    {
        scheme = CheckScheme.Find(text);
        string[] names = [.. CheckScheme.All.Select(known => known.Name)];
        return scheme is not null ? null : new ValueFault(
            "is no scheme of check digits that is known", NearestWord.Of(text, names) is { } nearest ? $"Did you mean {nearest}?" : $"Schemes are {string.Join(", ", names)}.");
    }
}
