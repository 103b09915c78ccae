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
    public void What_an_optic_knows_is_read_in_the_words_of_the_optics_table()
    {
        Cue cue = Read("""
            {"version":1,"optic":"retina","side":"L","with":["red-free","dilated"],"lens_power":-12.50,"pupil":"dilated","mydriatics":["Tropicamide","386693003"],
             "tooth":[11,"21"],"body_site":"skin of back","immersion":"oil","taken_at":"2026-11-25 09:30"}
            """);

        Assert.Null(cue.Finding);
        Assert.Equal(("retina", "L"), (cue.Optic, cue.Side));
        Assert.Equal(["red-free", "dilated"], cue.Values.All("with"));
        Assert.Equal(("-12.5", "YES", "MINERAL_OIL"), (cue.Values.One("lens_power"), cue.Values.One("pupil"), cue.Values.One("immersion")));
        Assert.Equal(["11", "21"], cue.Values.All("tooth"));
        // PS3.16 CID 4208 and CID 4029.
        Assert.Equal(["9190005|SCT|Tropicamide", "386693003|SCT|Phenylephrine"], cue.Values.All("mydriatics"));
        Assert.Equal("66643007|SCT|Skin of back", cue.Values.One("body_site"));
        Assert.Equal("2026-11-25T09:30:00", cue.Values.One("taken_at"));
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
    [InlineData("""{"version":1,"patient_id":["P1","P2"]}""", "sidecar-value")]
    [InlineData("""{"version":1,"side":["R","L"]}""", "sidecar-value")]
    [InlineData("""{"version":1,"tooth":"19"}""", "sidecar-value")]
    [InlineData("""{"version":1,"lens_power":"weak"}""", "sidecar-value")]
    [InlineData("""{"version":1,"body_site":"elbow of the chair"}""", "sidecar-value")]
    [InlineData("""{"version":1,"with":[["a"]]}""", "sidecar-value")]
    [InlineData("""{"version":1,"recognizable":{"yes":1}}""", "sidecar-value")]
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
