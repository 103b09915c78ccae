using CameraBridge.Dicom.Data;
using Xunit;

namespace CameraBridge.Tests.Dicom.Data;

/// <summary>DA, TM and DT of PS3.5 section 6.2, edition 2025e, and ranges of them, PS3.4 section C.2.2.2.5.</summary>
public sealed class DateTimesTests
{
    [Theory]
    [InlineData("19930822")] // the example of Table 6.2-1
    [InlineData("1993.08.22")] // the form before version 3.0, note of Table 6.2-1
    [InlineData("1993-08-22")]
    [InlineData("19930822 ")]
    public void Dates_are_read_in_old_forms_too(string text)
    {
        Assert.True(DicomDateTime.TryParseDate(text, out DateOnly date));
        Assert.Equal(new DateOnly(1993, 8, 22), date);
    }

    [Theory]
    [InlineData("19930229")]
    [InlineData("199308")]
    [InlineData("1993.8.22")]
    [InlineData("22.08.1993")]
    [InlineData("")]
    [InlineData(null)]
    public void What_is_no_date_is_none(string? text) => Assert.False(DicomDateTime.TryParseDate(text, out _));

    [Theory]
    [InlineData("070907.0705", "07:09:07.0705", "07:09:07.0705999")] // the examples of Table 6.2-1
    [InlineData("1010", "10:10:00", "10:10:59.9999999")]
    [InlineData("10", "10:00:00", "10:59:59.9999999")]
    [InlineData("103000", "10:30:00", "10:30:00.9999999")]
    [InlineData("103000.123456", "10:30:00.123456", "10:30:00.1234569")]
    [InlineData("235960", "23:59:59.9999999", "23:59:59.9999999")] // leap second
    [InlineData("10:30:00", "10:30:00", "10:30:00.9999999")] // the form before version 3.0
    [InlineData("10:30", "10:30:00", "10:30:59.9999999")]
    [InlineData("10:30:00.5", "10:30:00.5", "10:30:00.5999999")]
    public void Times_cover_what_they_leave_open(string text, string earliest, string latest)
    {
        Assert.True(DicomTime.TryParse(text, out DicomTime time));
        Assert.Equal(TimeOnly.Parse(earliest, null), time.Earliest);
        Assert.Equal(TimeOnly.Parse(latest, null), time.Latest);
        Assert.Equal(text.Replace(":", "", StringComparison.Ordinal), time.ToString());
    }

    [Theory]
    [InlineData("240000")] // midnight is 0000 only
    [InlineData("1060")]
    [InlineData("103061")]
    [InlineData("021 ")] // "would be interpreted as": the standard's own example of an invalid value
    [InlineData("1030:00")]
    [InlineData("10300")]
    [InlineData("103000.")]
    [InlineData("-1030")]
    [InlineData("")]
    [InlineData(null)]
    public void What_is_no_time_is_none(string? text) => Assert.False(DicomTime.TryParse(text, out _));

    [Theory]
    [InlineData("2026")]
    [InlineData("202601")]
    [InlineData("20260131")]
    [InlineData("2026013110")]
    [InlineData("20260131103000.25+0100")]
    [InlineData("20260131103060-0500")]
    [InlineData("2026-0500")]
    [InlineData("20260131103000.123456+1400")]
    public void Moments_come_back_as_precise_as_they_were(string text)
    {
        Assert.True(DicomDateTime.TryParse(text, out DicomDateTime moment));
        Assert.Equal(text, moment.ToString());
    }

    [Theory]
    [InlineData("20260229")]
    [InlineData("202613")]
    [InlineData("20260131103000+1500")]
    [InlineData("20260131103000-1300")]
    [InlineData("20260131103000+01")]
    [InlineData("+0100")]
    [InlineData("202601311")]
    public void What_is_no_moment_is_none(string text) => Assert.False(DicomDateTime.TryParse(text, out _));

    [Fact]
    public void The_zone_of_a_moment_is_its_own_or_the_one_given()
    {
        // 5 a.m. UTC is 3 a.m. at -0200: the note on Timezone Offset From UTC, PS3.3 section C.12.1.1.8.
        Assert.True(DicomDateTime.TryParse("20260131030000-0200", out DicomDateTime own));
        Assert.True(DicomDateTime.TryParse("20260131030000", out DicomDateTime bare));

        Assert.Equal(new DateTime(2026, 1, 31, 5, 0, 0), own.ToDateTimeOffset(TimeSpan.FromHours(9)).UtcDateTime);
        Assert.Equal(new DateTime(2026, 1, 31, 5, 0, 0), bare.ToDateTimeOffset(TimeSpan.FromHours(-2)).UtcDateTime);
    }

