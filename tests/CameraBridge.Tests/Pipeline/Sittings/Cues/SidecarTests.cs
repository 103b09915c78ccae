using System.Text;
using CameraBridge.Pipeline;
using CameraBridge.Pipeline.Sittings.Cues;
using Xunit;

namespace CameraBridge.Tests.Pipeline.Sittings.Cues;

public sealed class SidecarTests
{
    [Theory]
    [InlineData("camerabridge.json", true, null)]
    [InlineData("0042/CameraBridge.JSON", true, null)]
    [InlineData("0042/IMG_0001.JPG.json", true, "0042/IMG_0001.JPG")]
    [InlineData("0042/img.jpeg.JSON", true, "0042/img.jpeg")]
    [InlineData("0042/IMG_0001.json", false, null)]
    [InlineData("0042/settings.json", false, null)]
    [InlineData("0042/IMG_0001.JPG", false, null)]
    [InlineData("camerabridge.json/IMG_0001.JPG", false, null)]
    public void A_sidecar_is_known_by_its_name(string place, bool isSidecar, string? picture)
    {
        Assert.Equal(isSidecar, Sidecar.IsSidecar(place));
        if (isSidecar)
        {
            Assert.Equal(picture, Sidecar.PictureOf(place));
        }
    }

    [Fact]
    public void Every_key_is_read()
    {
        Cue cue = Read("""{"version":1,"patient_id":" P0001 ","issuer":"TESTVALE","accession_number":"A0001","side":"R","optic":"ear"}""");

        Assert.Equal(
            new Cue
            {
                CaptureId = 7,
                Kind = CueKind.Sidecar,
                PatientID = "P0001",
                IssuerOfPatientID = "TESTVALE",
                AccessionNumber = "A0001",
                Side = "R",
                Optic = "ear",
            },
            cue);
    }

    [Fact]
    public void A_byte_order_mark_and_keys_that_say_nothing_are_fine() =>
        Assert.Equal(
            new Cue { CaptureId = 7, Kind = CueKind.Sidecar, PatientID = "P0001" },
            Read("\uFEFF{\"version\":1,\"patient_id\":\"P0001\",\"issuer\":null,\"side\":\"\"}"));

    [Theory]
    [InlineData("""{"version":1,"patient_id":"P0001","patient":"x"}""", "sidecar-unknown-key")]
    [InlineData("""{"version":1,"side":"left"}""", "sidecar-value")]
    [InlineData("""{"version":1,"patient_id":17}""", "sidecar-value")]
    [InlineData("""{"version":1,"patient_id":"P*"}""", "sidecar-value")]
    [InlineData("""{"version":1,"patient_id":"P\\Q"}""", "sidecar-value")]
    [InlineData("""{"version":1,"patient_id":"P\u0007"}""", "sidecar-value")]
    [InlineData("""{"version":2,"patient_id":"P0001"}""", "sidecar-unreadable")]
    [InlineData("""{"patient_id":"P0001"}""", "sidecar-unreadable")]
    [InlineData("""{"version":1,"patient_id":"P0001","patient_id":"P0002"}""", "sidecar-unreadable")]
    [InlineData("""["version"]""", "sidecar-unreadable")]
    [InlineData("""{"version":1""", "sidecar-unreadable")]
    [InlineData("", "sidecar-unreadable")]
    [InlineData("""{"version":1,"a":[[[[[[[[[[1]]]]]]]]]]}""", "sidecar-unreadable")]
    public void What_is_not_understood_is_a_finding_that_names_no_patient(string json, string code)
    {
        Cue cue = Read(json);

        Assert.Equal(code, cue.Finding?.Code);
        Assert.DoesNotContain("P0001", cue.Finding!.Words, StringComparison.Ordinal);
    }

    [Fact]
    public void A_file_too_large_is_not_parsed() =>
        Assert.Equal("sidecar-unreadable", Sidecar.Read(7, new byte[Sidecar.LongestFile + 1]).Finding?.Code);

    private static Cue Read(string json) => Sidecar.Read(7, Encoding.UTF8.GetBytes(json));
}
