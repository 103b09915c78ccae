using System.Text;
using System.Text.RegularExpressions;
using CameraBridge.Configuration;
using CameraBridge.Persistence;
using CameraBridge.Pipeline;
using CameraBridge.Pipeline.Sittings.Cues;
using CameraBridge.Pipeline.Sittings.Cues.Cards;
using CameraBridge.Tests.Dicom.Bitstreams;
using CameraBridge.Tests.Pipeline.Sittings.Cues.Scenes;
using Microsoft.Extensions.Logging.Abstractions;
using Xunit;
using ZXing;
using Capture = CameraBridge.Pipeline.Capture;

namespace CameraBridge.Tests.Pipeline.Sittings.Cues;

public sealed class CuesStageTests : IDisposable
{
    private static readonly IdentityPattern Wristband = new("wristband", new Regex("^(?<patient_id>P[0-9]+)$", RegexOptions.NonBacktracking), "TESTVALE");

    private static readonly IdentityPattern AnyText = new("any", new Regex("^(?<patient_id>.+)$", RegexOptions.NonBacktracking), "TESTVALE");

    private readonly string _spool = Directory.CreateTempSubdirectory("camerabridge-cues-").FullName;

    public void Dispose() => Directory.Delete(_spool, recursive: true);

    [Fact]
    public void A_label_shot_gives_its_cue_and_its_time()
    {
        byte[] picture = LabelScenes.Label(1, BarcodeFormat.QR_CODE, "P4711", Difficulty.Easy, 640, 480);
        byte[] tiff = new TestTiff(false).Exif(0x9003, "2026:11:25 09:30:15").Exif(0x9291, "25").ToBytes();

        CaptureReading reading = Read([0xFF, 0xD8, .. TestJpeg.Segment(0xE1, [.. "Exif\0\0"u8, .. tiff]), .. picture[2..]], "0001/IMG_0001.JPG");

        Assert.Equal(
            [new Cue { CaptureId = 9, Kind = CueKind.Label, Pattern = "wristband", PatientID = "P4711", IssuerOfPatientID = "TESTVALE" }], reading.Cues);
        Assert.Equal(new DateTimeOffset(2026, 11, 25, 9, 30, 15, 250, TimeSpan.FromHours(1)), reading.TakenAt);
        Assert.Equal("exif-local", reading.TakenAtOrigin);
    }

    [Fact]
    public void A_code_that_is_no_label_gives_no_cue() =>
        Assert.Empty(Read(LabelScenes.Label(1, BarcodeFormat.QR_CODE, "https://example.org/menu", Difficulty.Easy, 640, 480), "0001/IMG_0001.JPG").Cues);

    [Fact]
    public void Two_patients_labels_in_one_picture_give_two_cues() =>
        Assert.Equal(
            ["P4711", "P4712"],
            Read(LabelScenes.TwoLabels(1, BarcodeFormat.QR_CODE, "P4711", BarcodeFormat.QR_CODE, "P4712", 1280, 960), "0001/IMG_0001.JPG")
                .Cues.Select(cue => cue.PatientID));

    [Fact]
    public void A_cue_card_gives_its_cue_and_is_never_a_label() =>
        Assert.Equal(
            [new Cue { CaptureId = 9, Kind = CueKind.Card, Card = new CardCue("side", "L"), Side = "L" }],
            Read(LabelScenes.Label(1, BarcodeFormat.QR_CODE, CardText.Write(new CardCue("side", "L")), Difficulty.Easy, 640, 480), "0001/IMG_0001.JPG", any: true).Cues);

    [Fact]
    public void A_scale_card_gives_its_measure()
    {
        CodeScene scene = CodeScene.Draw(new SceneSettings { Text = CardText.Write(new CardCue("scale", "500")), Millimetres = 50, Blur = 0.5 });

        Cue cue = Assert.Single(Read(scene.File, "0001/IMG_0001.JPG").Cues);

        Assert.InRange(cue.Scale!.Spacing / scene.Spacing, 0.99, 1.01);
    }

