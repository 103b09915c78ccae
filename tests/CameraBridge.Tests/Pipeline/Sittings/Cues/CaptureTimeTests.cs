using CameraBridge.Dicom.Bitstreams;
using CameraBridge.Pipeline.Sittings.Cues;
using Xunit;

namespace CameraBridge.Tests.Pipeline.Sittings.Cues;

/// <summary>Times of capture. The changes of clocks in Berlin are those of Directive 2000/84/EC: the last Sundays of March and October, 01:00 UTC.</summary>
public sealed class CaptureTimeTests
{
    private static readonly TimeZoneInfo Berlin = TimeZoneInfo.FindSystemTimeZoneById("Europe/Berlin");

    private static readonly DateTimeOffset Modified = new(2026, 7, 1, 10, 0, 0, TimeSpan.Zero);

    [Theory]
    // The camera's own zone wins over the source's.
    [InlineData("2026-07-01T12:00:00", 120, "2026-07-01T12:00:00+02:00", "exif")]
    [InlineData("2026-07-01T12:00:00", -570, "2026-07-01T12:00:00-09:30", "exif")]
    // An offset that no zone has was not written by a clock that knows its zone.
    [InlineData("2026-07-01T12:00:00", 1200, "2026-07-01T12:00:00+02:00", "exif-local")]
    [InlineData("2026-07-01T12:00:00", null, "2026-07-01T12:00:00+02:00", "exif-local")]
    [InlineData("2026-01-01T12:00:00", null, "2026-01-01T12:00:00+01:00", "exif-local")]
    // 2026-10-25: 02:30 comes twice; the first is meant, in summer time.
    [InlineData("2026-10-25T02:30:00", null, "2026-10-25T02:30:00+02:00", "exif-local")]
    // 2026-03-29: 02:30 never was; the camera was not put forward, so it is 02:30 of winter time, 03:30 by the hospital's clock.
    [InlineData("2026-03-29T02:30:00", null, "2026-03-29T03:30:00+02:00", "exif-local")]
    // Midnight belongs to the day that begins.
    [InlineData("2026-12-31T23:59:59", null, "2026-12-31T23:59:59+01:00", "exif-local")]
    [InlineData("2027-01-01T00:00:00", null, "2027-01-01T00:00:00+01:00", "exif-local")]
    public void The_cameras_time_is_read_in_its_own_zone_or_the_sources(string local, int? offsetMinutes, string expected, string origin)
    {
        var exif = new ExifTime(
            DateTime.Parse(local, System.Globalization.CultureInfo.InvariantCulture),
            offsetMinutes is { } minutes ? TimeSpan.FromMinutes(minutes) : null);

        CaptureTime time = CaptureTime.Of(exif, Modified, Berlin);

        Assert.Equal(DateTimeOffset.Parse(expected, System.Globalization.CultureInfo.InvariantCulture), time.At);
        Assert.Equal(DateTimeOffset.Parse(expected, System.Globalization.CultureInfo.InvariantCulture).Offset, time.At.Offset);
        Assert.Equal(origin, time.Origin);
    }

    [Fact]
    public void Without_exif_the_files_time_is_shown_in_the_zone_of_the_source()
    {
        CaptureTime time = CaptureTime.Of(null, Modified, Berlin);

        Assert.Equal(new DateTimeOffset(2026, 7, 1, 12, 0, 0, TimeSpan.FromHours(2)), time.At);
        Assert.Equal(TimeSpan.FromHours(2), time.At.Offset);
        Assert.Equal("file", time.Origin);
    }

    [Theory]
    [InlineData("0001-01-01T00:00:00", 840)]
    [InlineData("0001-01-01T00:00:00", null)]
    [InlineData("9999-12-31T23:59:59", -840)]
    [InlineData("9999-12-31T23:59:59", null)]
    public void A_clock_at_the_ends_of_time_is_survived(string local, int? offsetMinutes)
    {
        var exif = new ExifTime(
            DateTime.Parse(local, System.Globalization.CultureInfo.InvariantCulture),
            offsetMinutes is { } minutes ? TimeSpan.FromMinutes(minutes) : null);

        CaptureTime time = CaptureTime.Of(exif, Modified, Berlin);

        Assert.Equal(exif.Local.Year, time.At.Year);
    }

    [Fact]
    public void Exif_is_found_in_the_first_bytes_and_not_beyond_the_first_scan()
    {
        // FFD8 SOI; FFE0 0006 a short JFIF-like segment; FFDA SOS; an "Exif" behind it is picture data.
        byte[] file = [0xFF, 0xD8, 0xFF, 0xE0, 0x00, 0x06, 1, 2, 3, 4, 0xFF, 0xDA, 0x00, 0x04, 0, 0, 0xFF, 0xE1, 0x00, 0x0A, .. "Exif\0\0II"u8];

        Assert.Null(CaptureTime.ReadExif(file));
    }

    [Theory]
    [InlineData(new byte[0])]
    [InlineData(new byte[] { 0xFF, 0xD8 })]
    [InlineData(new byte[] { 0xFF, 0xD8, 0xFF, 0xE1, 0x00, 0x00 })]
    [InlineData(new byte[] { 0xFF, 0xD8, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF })]
    [InlineData(new byte[] { 0x89, 0x50, 0x4E, 0x47, 0x0D, 0x0A, 0x1A, 0x0A })]
    public void Broken_heads_have_no_time(byte[] head) => Assert.Null(CaptureTime.ReadExif(head));
}
