using System.Text.RegularExpressions;
using CameraBridge.Configuration;
using CameraBridge.Pipeline;
using CameraBridge.Pipeline.Sittings.Cues;
using CameraBridge.Pipeline.Sittings.Cues.Labels;
using Xunit;

namespace CameraBridge.Tests.Pipeline.Sittings.Cues;

public sealed class IdentityTextTests
{
    private static readonly IReadOnlyList<IdentityPattern> Patterns =
    [
        Pattern("order", "^ORD-(?<accession_number>[A-Z0-9]{1,16})$"),
        Pattern("wristband", @"^(?<patient_id>\d{7})(\^(?<issuer>[A-Z]+))?$", "TESTVALE"),
        Pattern("both", @"^PID=(?<patient_id>[^|]*)\|ACC=(?<accession_number>[^|]*)$"),
    ];

    [Theory]
    [InlineData("ORD-A0001", "order", null, null, "A0001")]
    [InlineData("0012345", "wristband", "0012345", "TESTVALE", null)]
    [InlineData("0012345^OTHER", "wristband", "0012345", "OTHER", null)]
    [InlineData("PID=  77 |ACC=B1", "both", "77", null, "B1")]
    [InlineData("PID=|ACC=B1", "both", null, null, "B1")]
    // A wildcard is kept as it was read: the match is held for it, and it is never asked for.
    [InlineData("PID=7*|ACC=B1", "both", "7*", null, "B1")]
    public void The_first_pattern_that_fits_gives_the_cue(string text, string pattern, string? patientID, string? issuer, string? accession) =>
        Assert.Equal(
            new Cue
            {
                CaptureId = 3,
                Kind = CueKind.Label,
                Pattern = pattern,
                PatientID = patientID,
                IssuerOfPatientID = issuer,
                AccessionNumber = accession,
            },
            IdentityText.Read(text, Patterns, CueKind.Label, 3));

    [Theory]
    [InlineData("https://example.org/menu")]
    [InlineData("001234")]
    [InlineData("PID=|ACC=")]
    [InlineData("")]
    public void Text_that_fits_no_pattern_is_no_cue(string text) => Assert.Null(IdentityText.Read(text, Patterns, CueKind.Label, 3));

    [Fact]
    public void A_very_long_text_is_not_looked_at() =>
        Assert.Null(IdentityText.Read("ORD-A" + new string('1', 5000), [Pattern("any", "(?<accession_number>A)")], CueKind.Label, 3));

    [Theory]
    // The specimen NHS number 943 476 5919 (NHS guidance, from memory), and the same with one digit misread.
    [InlineData("NHS=9434765919;ACC=A1", "9434765919", "A1")]
    [InlineData("NHS=9434765918;ACC=A1", null, null)]
    [InlineData("NHS=943476591;ACC=A1", null, null)]
    public void An_id_with_a_bad_check_digit_is_no_id_and_holds(string text, string? patientID, string? accession)
    {
        IdentityPattern pattern = Pattern("nhs", "^NHS=(?<patient_id>[0-9]+);ACC=(?<accession_number>.+)$", "NHS") with { CheckDigits = Checks("patient_id", "nhs-number") };

        Cue cue = IdentityText.Read(text, [pattern, Pattern("any", "NHS=(?<patient_id>.+)")], CueKind.Label, 3)!;

        Assert.Equal((patientID, accession, "nhs"), (cue.PatientID, cue.AccessionNumber, cue.Pattern));
        Assert.Equal(patientID is null ? "id-not-proven" : null, cue.Finding?.Code);
        Assert.DoesNotContain("94347", cue.Finding?.Words ?? "", StringComparison.Ordinal);
    }

    [Theory]
    [InlineData("]C18018952012345678901233", "952012345678901233", null, null)]
    [InlineData("]d28020ORDER77|8018952012345678901233", "952012345678901233", "ORDER77", null)]
    [InlineData("]Q38020ORDER77", null, "ORDER77", null)]
    [InlineData("]d28018952012345678901234", null, null, "id-not-proven")]
    [InlineData("]d28018952012345678901233|8018952012345678901240", null, null, "id-not-proven")]
    [InlineData("]d28018952012345678901233|0106291041500214", null, null, "id-not-proven")]
    public void A_GS1_label_says_it_by_its_identifiers(string text, string? patientID, string? accession, string? finding)
    {
        Cue cue = IdentityText.Read(text.Replace('|', '\u001D'), [Pattern("order", "^ORD-(?<accession_number>.+)$"), Band], CueKind.Label, 3)!;

        Assert.Equal((patientID, accession, finding), (cue.PatientID, cue.AccessionNumber, cue.Finding?.Code));
        Assert.Equal(patientID is null ? null : "GSRN", cue.IssuerOfPatientID);
    }

    [Theory]
    // A medicine's package, a label without FNC1, a name that looks like one: none of them is the patient's label.
    [InlineData("]d20106291041500213", CueKind.Label)]
    [InlineData("8018952012345678901233", CueKind.Label)]
    [InlineData("]C18018952012345678901233", CueKind.FileName)]
    internal void What_is_no_GS1_label_of_ours_is_no_cue(string text, CueKind kind) => Assert.Null(IdentityText.Read(text, [Band], kind, 3));

    [Theory]
    [InlineData("0012345", true, true)]
    [InlineData("]Q30012345", true, true)]
    [InlineData("]L00012345", false, true)]
    [InlineData("]z00012345", false, false)]
    public void A_rare_code_counts_only_for_the_pattern_that_asks_for_it(string text, bool plain, bool asking)
    {
        IdentityPattern pattern = Pattern("wristband", @"^(?<patient_id>\d{7})$");

        Assert.Equal(plain, IdentityText.Read(text, [pattern], CueKind.Label, 3) is not null);
        Assert.Equal(asking, IdentityText.Read(text, [pattern with { AlsoIn = [RareCode.Pdf417] }], CueKind.Label, 3) is not null);
    }

    private static IdentityPattern Band => new("band", null, "GSRN")
    {
        Elements = new Dictionary<string, string> { ["patient_id"] = "8018", ["accession_number"] = "8020" },
    };

    private static Dictionary<string, CheckScheme> Checks(string group, string scheme) => new() { [group] = CheckScheme.Find(scheme)! };

    private static IdentityPattern Pattern(string name, string expression, string? issuer = null) =>
        new(name, new Regex(expression, RegexOptions.NonBacktracking | RegexOptions.CultureInvariant), issuer);
}