    [Fact]
    public void A_scale_card_that_is_tilted_gives_none_and_holds_nothing()
    {
        CodeScene scene = CodeScene.Draw(new SceneSettings { Text = CardText.Write(new CardCue("scale", "500")), Millimetres = 50, Blur = 0.5, Tilt = 30 });

        Cue cue = Assert.Single(Read(scene.File, "0001/IMG_0001.JPG").Cues);

        Assert.Equal((new CardCue("scale", "500"), null, null), (cue.Card, cue.Scale, cue.Finding));
    }

    [Fact]
    public void A_card_and_a_label_in_one_picture_both_count() =>
        Assert.Equal(
            [(CueKind.Card, "L", null), (CueKind.Label, null, "P4711")],
            Read(LabelScenes.TwoLabels(1, BarcodeFormat.QR_CODE, "P4711", BarcodeFormat.QR_CODE, CardText.Write(new CardCue("side", "L")), 1280, 960), "0001/IMG_0001.JPG")
                .Cues.Select(cue => (cue.Kind, cue.Side, cue.PatientID)));

    [Theory]
    [InlineData("CB1:SIDE:L:0000", "card-damaged")]
    [InlineData("CB7:SIDE:L:0000", "card-version")]
    public void A_card_that_nobody_can_understand_holds_with_the_reason(string text, string code)
    {
        Cue cue = Assert.Single(Read(LabelScenes.Label(1, BarcodeFormat.QR_CODE, text, Difficulty.Easy, 640, 480), "0001/IMG_0001.JPG", any: true).Cues);

        Assert.Equal((CueKind.Card, null, code), (cue.Kind, cue.Card, cue.Finding!.Code));
    }

    [Fact]
    public void What_cannot_be_decoded_may_have_been_a_label()
    {
        byte[] whole = new TestJpeg().ToBytes();
        byte[] label = LabelScenes.Label(1, BarcodeFormat.QR_CODE, "P4711", Difficulty.Easy, 640, 480);

        foreach (byte[] file in new[] { whole[..^30], label[..(label.Length / 2)], [], [0xFF, 0xD8], Encoding.ASCII.GetBytes("not a picture") })
        {
            Cue cue = Assert.Single(Read(file, "0001/IMG_0001.JPG").Cues);
            Assert.Equal(CueKind.Unreadable, cue.Kind);
        }
    }

    [Fact]
    public void A_picture_that_was_cut_and_closed_again_is_unreadable_though_it_decodes()
    {
        byte[] label = LabelScenes.WithoutCode(1, 0, 640, 480);
        byte[] closed = [.. label[..(label.Length / 2)], 0xFF, 0xD9];

        Assert.Contains(Read(closed, "0001/IMG_0001.JPG").Cues, cue => cue.Kind == CueKind.Unreadable);
    }

    [Fact]
    public void A_video_is_not_looked_at() =>
        Assert.Empty(Read([0, 0, 0, 24, .. "ftypmp42"u8, 0, 0, 0, 0, .. "mp42isom"u8], "0001/CLIP0001.MP4").Cues);

    [Fact]
    public void Folder_and_file_names_are_read_by_the_sources_patterns()
    {
        IdentityPattern folder = new("folder", new Regex("^PAT_(?<patient_id>[0-9]+)$"));
        byte[] picture = LabelScenes.WithoutCode(1, 0, 640, 480);

        Assert.Equal(
            [
                new Cue { CaptureId = 9, Kind = CueKind.FolderName, Pattern = "folder", PatientID = "42" },
                new Cue { CaptureId = 9, Kind = CueKind.FileName, Pattern = "folder", PatientID = "43" },
            ],
            Read(picture, "ward/PAT_42/PAT_43.JPG", [folder]).Cues);
    }

    [Fact]
    public void A_pattern_that_never_ends_is_cut_off_and_holds()
    {
        IdentityPattern slow = new("slow", new Regex("^(?<patient_id>(a+)+)$", RegexOptions.None, TimeSpan.FromMilliseconds(20)));

        Cue cue = Assert.Single(Read(LabelScenes.WithoutCode(1, 0, 640, 480), new string('a', 200) + "!.JPG", [slow]).Cues);
        Assert.Equal((CueKind.Unreadable, "pattern-too-slow"), (cue.Kind, cue.Finding!.Code));
    }

