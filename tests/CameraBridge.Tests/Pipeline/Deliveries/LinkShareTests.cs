using CameraBridge.Configuration;
using CameraBridge.Dicom.Data;
using CameraBridge.Pipeline.Deliveries;
using CameraBridge.Tests.Peers;
using Microsoft.Extensions.Time.Testing;
using Xunit;

namespace CameraBridge.Tests.Pipeline.Deliveries;

/// <summary>What may be used of a link: limits by time of day in the site's zone, and clips that give way to stills.</summary>
public sealed class LinkShareTests
{
    private static readonly TimeZoneInfo London = TimeZoneInfo.FindSystemTimeZoneById("Europe/London");

    private static readonly TimeSpan Step = TimeSpan.FromMilliseconds(20);

    private readonly FakeTimeProvider _clock = new(new DateTimeOffset(2026, 7, 1, 11, 0, 0, TimeSpan.Zero));

    private static CancellationToken Cancellation => TestContext.Current.CancellationToken;

    [Fact]
    public async Task A_megabyte_at_two_megabits_a_second_takes_four_seconds()
    {
        LinkShare link = Link(new BandwidthWindow(default, default, 2_000_000));

        TimeSpan taken = await _clock.TurnUntilDoneAsync(SendAsync(link, 1_000_000, isClip: false), Cancellation, Step);

        Assert.InRange(taken, TimeSpan.FromSeconds(3.7), TimeSpan.FromSeconds(4.5));
    }

    [Fact]
    public async Task Two_that_send_at_once_share_the_limit()
    {
        LinkShare link = Link(new BandwidthWindow(default, default, 2_000_000));

        TimeSpan taken = await _clock.TurnUntilDoneAsync(Task.WhenAll(SendAsync(link, 1_000_000, isClip: false), SendAsync(link, 1_000_000, isClip: false)), Cancellation, Step);

        Assert.InRange(taken, TimeSpan.FromSeconds(7.7), TimeSpan.FromSeconds(9));
    }

    [Fact]
    public async Task Outside_its_hours_a_limit_does_not_hold()
    {
        LinkShare link = Link(new BandwidthWindow(new TimeOnly(7, 0), new TimeOnly(11, 30), 1000));

        // 11:00 UTC in July is 12:00 in London.
        await SendAsync(link, 1_000_000, isClip: false);

        Assert.Null(link.Limit);
    }

    [Fact]
    public void Nothing_is_begun_while_the_link_is_closed_and_its_opening_is_told()
    {
        LinkShare link = Link(new BandwidthWindow(new TimeOnly(8, 0), new TimeOnly(18, 30), 0));

        Assert.Equal(new DateTimeOffset(2026, 7, 1, 17, 30, 0, TimeSpan.Zero), link.ClosedUntil);
        _clock.Advance(TimeSpan.FromHours(6.6));
        Assert.Null(link.ClosedUntil);
    }

    [Theory]
    [InlineData(23, true)]
    [InlineData(3, true)]
    [InlineData(6, false)]
    [InlineData(19, false)]
    public void A_window_may_run_over_midnight(int hour, bool covers) =>
        Assert.Equal(covers, new BandwidthWindow(new TimeOnly(20, 0), new TimeOnly(6, 0), 0).Covers(new TimeOnly(hour, 0)));

    [Fact]
    public async Task A_clip_gives_way_while_stills_are_sent_and_not_for_longer_than_an_archive_waits()
    {
        LinkShare link = Link(new BandwidthWindow(default, default, 8_000_000));
        IDisposable stills = link.Stills();
        ValueTask waiting = link.TakeAsync(1000, isClip: true, Cancellation);
        Assert.False(waiting.IsCompleted);

        stills.Dispose();
        await _clock.TurnUntilDoneAsync(waiting.AsTask(), Cancellation);

        using IDisposable again = link.Stills();
        TimeSpan held = await _clock.TurnUntilDoneAsync(link.TakeAsync(1000, isClip: true, Cancellation).AsTask(), Cancellation);
        Assert.InRange(held, LinkShare.YieldLimit, LinkShare.YieldLimit + TimeSpan.FromSeconds(5));
    }

    [Theory]
    [InlineData("2 Mbit/s", 2_000_000)]
    [InlineData("512kbit/s", 512_000)]
    [InlineData("0.5 Gbit/s", 500_000_000)]
    [InlineData("none", 0)]
    public void A_rate_is_a_number_and_a_unit(string text, long bits)
    {
        Assert.Null(BandwidthReader.Rate(text, out long read));
        Assert.Equal(bits, read);
    }

    [Theory]
    [InlineData("2")]
    [InlineData("fast")]
    [InlineData("-1 Mbit/s")]
    [InlineData("0 kbit/s")]
    public void What_is_no_rate_is_told(string text) => Assert.NotNull(BandwidthReader.Rate(text, out _));

    [Fact]
    public void A_paced_source_keeps_its_pace_among_others()
    {
        static ValueTask Pace(int bytes, CancellationToken cancellation) => ValueTask.CompletedTask;
        PixelSource paced = PixelSource.FromBytes(new byte[] { 1, 2 }).Paced(Pace);

        Assert.NotNull(PixelSource.Concat(PixelSource.FromBytes(new byte[] { 0 }), paced).Pace);
        Assert.Null(PixelSource.FromBytes(new byte[] { 0 }).Pace);
    }

    private LinkShare Link(params BandwidthWindow[] windows) => new(windows, London, _clock);

    private static async Task SendAsync(LinkShare link, int bytes, bool isClip)
    {
        for (int sent = 0; sent < bytes; sent += 10_000)
        {
            await link.TakeAsync(10_000, isClip, Cancellation);
        }
    }
}
