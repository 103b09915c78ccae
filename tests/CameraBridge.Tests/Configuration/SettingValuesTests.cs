using CameraBridge.Configuration;
using Xunit;

namespace CameraBridge.Tests.Configuration;

public sealed class SettingValuesTests
{
    [Theory]
    [InlineData("3s", 3000)]
    [InlineData("3 s", 3000)]
    [InlineData(" 2 min ", 120_000)]
    [InlineData("1.5 h", 5_400_000)]
    [InlineData("500ms", 500)]
    [InlineData("7 days", 604_800_000)]
    [InlineData("1 Day", 86_400_000)]
    public void A_duration_is_a_number_and_a_unit(string text, double milliseconds)
    {
        Assert.Null(SettingValues.Duration(text, TimeSpan.Zero, TimeSpan.FromDays(10), out TimeSpan value));
        Assert.Equal(milliseconds, value.TotalMilliseconds);
    }

    [Theory]
    [InlineData("3", "has no unit")]
    [InlineData("3 weeks", "has a unit that is not known, 'weeks'")]
    [InlineData("-3 s", "is no duration")]
    [InlineData("3,5 s", "is no duration")]
    [InlineData("99999999999999999999 h", "is too long")]
    [InlineData("11 days", "is too long")]
    [InlineData("1 ms", "is too short")]
    public void Anything_else_is_refused_with_the_reason(string text, string what) =>
        Assert.Equal(what, SettingValues.Duration(text, TimeSpan.FromMilliseconds(10), TimeSpan.FromDays(10), out _)?.What);

    [Theory]
    [InlineData(0, "0 s")]
    [InlineData(0.5, "500 ms")]
    [InlineData(90, "90 s")]
    [InlineData(120, "2 min")]
    [InlineData(86400, "1 days")]
    public void A_duration_is_written_in_its_largest_whole_unit(double seconds, string text) =>
        Assert.Equal(text, SettingValues.WriteDuration(TimeSpan.FromSeconds(seconds)));

    [Theory]
    [InlineData("0.98", true)]
    [InlineData("0.501", true)]
    [InlineData("0.5", false)]
    [InlineData("1", false)]
    [InlineData("98 %", false)]
    [InlineData("0,98", false)]
    [InlineData("", false)]
    public void A_threshold_lies_above_one_half_and_below_one(string text, bool good) => Assert.Equal(good, SettingValues.Probability(text, out _) is null);

    // PS3.5 2025e Table 6.2-1, AE: 16 bytes maximum, default character repertoire excluding 5CH and control characters, not only spaces.
    [Theory]
    [InlineData("A234567890123456", true)]
    [InlineData("A2345678901234567", false)]
    [InlineData("with space", true)]
    [InlineData("back\\slash", false)]
    [InlineData("ÄRCHIV", false)]
    [InlineData("tab\there", false)]
    [InlineData("    ", false)]
    public void An_ae_title_keeps_the_standards_rule(string title, bool good) => Assert.Equal(good, SettingValues.AETitle(title) is null);

    [Theory]
    [InlineData("foldr", "folder")]
    [InlineData("Time-Zone", "time_zone")]
    [InlineData("fodler", "folder")]
    [InlineData("banana", null)]
    public void The_nearest_word_forgives_a_slip_and_not_more(string written, string? meant) =>
        Assert.Equal(meant, NearestWord.Of(written, ["folder", "time_zone", "port"]));
}
