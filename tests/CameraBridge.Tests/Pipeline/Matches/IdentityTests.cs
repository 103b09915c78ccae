using CameraBridge.Pipeline;
using CameraBridge.Pipeline.Matches;
using CameraBridge.Pipeline.Sittings.Cues.Cards;
using Xunit;

namespace CameraBridge.Tests.Pipeline.Matches;

public sealed class IdentityTests
{
    private static readonly Capture[] Pictures = [Steps.Picture(1), Steps.Picture(2), Steps.Picture(3)];

    [Fact]
    public void A_label_names_the_patient_for_the_whole_sitting()
    {
        Identity identity = Steps.Identity(Steps.Label("P0001", "TESTVALE"));

        Assert.Empty(identity.Problems);
        Assert.Equal(("P0001", "TESTVALE", null), (identity.PatientID, identity.IssuerOfPatientID, identity.AccessionNumber));
        Assert.Equal("by-label", Assert.Single(identity.Evidence).Code);
    }

    [Fact]
    public void A_wristband_and_an_order_sheet_say_it_together()
    {
        Identity identity = Steps.Identity(Steps.Label("P0001"), Steps.Label(null, accession: "A0001", capture: 2));

        Assert.Empty(identity.Problems);
        Assert.Equal(("P0001", "A0001"), (identity.PatientID, identity.AccessionNumber));
    }

    [Fact]
    public void Nothing_said_is_no_label() => Assert.Equal("no-label", Assert.Single(Steps.Identity().Problems).Code);

    [Fact]
    public void A_misread_label_is_the_only_reason_and_names_nobody()
    {
        Identity identity = Steps.Identity(new Cue { CaptureId = 1, Kind = CueKind.Label, Pattern = "wristband", Finding = new Reason("id-not-proven", "x") });

        Assert.Equal("id-not-proven", Assert.Single(identity.Problems).Code);
        Assert.False(identity.IsNamed);
        Assert.Empty(identity.Evidence);
    }

    [Fact]
    public void A_misread_code_beside_a_good_one_holds()
    {
        Identity identity = Steps.Identity(Steps.Label("P0001"), new Cue { CaptureId = 1, Kind = CueKind.Label, Pattern = "sheet", Finding = new Reason("id-not-proven", "x") });

        Assert.Equal("id-not-proven", Assert.Single(identity.Problems).Code);
        Assert.True(identity.IsNamed);
    }

    [Fact]
    public void Late_pictures_without_a_label_are_said_to_be_late() =>
        Assert.Equal("late-pictures", Assert.Single(Identity.Of(Steps.Sitting("late"), Pictures, []).Problems).Code);

    [Theory]
    [InlineData(nameof(CueKind.Label), nameof(CueKind.Label), "two-patients")]
    [InlineData(nameof(CueKind.FolderName), nameof(CueKind.FolderName), "two-patients")]
    [InlineData(nameof(CueKind.Label), nameof(CueKind.FolderName), "contradiction")]
    [InlineData(nameof(CueKind.Label), nameof(CueKind.Sidecar), "contradiction")]
    [InlineData(nameof(CueKind.Sidecar), nameof(CueKind.FolderName), "contradiction")]
    [InlineData(nameof(CueKind.Label), nameof(CueKind.FileName), "contradiction")]
    public void Two_patients_are_never_one(string first, string second, string code)
    {
        Identity identity = Steps.Identity(
            new Cue { CaptureId = 1, Kind = Enum.Parse<CueKind>(first), PatientID = "P0001" }, new Cue { CaptureId = 2, Kind = Enum.Parse<CueKind>(second), PatientID = "P0002" });

        Reason problem = Assert.Single(identity.Problems, problem => problem.Code == code);
        Assert.Null(identity.PatientID);
        Assert.Equal(["P0001", "P0002"], identity.AllPatientIDs);
        Assert.DoesNotContain("P000", problem.Words, StringComparison.Ordinal);
    }

    [Fact]
    public void A_card_is_told_among_the_evidence_names_nobody_and_needs_no_name_of_its_own()
    {
        Cue card = new() { CaptureId = 2, Kind = CueKind.Card, Card = new CardCue("side", "R"), Side = "R" };
        Cue[] names = [.. ((long[])[1, 3]).Select(capture => new Cue { CaptureId = capture, Kind = CueKind.FileName, PatientID = "P0001" })];

        Identity identity = Steps.Identity([.. names, card]);

        Assert.Empty(identity.Problems);
        Assert.Equal("a cue card in picture 2: side R, from there on", identity.Evidence[^1].Words);
        Assert.Equal("no-label", Assert.Single(Steps.Identity(card).Problems).Code);
    }