    [Fact]
    public void A_sidecar_is_read_and_not_looked_at_as_a_picture()
    {
        Cue cue = Assert.Single(Read("""{"version":1,"patient_id":"P0001","side":"L"}"""u8.ToArray(), "0001/IMG_0001.JPG.json").Cues);

        Assert.Equal((CueKind.Sidecar, "P0001", "L"), (cue.Kind, cue.PatientID, cue.Side));
    }

    [Fact]
    public void With_label_reading_off_only_the_time_is_read()
    {
        byte[] label = LabelScenes.Label(1, BarcodeFormat.QR_CODE, "P4711", Difficulty.Easy, 640, 480);
        byte[] tiff = new TestTiff(true).Exif(0x9003, "2026:11:25 09:30:15").Exif(0x9011, "-09:30").ToBytes();

        CaptureReading reading = Read(
            [0xFF, 0xD8, .. TestJpeg.Segment(0xE0, new byte[60000]), .. TestJpeg.Segment(0xE1, [.. "Exif\0\0"u8, .. tiff]), .. label[2..1000]],
            "0001/IMG_0001.JPG",
            read: false);

        Assert.Empty(reading.Cues);
        Assert.Equal(new DateTimeOffset(2026, 11, 25, 9, 30, 15, TimeSpan.FromMinutes(-570)), reading.TakenAt);
        Assert.Equal("exif", reading.TakenAtOrigin);
    }

    [Fact]
    public void A_spool_file_that_is_gone_is_an_error_and_not_a_picture_without_a_label()
    {
        Capture capture = Of("0001/IMG_0001.JPG", 10);

        Assert.ThrowsAny<IOException>(() => Stage([], true).Read(new Work(1, CameraBridge.Persistence.Stage.Cues, 9, "", 0, default), capture, new LabelReader()));
        Assert.ThrowsAny<IOException>(() => Stage([], false).Read(new Work(1, CameraBridge.Persistence.Stage.Cues, 9, "", 0, default), capture, new LabelReader()));
    }

    /// <param name="file">The picture.</param>
    /// <param name="place">Its name on the source.</param>
    /// <param name="names">Patterns for names.</param>
    /// <param name="read">Whether pictures are looked at.</param>
    /// <param name="any">Every text is a label, so that only what comes before labels can keep one from being one.</param>
    private CaptureReading Read(byte[] file, string place, IReadOnlyList<IdentityPattern>? names = null, bool read = true, bool any = false)
    {
        File.WriteAllBytes(Path.Combine(_spool, "9"), file);
        return Stage(names ?? [], read, any).Read(new Work(1, CameraBridge.Persistence.Stage.Cues, 9, "", 0, default), Of(place, file.Length), new LabelReader());
    }

    private static Capture Of(string place, long size) => new()
    {
        Id = 9,
        Source = "van",
        Place = place,
        Folder = place.Contains('/', StringComparison.Ordinal) ? place[..place.LastIndexOf('/')] : "",
        Size = size,
        ModifiedAt = new DateTimeOffset(2026, 11, 25, 8, 0, 0, TimeSpan.Zero),
        Sha256 = new string('0', 64),
        SpoolName = "9",
    };

    private CuesStage Stage(IReadOnlyList<IdentityPattern> names, bool read, bool any = false)
    {
        var site = new SiteConfiguration
        {
            SpoolFolder = _spool,
            StateFile = "/nonexistent",
            TimeZone = TimeZoneInfo.FindSystemTimeZoneById("Europe/Berlin"),
            Labels = new LabelConfiguration { Read = read, Patterns = [any ? AnyText : Wristband] },
            Sources = [new SourceConfiguration { Name = "van", Folder = "/nonexistent", NamePatterns = names }],
        };
        return new CuesStage(site, null!, NullLogger<CuesStage>.Instance);
    }
}
