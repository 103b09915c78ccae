using CameraBridge.Dicom.Bitstreams;
using Xunit;

namespace CameraBridge.Tests.Dicom.Bitstreams;

/// <summary>Exif metadata, CIPA DC-008-Translation-2019 (version 2.32), sections 4.5.4 (structure), 4.6.4 and 4.6.5 (tags).</summary>
public sealed class ExifTests
{
    [Theory]
    [InlineData(true)]
    [InlineData(false)]
    public void The_tags_are_read_in_both_byte_orders(bool bigEndian)
    {
        Exif exif = Exif.Read(new TestTiff(bigEndian)
            .Main(0x010F, "Invented Optics").Main(0x0110, "Otocam 3").Main(0x0112, 6).Main(0x0131, "1.2").Main(0x0132, "2026:03:01 08:00:00")
            .Exif(0x9003, "2026:02:28 23:59:58").Exif(0x9004, "2026:02:28 23:59:59").Exif(0x9010, "-03:30").Exif(0x9011, "+01:00")
            .Exif(0x9291, "25").Exif(0xA001, 1).Exif(0xA431, "SN 7").Interoperability(0x0001, "R98")
            .ToBytes());

        Assert.Equal(new ExifTime(new DateTime(2026, 2, 28, 23, 59, 58, 250), TimeSpan.FromHours(1)), exif.Original);
        Assert.Equal(new ExifTime(new DateTime(2026, 2, 28, 23, 59, 59), null), exif.Digitized);
        Assert.Equal(new ExifTime(new DateTime(2026, 3, 1, 8, 0, 0), -TimeSpan.FromHours(3.5)), exif.Changed);
        Assert.Equal(exif.Original, exif.Captured);
        Assert.Equal(("Invented Optics", "Otocam 3", "1.2", "SN 7"), (exif.Make, exif.Model, exif.Software, exif.BodySerialNumber));
        Assert.Equal((6, 1, "R98"), (exif.Orientation, exif.ColorSpace, exif.InteroperabilityIndex));
        Assert.Empty(exif.Flaws);
    }

    [Theory]
    [InlineData("    :  :     :  :  ")]
    [InlineData("0000:00:00 00:00:00")]
    [InlineData("2026:02:30 10:00:00")]
    [InlineData("2026-02-03 10:00:00")]
    [InlineData("")]
    public void A_clock_that_was_never_set_gives_no_time(string text) =>
        Assert.Null(Exif.Read(new TestTiff(true).Exif(0x9003, text).ToBytes()).Captured);

    [Theory]
    [InlineData("+14:00", 14 * 60)]
    [InlineData("-12:00", -12 * 60)]
    [InlineData("+05:45", 345)]
    [InlineData("+15:00", null)]
    [InlineData("Z", null)]
    [InlineData("   :  ", null)]
    public void An_offset_is_taken_only_when_it_is_one(string text, int? minutes)
    {
        Exif exif = Exif.Read(new TestTiff(false).Exif(0x9003, "2026:02:03 10:00:00").Exif(0x9011, text).ToBytes());

        Assert.Equal(minutes, (int?)exif.Original?.Offset?.TotalMinutes);
    }

    [Theory]
    [InlineData("5", 500)]
    [InlineData("007", 7)]
    [InlineData("1234567890", 123)]
    [InlineData("x", 0)]
    public void A_fraction_of_any_length_counts(string text, int milliseconds)
    {
        Exif exif = Exif.Read(new TestTiff(false).Exif(0x9003, "2026:02:03 10:00:00").Exif(0x9291, text).ToBytes());

        Assert.Equal(milliseconds, exif.Original?.Local.Millisecond);
    }

    [Theory]
    [InlineData(0)]
    [InlineData(9)]
    public void An_orientation_that_does_not_exist_is_none(int value) =>
        Assert.Null(Exif.Read(new TestTiff(true).Main(0x0112, value).ToBytes()).Orientation);

    [Fact]
    public void Offsets_that_lead_outside_or_in_circles_are_not_followed()
    {
        byte[] tiff = new TestTiff(true).Main(0x0110, "Otocam 3").Exif(0x9003, "2026:02:03 10:00:00").ToBytes();
        for (int at = 0; at < tiff.Length; at++)
        {
            foreach (byte value in (byte[])[0, 8, 0x7F, 0xFF])
            {
                byte[] changed = [.. tiff];
                changed[at] = value;
                Exif.Read(changed);
                Exif.Read(changed.AsSpan(0, at));
            }
        }

        byte[] circle = [(byte)'M', (byte)'M', 0, 42, 0, 0, 0, 8, 0, 1, 0x87, 0x69, 0, 4, 0, 0, 0, 1, 0, 0, 0, 8, 0, 0, 0, 0];
        Assert.Null(Exif.Read(circle).Captured);
    }
}
