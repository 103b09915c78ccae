using System.Text.RegularExpressions;
using CameraBridge.Configuration;
using CameraBridge.Pipeline.Sittings.Cues.Labels;

namespace CameraBridge.Pipeline.Sittings.Cues;

/// <summary>Reads an identity out of a text by the site's patterns.</summary>
internal static class IdentityText
{
    /// <summary>Longer texts come from no label, folder or file name that a pattern is made for.</summary>
    private const int LongestText = 4096;

    /// <summary>
    /// The cue by the first pattern, in the order of the configuration, that fits; null when none does. A text that fits and whose check digit is wrong, or a
    /// GS1 element string that is damaged, names nobody: its cue has a finding, which holds.
    /// </summary>
    /// <param name="text">The text; that of a code may begin with its symbology identifier (<see cref="CodeMark"/>).</param>
    /// <param name="patterns">The patterns.</param>
    /// <param name="kind">What kind of cue it is.</param>
    /// <param name="captureId">The capture it is of.</param>
    /// <exception cref="RegexMatchTimeoutException">A pattern with a time limit took longer than it.</exception>
    public static Cue? Read(string text, IReadOnlyList<IdentityPattern> patterns, CueKind kind, long captureId)
    {
        if (text.Length > LongestText)
        {
            return null;
        }

        (string mark, string plain) = kind == CueKind.Label ? CodeMark.Split(text) : ("", text);
        Gs1Elements? elements = CodeMark.IsGs1(mark) ? Gs1Elements.Read(plain) : null;
        foreach (IdentityPattern pattern in patterns.Where(pattern => CodeMark.RareOf(mark) is not { } rare || pattern.AlsoIn.Contains(rare)))
        {
            Dictionary<string, string> parts = pattern.Expression is { } expression ? PartsOf(expression.Match(plain)) : PartsOf(elements, pattern.Elements);
            if (!parts.ContainsKey("patient_id") && !parts.ContainsKey("accession_number"))
            {
                continue;
            }

            var cue = new Cue { CaptureId = captureId, Kind = kind, Pattern = pattern.Name };
            string? flaw = pattern.Expression is null ? elements!.Flaw : null;
            if (flaw is not null || pattern.CheckDigits.Any(check => parts.TryGetValue(check.Key, out string? id) && !check.Value.Holds(id)))
            {
                string what = Title(kind);
                return cue with
                {
                    Finding = new Reason("id-not-proven", $"{what} that the pattern {pattern.Name} fits is damaged or misread ({flaw ?? "a check digit is wrong"}), so it names nobody; photograph the label again, or assign by hand."),
                };
            }

            string? patientID = parts.GetValueOrDefault("patient_id");
            return cue with
            {
                PatientID = patientID,
                IssuerOfPatientID = parts.GetValueOrDefault("issuer") ?? (patientID is null ? null : pattern.Issuer),
                AccessionNumber = parts.GetValueOrDefault("accession_number"),
            };
        }

        return null;
    }

    private static string Title(CueKind kind) => kind switch
    {
        CueKind.Label => "A label",
        CueKind.FolderName => "A part of the folder's name",
        _ => "A file name",
    };

    /// <summary>Leading and trailing spaces mean nothing in a Patient ID (VR LO) or an accession number (VR SH); PS3.5 section 6.2.</summary>
    private static Dictionary<string, string> PartsOf(System.Text.RegularExpressions.Match match) => !match.Success
        ? []
        : SettingValues.PatternGroups.Where(name => match.Groups.TryGetValue(name, out Group? group) && group.Success)
            .Select(name => (Name: name, Value: match.Groups[name].Value.Trim(' '))).Where(part => part.Value.Length > 0)
            .ToDictionary(part => part.Name, part => part.Value, StringComparer.Ordinal);

    private static Dictionary<string, string> PartsOf(Gs1Elements? elements, IReadOnlyDictionary<string, string> identifiers) => elements is null
        ? []
        : identifiers.Where(one => elements.Values.ContainsKey(one.Value))
            .ToDictionary(one => one.Key, one => elements.Values[one.Value], StringComparer.Ordinal);
}
