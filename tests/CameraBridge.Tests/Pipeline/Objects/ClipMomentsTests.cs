using CameraBridge.Pipeline;
using CameraBridge.Pipeline.Objects;
using Xunit;

namespace CameraBridge.Tests.Pipeline.Objects;

/// <summary>Which clip ran when a still was taken. Times are those of one camera's clock.</summary>
public sealed class ClipMomentsTests
{
    private static readonly DateTimeOffset Ended = new(2026, 2, 28, 9, 15, 40, TimeSpan.FromHours(1));

    [Theory]
    [InlineData(-10, 1, 0)]
    [InlineData(-7.5, 63, 2.5)]
    [InlineData(0, 250, 10)]
    public void A_still_within_a_clip_finds_its_frame(double fromEnd, int frame, double since)
    {
        // 250 frames of 40 ms. The file's time is when the recording ended, so it began 10 s before; frame n is shown from (n - 1) x 40 ms on.
        ClipMoment moment = Moments("file").Find("ear", Ended.AddSeconds(fromEnd))!;

        Assert.Equal((frame, since), (moment.Frame, moment.Since.TotalSeconds));
    }

    [Theory]
    [InlineData("ear", -10.001)]
    [InlineData("ear", 0.001)]
    [InlineData("throat", -5)]
    public void A_still_before_or_after_or_of_another_optic_finds_none(string optic, double fromEnd) =>
        Assert.Null(Moments("file").Find(optic, Ended.AddSeconds(fromEnd)));

    [Fact]
    public void A_time_that_the_stream_tells_is_when_the_recording_began()
    {
        ClipMoments moments = Moments("exif");

        Assert.Null(moments.Find("ear", Ended.AddSeconds(-5)));
        Assert.Equal(5, moments.Find("ear", Ended.AddSeconds(5))!.Since.TotalSeconds);
    }

    [Fact]
    public void Two_clips_at_the_same_time_are_a_clock_that_was_set_and_say_nothing()
    {
        ClipMoments moments = Moments("file");
        moments.Add("ear", Clip("file"), Content(), "1.2", "2.25.2", "2.25.9");

        Assert.Null(moments.Find("ear", Ended.AddSeconds(-5)));
    }

    private static ClipMoments Moments(string origin)
    {
        var moments = new ClipMoments();
        moments.Add("ear", Clip(origin), Content(), "1.2", "2.25.1", "2.25.9");
        return moments;
    }

    private static Capture Clip(string origin) => new()
    {
        Source = "s",
        Place = "1/a.mp4",
        Folder = "1",
        Sha256 = "",
        SpoolName = "a",
        SettledAt = Ended.AddMinutes(1),
        TakenAt = Ended,
        TakenAtOrigin = origin,
    };

    private static ClipContent Content() => new()
    {
        TransferSyntaxUID = "1.2.840.10008.1.2.4.102",
        Rows = 1,
        Columns = 1,
        SamplesPerPixel = 3,
        BitsAllocated = 8,
        BitsStored = 8,
        PhotometricInterpretation = "YBR_PARTIAL_420",
        StreamLength = 1,
        NumberOfFrames = 250,
        FrameTimeMs = 40,
        Duration = TimeSpan.FromSeconds(10),
    };
}