    [Fact]
    public void A_card_that_a_person_must_explain_holds_whatever_the_label_says()
    {
        Cue card = new() { CaptureId = 1, Kind = CueKind.Card, Card = new CardCue("ignore", "last") };

        Assert.Equal("card-ignores-nothing", Assert.Single(Steps.Identity(Steps.Label("P0001"), card).Problems).Code);
    }

    [Theory]
    // Leading zeros and letter case tell patients apart.
    [InlineData("0012345", "12345")]
    [InlineData("p0001", "P0001")]
    public void Ids_that_only_look_alike_are_two_patients(string one, string other) =>
        Assert.Contains(Steps.Identity(Steps.Label(one), Steps.Label(other)).Problems, problem => problem.Code == "two-patients");

    [Fact]
    public void The_same_id_of_two_issuers_is_not_one_patient() =>
        Assert.Equal("two-issuers", Assert.Single(Steps.Identity(Steps.Label("P0001", "EAST"), Steps.Label("P0001", "WEST")).Problems).Code);

    [Fact]
    public void Two_orders_of_one_patient_are_not_chosen_between() =>
        Assert.Equal(
            "several-orders",
            Assert.Single(Steps.Identity(Steps.Label("P0001", accession: "A1"), Steps.Label("P0001", accession: "A2")).Problems).Code);

    [Theory]
    [InlineData("P*", null)]
    [InlineData("P?", null)]
    [InlineData("P1\\P2", null)]
    [InlineData(null, "A0001000000000000")]
    [InlineData(null, "A*")]
    [InlineData("P\u001D1", null)]
    public void What_would_be_a_wildcard_or_too_long_is_no_identity(string? patientID, string? accession) =>
        Assert.Contains(Steps.Identity(Steps.Label(patientID, accession: accession)).Problems, problem => problem.Code == "identity-invalid");

    [Fact]
    public void File_names_identify_only_their_own_pictures()
    {
        Cue[] some = [Named(1), Named(2)];
        Cue[] all = [.. some, Named(3)];

        Assert.Equal("partly-identified", Assert.Single(Identity.Of(Steps.Sitting(), Pictures, some).Problems).Code);
        Assert.Empty(Identity.Of(Steps.Sitting(), Pictures, all).Problems);

        static Cue Named(long capture) => new() { CaptureId = capture, Kind = CueKind.FileName, PatientID = "P0001" };
    }

    [Fact]
    public void A_pictures_own_sidecar_speaks_for_that_picture_and_a_folders_for_all()
    {
        Capture own = Steps.Picture(9, "0001/IMG_0001.JPG.json");
        Capture folder = Steps.Picture(8, "0001/camerabridge.json");
        Cue cue = new() { CaptureId = 9, Kind = CueKind.Sidecar, PatientID = "P0001" };

        Assert.Equal("partly-identified", Assert.Single(Identity.Of(Steps.Sitting(), [.. Pictures, own], [cue]).Problems).Code);
        Assert.Empty(Identity.Of(Steps.Sitting(), [.. Pictures, folder], [cue with { CaptureId = 8 }]).Problems);

        // Where a folder was divided, its sidecar lies with another part.
        Assert.Empty(Identity.Of(Steps.Sitting(), Pictures, [cue with { CaptureId = 77 }]).Problems);
    }

    [Fact]
    public void Findings_doubts_and_unreadable_pictures_hold()
    {
        var finding = new Reason("sidecar-unknown-key", "words");
        Identity identity = Identity.Of(
            Steps.Sitting("unreadable", "the order is in doubt"),
            Pictures,
            [Steps.Label("P0001"), new Cue { CaptureId = 2, Kind = CueKind.Sidecar, Finding = finding }, new Cue { CaptureId = 3, Kind = CueKind.Unreadable }]);

        Assert.Equal(["sitting-in-doubt", "sidecar-unknown-key", "unreadable-picture"], identity.Problems.Select(problem => problem.Code));
    }
}
