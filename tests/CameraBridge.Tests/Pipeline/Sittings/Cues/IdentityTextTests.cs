using System.Text.RegularExpressions;
using CameraBridge.Configuration;
using CameraBridge.Pipeline;
using CameraBridge.Pipeline.Sittings.Cues;
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

    private static IdentityPattern Pattern(string name, string expression, string? issuer = null) =>
        new(name, new Regex(expression, RegexOptions.NonBacktracking | RegexOptions.CultureInvariant), issuer);
}
