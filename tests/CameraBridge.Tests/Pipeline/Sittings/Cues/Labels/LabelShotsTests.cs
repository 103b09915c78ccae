using System.Text.RegularExpressions;
using CameraBridge.Configuration;
using CameraBridge.Persistence;
using CameraBridge.Pipeline;
using CameraBridge.Pipeline.Matches;
using CameraBridge.Pipeline.Sittings.Cues;
using CameraBridge.Pipeline.Sittings.Cues.Labels;
using CameraBridge.Tests.Pipeline.Matches;
using Microsoft.Extensions.Logging.Abstractions;
using Xunit;
using ZXing;
using Capture = CameraBridge.Pipeline.Capture;

namespace CameraBridge.Tests.Pipeline.Sittings.Cues.Labels;

/// <summary>From the picture of a label to whose pictures follow. The NHS number is the NHS's specimen 943 476 5919 (from memory), or that with a digit misread.</summary>
public sealed class LabelShotsTests : IDisposable
{
    private static readonly IdentityPattern[] Patterns =
    [
        new("band", new Regex("^NHS=(?<patient_id>[0-9]{10})$"), "NHS") { CheckDigits = new Dictionary<string, CheckScheme> { ["patient_id"] = CheckScheme.Find("nhs-number")! } },
        new("sheet", new Regex("^ACC=(?<accession_number>[A-Z0-9]+)$")),
    ];

    private readonly string _spool = Directory.CreateTempSubdirectory("camerabridge-shots-").FullName;

    public void Dispose() => Directory.Delete(_spool, recursive: true);

    [Theory]
    [InlineData(BarcodeFormat.QR_CODE)]
    [InlineData(BarcodeFormat.CODE_128)]
    [InlineData(BarcodeFormat.DATA_MATRIX)]
    public void A_label_with_a_wrong_check_digit_holds_its_pictures_with_the_reason_and_names_nobody(BarcodeFormat format)
    {
        Identity identity = Look(LabelScenes.Label(1, format, "NHS=9434765918", Difficulty.Easy, 1280, 960));

        Reason problem = Assert.Single(identity.Problems);
        Assert.Equal("id-not-proven", problem.Code);
        Assert.Contains("the pattern band", problem.Words, StringComparison.Ordinal);
        Assert.DoesNotContain("94347", problem.Words, StringComparison.Ordinal);
        Assert.Empty(identity.AllPatientIDs);
    }

    [Fact]
    public void Codes_of_one_picture_that_agree_say_it_together()
    {
        Identity identity = Look(LabelScenes.TwoLabels(1, BarcodeFormat.QR_CODE, "NHS=9434765919", BarcodeFormat.CODE_128, "ACC=AB123456", 1280, 960));

        Assert.Empty(identity.Problems);
        Assert.Equal(("9434765919", "AB123456"), (identity.PatientID, identity.AccessionNumber));
    }

    [Fact]
    public void The_same_ID_in_two_symbologies_is_said_once()
    {
        Identity identity = Look(LabelScenes.TwoLabels(1, BarcodeFormat.QR_CODE, "NHS=9434765919", BarcodeFormat.CODE_128, "NHS=9434765919", 1280, 960));

        Assert.Empty(identity.Problems);
        Assert.Equal(["9434765919"], identity.AllPatientIDs);
    }

    [Theory]
    [InlineData("NHS=4010232137", "two-patients")]
    [InlineData("NHS=9434765918", "id-not-proven")]
    public void A_code_beside_it_that_disagrees_or_was_misread_holds(string other, string code)
    {
        Identity identity = Look(LabelScenes.TwoLabels(1, BarcodeFormat.QR_CODE, "NHS=9434765919", BarcodeFormat.QR_CODE, other, 1280, 960));

        Assert.Equal(code, Assert.Single(identity.Problems).Code);
    }

    /// <summary>The picture of a label and one picture after it, as matching sees them.</summary>
    private Identity Look(byte[] label)
    {
        File.WriteAllBytes(Path.Combine(_spool, "1"), label);
        Capture shot = Steps.Picture(1) with { Size = label.Length, SpoolName = "1" };
        var site = new SiteConfiguration { SpoolFolder = _spool, StateFile = "", Labels = new LabelConfiguration { Patterns = Patterns } };
        CaptureReading reading = new CuesStage(site, null!, NullLogger<CuesStage>.Instance)
            .Read(new Work(1, Stage.Cues, 1, "", 0, default), shot, new LabelReader());
        return Identity.Of(Steps.Sitting(), [shot, Steps.Picture(2)], reading.Cues);
    }
}
