using System.Globalization;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Pipeline;
using CameraBridge.Pipeline.Objects;
using CameraBridge.Pipeline.Sittings.Cues.Cards;
using CameraBridge.Tests.Dicom.Bitstreams;
using CameraBridge.Tests.Peers;
using Xunit;

namespace CameraBridge.Tests.Pipeline.Objects;

public sealed class SittingScalesTests
{
    private static readonly ScaleMeasure First = new(0.05, 0.006, 2, 640, 480);

    private static readonly ScaleMeasure Second = First with { Spacing = 0.08 };

    [Fact]
    public void A_card_holds_for_the_pictures_after_it_through_the_same_optic_until_the_next_one()
    {
        SittingScales scales = Of(("ear", null), ("ear", First), ("ear", null), ("skin", null), ("ear", null), ("ear", Second), ("ear", null));

        Assert.Equal([null, null, 0.05, null, 0.05, null, 0.08], Spacings(scales, 7));
    }

    [Fact]
    public void A_card_that_could_not_be_measured_ends_the_one_before() =>
        Assert.Equal([null, 0.05, null, null], Spacings(Of([("ear", First), ("ear", null), ("ear", Refused), ("ear", null)]), 4));

    [Fact]
    public void Pictures_of_another_size_get_none_and_turned_ones_do()
    {
        SittingScales scales = Of(("ear", First), ("ear", null));

        Assert.Equal(First, scales.Of(Picture(2), 640, 480));
        Assert.Equal(First, scales.Of(Picture(2), 480, 640));
        Assert.Null(scales.Of(Picture(2), 1280, 960));
    }

    [Fact]
    public async Task An_independent_reader_finds_the_spacing_and_how_it_was_found()
    {
        string folder = Directory.CreateTempSubdirectory("scaled-").FullName;
        string picture = Path.Combine(folder, "picture.jpg");
        await File.WriteAllBytesAsync(picture, new TestJpeg().ToBytes(), TestContext.Current.CancellationToken);
        foreach (string optic in new[] { "wound", "skin" })
        {
            ObjectFacts facts = TestFacts.Of(picture, optic, side: null);
            facts = facts with { Picture = facts.Picture with { Scale = First with { Spacing = 0.0712345678 } } };
            string path = Path.Combine(folder, $"{optic}.dcm");
            await ObjectJudgesTests.WriteAsync(path, facts, Assert.IsType<ObjectOutcome.Made>(facts.Compose()));

            // PS3.3 section 10.7.1.3 (2025e): row spacing, then column spacing, in mm. pydicom is Debian's.
            (int _, string output) = await PeerProcess.RunAsync(
                "/usr/bin/python3",
                ["-c", "import pydicom,sys; d=pydicom.dcmread(sys.argv[1]); print([float(v) for v in d.PixelSpacing], d.PixelSpacingCalibrationType, d.PixelSpacingCalibrationDescription)", path],
                TestContext.Current.CancellationToken);
            Assert.Equal("[0.071235, 0.071235] FIDUCIAL Scale card, +-0.6 %, in its plane only, not validated", output.Trim());
        }

        Directory.Delete(folder, recursive: true);
    }

    [Fact]
    public void An_eye_gets_no_spacing_since_a_card_before_the_lens_says_nothing_of_the_retina()
    {
        string picture = Path.GetTempFileName();
        File.WriteAllBytes(picture, new TestJpeg().ToBytes());
        ObjectFacts facts = TestFacts.Of(picture, "retina");
        facts = facts with { Picture = facts.Picture with { Scale = First } };

        Assert.False(Assert.IsType<ObjectOutcome.Made>(facts.Compose()).DataSet.Contains(Tags.PixelSpacing));
        File.Delete(picture);
    }

    private static ScaleMeasure Refused { get; } = new(0, 0, 0, 0, 0);

    /// <summary>Captures 1, 2, ...: the optic of each, and its card where it is one.</summary>
    private static SittingScales Of(params (string Optic, ScaleMeasure? Card)[] captures) => new(
        [.. Enumerable.Range(1, captures.Length).Select(id => Picture(id))],
        [
            .. captures.Select((capture, index) => (capture.Card, Id: index + 1)).Where(card => card.Card is not null).Select(card => new Cue
            {
                CaptureId = card.Id,
                Kind = CueKind.Card,
                Card = new CardCue(CardKeys.Scale, "500"),
                Scale = ReferenceEquals(card.Card, Refused) ? null : card.Card,
            }),
        ],
        capture => captures[capture.Id - 1].Optic);

    private static double?[] Spacings(SittingScales scales, int count) =>
        [.. Enumerable.Range(1, count).Select(id => scales.Of(Picture(id), 640, 480)?.Spacing)];

    private static Capture Picture(long id) => new()
    {
        Id = id,
        Source = "ent",
        Place = string.Create(CultureInfo.InvariantCulture, $"1/{id}.JPG"),
        Folder = "1",
        Sha256 = "",
        SpoolName = "",
        Size = 1,
    };
}
