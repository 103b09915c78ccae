using System.Text.RegularExpressions;
using CameraBridge.Configuration;

namespace CameraBridge.Pipeline.Sittings.Cues;

/// <summary>Reads an identity out of a text by the site's patterns.</summary>
internal static class IdentityText
{
    /// <summary>Longer texts come from no label, folder or file name that a pattern is made for.</summary>
    private const int LongestText = 4096;

    /// <summary>The cue by the first pattern, in the order of the configuration, that fits; null when none does.</summary>
    /// <exception cref="RegexMatchTimeoutException">A pattern with a time limit took longer than it.</exception>
    public static Cue? Read(string text, IReadOnlyList<IdentityPattern> patterns, CueKind kind, long captureId)
    {
        if (text.Length > LongestText)
        {
            return null;
        }

        foreach (IdentityPattern pattern in patterns)
        {
            System.Text.RegularExpressions.Match match = pattern.Expression.Match(text);
            if (!match.Success)
            {
                continue;
            }

            string? patientID = Group(match, "patient_id");
            string? accessionNumber = Group(match, "accession_number");
            if (patientID is null && accessionNumber is null)
            {
                continue;
            }

            return new Cue
            {
                CaptureId = captureId,
                Kind = kind,
                Pattern = pattern.Name,
                PatientID = patientID,
                IssuerOfPatientID = Group(match, "issuer") ?? (patientID is null ? null : pattern.Issuer),
                AccessionNumber = accessionNumber,
            };
        }

        return null;
    }

    /// <summary>Leading and trailing spaces mean nothing in a Patient ID (VR LO) or an accession number (VR SH); PS3.5 section 6.2.</summary>
    private static string? Group(System.Text.RegularExpressions.Match match, string name) =>
        match.Groups.TryGetValue(name, out Group? group) && group.Success && group.ValueSpan.Trim(' ') is { Length: > 0 } value
            ? value.ToString()
            : null;
}