    [Fact]
    public void Moments_are_written_with_a_zone_and_a_fraction_only_when_there_is_one()
    {
        var moment = new DateTimeOffset(2026, 1, 31, 10, 30, 0, TimeSpan.FromHours(-3.5));

        Assert.Equal("20260131103000-0330", DicomDateTime.From(moment).ToString());
        Assert.Equal("20260131103000.000250-0330", DicomDateTime.From(moment.AddTicks(2509)).ToString());
        Assert.Equal("20260131103000", DicomDateTime.From(moment.DateTime).ToString());
    }

    [Theory]
    [InlineData("20260101-20260103", "20251231 n 20260101 y 20260103 y 20260104 n")]
    [InlineData("20260101-", "20251231 n 20260101 y 99991231 y")]
    [InlineData("-20260103", "00010101 y 20260103 y 20260104 n")]
    [InlineData("20260101", "20251231 n 20260101 y 20260102 n")]
    [InlineData("2026-01-01", "20251231 n 20260101 y 20260102 n")]
    public void A_range_of_dates_holds_both_ends(string text, string cases)
    {
        DateRange range = DateRange.Parse(text);
        foreach (string[] one in cases.Split(' ').Chunk(2))
        {
            Assert.True(DicomDateTime.TryParseDate(one[0], out DateOnly date));
            Assert.Equal(one[1] == "y", range.Contains(date));
        }

        Assert.Equal(text == "2026-01-01" ? "20260101" : text, range.ToString());
    }

    [Theory]
    [InlineData("-")]
    [InlineData("20260101-20260103-20260105")]
    [InlineData("2026-20260103")]
    [InlineData("")]
    public void What_is_no_range_is_none(string text)
    {
        Assert.False(DateRange.TryParse(text, out _));
        Assert.Throws<FormatException>(() => DateRange.Parse(text));
    }

    [Theory]
    [InlineData("10-1145", "09:59:59.9 n 10:00 y 11:45:59.9 y 11:46 n")]
    [InlineData("10-", "09:59 n 10:00 y 23:59 y")]
    [InlineData("-1145", "00:00 y 11:45:59 y 11:46 n")]
    [InlineData("10", "09:59 n 10:59:59 y 11:00 n")]
    public void A_range_of_times_holds_both_ends_as_precise_as_they_are(string text, string cases)
    {
        TimeRange range = TimeRange.Parse(text);
        foreach (string[] one in cases.Split(' ').Chunk(2))
        {
            Assert.Equal(one[1] == "y", range.Contains(TimeOnly.Parse(one[0], null)));
        }

        Assert.Equal(text, range.ToString());
    }

    [Theory]
    [InlineData("20260101-20260102", "20260101", "20260102")]
    [InlineData("20260101-0500-20260102", "20260101-0500", "20260102")]
    [InlineData("20260101100000-0500-20260102100000-0330", "20260101100000-0500", "20260102100000-0330")]
    [InlineData("20260101+0100-20260102+0100", "20260101+0100", "20260102+0100")]
    [InlineData("-20260102-0500", null, "20260102-0500")]
    [InlineData("20260101-0500-", "20260101-0500", null)]
    [InlineData("2025-2026", "2025", "2026")]
    [InlineData("2025-0500", "2025-0500", "2025-0500")] // a zone, no range
    public void The_hyphen_of_a_zone_is_told_from_that_of_a_range(string text, string? from, string? to)
    {
        DateTimeRange range = DateTimeRange.Parse(text);

        Assert.Equal(from, range.From?.ToString());
        Assert.Equal(to, range.To?.ToString());
        Assert.Equal(text, range.ToString());
    }

    [Fact]
    public void A_range_of_moments_compares_across_zones()
    {
        DateTimeRange range = DateTimeRange.Parse("20260101100000+0100-20260101");

        Assert.False(range.Contains(new DateTimeOffset(2026, 1, 1, 8, 59, 59, TimeSpan.Zero), TimeSpan.Zero));
        Assert.True(range.Contains(new DateTimeOffset(2026, 1, 1, 9, 0, 0, TimeSpan.Zero), TimeSpan.Zero));
        Assert.True(range.Contains(new DateTimeOffset(2026, 1, 1, 23, 59, 59, 999, TimeSpan.Zero), TimeSpan.Zero));
        Assert.False(range.Contains(new DateTimeOffset(2026, 1, 2, 0, 0, 0, TimeSpan.Zero), TimeSpan.Zero));
    }
}
