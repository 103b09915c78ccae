using CameraBridge.Dicom.Dictionary;
using CameraBridge.Pipeline;
using CameraBridge.Pipeline.Objects;
using CameraBridge.Tests.Dicom.Bitstreams;
using CameraBridge.Tests.Peers;
using Xunit;

namespace CameraBridge.Tests.Pipeline.Objects;

/// <summary>When pictures were taken, by a clock that is known, unknown or reset; and what their objects say of it.</summary>
public sealed class CameraTimesTests
{
    private static readonly TimeZoneInfo Berlin = TimeZoneInfo.FindSystemTimeZoneById("Europe/Berlin");
    private static readonly DateTimeOffset Shown = new(2026, 2, 28, 9, 15, 0, TimeSpan.FromHours(1));

    [Fact]
    public void A_clock_that_is_known_to_seconds_corrects_the_time() =>
        Assert.Equal(Shown.AddSeconds(-192), TimesBy(new ClockEstimate { OffsetSeconds = 192.3, DeviationSeconds = 4, Cards = 1 }).Of(Picture()));

    [Theory]
    [InlineData(192, 200)]
    [InlineData(1.4, 1)]
    [InlineData(30, 20)]
    public void A_clock_that_is_known_less_well_or_nearly_right_leaves_it(double offset, double deviation)
    {
        CameraTimes times = TimesBy(new ClockEstimate { OffsetSeconds = offset, DeviationSeconds = deviation, Cards = 1 });

        Assert.Equal(Shown, times.Of(Picture()));
        Assert.Null(times.CorrectionOf(Picture()));
    }

    [Fact]
    public void A_clock_of_another_camera_corrects_nothing_and_a_clip_names_no_camera()
    {
        CameraTimes times = TimesBy(new ClockEstimate { OffsetSeconds = 60, DeviationSeconds = 2, Cards = 1, Camera = "Beispiel A 1" });

        Assert.Equal(Shown, times.Of(Picture() with { Camera = "Beispiel B 2" }));
        Assert.Equal(Shown.AddSeconds(-60), times.Of(Picture() with { Camera = "Beispiel A 1" }));
        Assert.Equal(Shown.AddSeconds(-60), times.Of(Picture()));
    }

    [Fact]
    public void A_clock_that_was_reset_gives_no_time_that_looks_right()
    {
        CameraClock reset = new(null, [new Reason(CameraClock.Reset, "the camera's clock was reset: it shows 2026")]);

        Assert.Null(new CameraTimes(new Match { Clock = reset }, Berlin).Of(Picture() with { TakenAt = Shown.AddDays(-58) }));
    }

    [Fact]
    public void A_clock_that_was_reset_and_is_known_since_gives_the_right_one()
    {
        DateTimeOffset shown = new(2000, 1, 1, 0, 12, 0, TimeSpan.FromHours(1));
        ClockEstimate known = new() { OffsetSeconds = (shown - Shown).TotalSeconds, DeviationSeconds = 3, Cards = 1 };
        CameraTimes times = new(new Match { Clock = new CameraClock(known, [new Reason(CameraClock.Reset, "reset")]) }, Berlin);

        Assert.Equal(Shown, times.Of(Picture() with { TakenAt = shown }));
        Assert.Equal(shown, times.CorrectionOf(Picture() with { TakenAt = shown })!.Shown);
    }

    [Fact]
    public void What_would_be_later_than_its_arrival_is_no_time() =>
        Assert.Null(TimesBy(new ClockEstimate { OffsetSeconds = -7200, DeviationSeconds = 3, Cards = 1 }).Of(Picture()));

    [Fact]
    public void The_corrected_time_is_told_in_the_zone_of_the_source_on_its_side_of_summer_time()
    {
        // On 2026-10-25 the hour from 02:00 comes twice; 03:30 comes once, in winter time.
        DateTimeOffset shown = new(2026, 10, 25, 4, 30, 0, TimeSpan.FromHours(1));
        Capture capture = Picture() with { TakenAt = shown, SettledAt = shown.AddHours(2) };

        Assert.Equal(new DateTimeOffset(2026, 10, 25, 3, 30, 0, TimeSpan.FromHours(1)), TimesBy(new ClockEstimate { OffsetSeconds = 3600, DeviationSeconds = 3, Cards = 1 }).Of(capture));
    }

    /// <summary>
    /// PS3.3 Table C.12-1 and section C.12.1.1.9 (edition 2025e): Original Attributes Sequence has the attributes with their previous values; the reason CORRECT is for incorrect
    /// values that were replaced. Read back by pydicom, and judged by dciodvfy.
    /// </summary>
    [Fact]
    public async Task An_object_keeps_what_the_camera_showed_and_by_how_much_it_was_corrected()
    {
        OutsideProgram.Require("dciodvfy");
        string folder = Directory.CreateTempSubdirectory("corrected-").FullName;
        string photograph = Path.Combine(folder, "a.jpg");
        await File.WriteAllBytesAsync(photograph, new TestJpeg().ToBytes(), TestContext.Current.CancellationToken);
        ObjectFacts facts = TestFacts.Of(photograph);
        facts = facts with
        {
            Picture = facts.Picture with
            {
                TakenAt = Shown.AddSeconds(-192),
                Correction = new TimeCorrection(Shown, 192, 4.26, new DateTimeOffset(2026, 2, 28, 12, 0, 0, TimeSpan.Zero)),
            },
        };
        ObjectOutcome.Made made = Assert.IsType<ObjectOutcome.Made>(facts.Compose());
        string path = Path.Combine(folder, "a.dcm");
        await ObjectJudgesTests.WriteAsync(path, facts, made);

        string told = await OutsideProgram.RunAsync(
            OutsideProgram.Python,
            "-c",
            """
            import sys, pydicom
            o = pydicom.dcmread(sys.argv[1])
            i = o.OriginalAttributesSequence[0]
            p = i.ModifiedAttributesSequence[0]
            n = {c.ConceptNameCodeSequence[0].CodeValue: str(c.NumericValue) for c in o.AcquisitionContextSequence}
            print(o.AcquisitionDateTime, o.ContentDate, o.ContentTime, '|', p.AcquisitionDateTime, p.ContentDate, p.ContentTime, '|',
                  i.ReasonForTheAttributeModification, i.ModifyingSystem, i.SourceOfPreviousValues, i.AttributeModificationDateTime, '|', n['CLOCK_FAST'], n['CLOCK_DEVIATION'])
            """,
            path);

        Assert.Equal(
            "20260228091148+0100 20260228 091148 | 20260228091500+0100 20260228 091500 | CORRECT CameraBridge Clock of the camera 20260228120000+0000 | 192 4.3",
            told.Trim());
        Assert.DoesNotContain("Error", await OutsideProgram.RunAsync("dciodvfy", path), StringComparison.Ordinal);
        Assert.Equal("CORRECT", made.DataSet.GetItem(Tags.OriginalAttributesSequence)!.GetString(Tags.ReasonForTheAttributeModification));
    }

    private static CameraTimes TimesBy(ClockEstimate known) => new(new Match { Clock = new CameraClock(known, []) }, Berlin);

    private static Capture Picture() => new()
    {
        Source = "van",
        Place = "1/a.jpg",
        Folder = "1",
        Sha256 = new string('0', 64),
        SpoolName = "a",
        TakenAt = Shown,
        TakenAtOrigin = "exif-local",
        SettledAt = Shown.AddHours(1),
    };
}
