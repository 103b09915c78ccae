using CameraBridge.Dicom.Data;
using Xunit;

namespace CameraBridge.Tests.Dicom.Data;

/// <summary>Table 6.2-1 of PS3.5, edition 2025e: length, repertoire and form of each representation.</summary>
public sealed class ValueRulesTests
{
    [Theory]
    [InlineData(Vr.AE, 16)]
    [InlineData(Vr.CS, 16)]
    [InlineData(Vr.SH, 16)]
    [InlineData(Vr.LO, 64)]
    [InlineData(Vr.PN, 64)]
    [InlineData(Vr.ST, 1024)]
    [InlineData(Vr.LT, 10240)]
    public void The_longest_value_is_right_and_one_more_is_not(Vr vr, int most)
    {
        Assert.Null(ValueRules.Flaw(vr, new string('A', most)));
        Assert.Contains($"{most} ", ValueRules.Flaw(vr, new string('A', most + 1)), StringComparison.Ordinal);
    }

    [Theory]
    [InlineData(Vr.SH, 16)]
    [InlineData(Vr.LO, 64)]
    [InlineData(Vr.PN, 64)]
    [InlineData(Vr.ST, 1024)]
    public void Length_is_of_characters_not_of_bytes_or_code_units(Vr vr, int most)
    {
        Assert.Null(ValueRules.Flaw(vr, string.Concat(Enumerable.Repeat("\U00020BB7", most)))); // 𠮷, four bytes, two code units
        Assert.NotNull(ValueRules.Flaw(vr, string.Concat(Enumerable.Repeat("\U00020BB7", most + 1))));
    }

    [Fact]
    public void A_name_has_sixty_four_characters_in_each_group()
    {
        string group = new('A', 64);

        Assert.Null(ValueRules.Flaw(Vr.PN, $"{group}={group}={group}"));
        Assert.NotNull(ValueRules.Flaw(Vr.PN, $"A={group}A"));
    }

    [Theory]
    [InlineData(Vr.AE, "ARCHIVE 1")]
    [InlineData(Vr.AS, "018M")] // the example of Table 6.2-1
    [InlineData(Vr.CS, "ISO_IR 192")]
    [InlineData(Vr.DA, "20260131")]
    [InlineData(Vr.DS, "-1.5e-3")]
    [InlineData(Vr.DS, "12345678901.2345")]
    [InlineData(Vr.DT, "20260131103000.123456-0330")] // 26 bytes
    [InlineData(Vr.IS, "-2147483648")]
    [InlineData(Vr.LO, "Müller, Station 3 (links)")]
    [InlineData(Vr.LT, "C:\\a\r\n\tb\f")]
    [InlineData(Vr.PN, "Yamada^Tarou=山田^太郎=やまだ^たろう")]
    [InlineData(Vr.TM, "103000.123456")]
    [InlineData(Vr.UC, "no limit")]
    [InlineData(Vr.UI, "1.2.840.10008.1.1")]
    [InlineData(Vr.UR, "https://example.org/a?b=%20#c")]
    [InlineData(Vr.UT, "C:\\a\n")]
    public void Right_values_have_no_flaw(Vr vr, string value) => Assert.Null(ValueRules.Flaw(vr, value));

    [Theory]
    [InlineData(Vr.AE, "A\\B")]
    [InlineData(Vr.AE, "  ")]
    [InlineData(Vr.AE, "ÄRZTE")]
    [InlineData(Vr.AE, "A\u0001")]
    [InlineData(Vr.AS, "18M")]
    [InlineData(Vr.AS, "018m")]
    [InlineData(Vr.CS, "derived")]
    [InlineData(Vr.CS, "A-B")]
    [InlineData(Vr.DA, "20260229")]
    [InlineData(Vr.DA, "2026.01.31")]
    [InlineData(Vr.DA, "20260101-")]
    [InlineData(Vr.DS, "1,5")]
    [InlineData(Vr.DS, "NaN")]
    [InlineData(Vr.DS, "1e")]
    [InlineData(Vr.DS, "1e999")]
    [InlineData(Vr.DS, "1.2345678901234567")]
    [InlineData(Vr.DT, "20260131103000-0000")] // -0000 is not allowed
    [InlineData(Vr.DT, "20260131T103000")]
    [InlineData(Vr.IS, "4294967295")]
    [InlineData(Vr.IS, "1.0")]
    [InlineData(Vr.LO, "A\\B")]
    [InlineData(Vr.LO, "A\nB")]
    [InlineData(Vr.LO, "A\u0085B")]
    [InlineData(Vr.LT, "A\u0007")]
    [InlineData(Vr.PN, "A=B=C=D")]
    [InlineData(Vr.PN, "A^B^C^D^E^F")]
    [InlineData(Vr.PN, "A\\B")]
    [InlineData(Vr.PN, "A\r")]
    [InlineData(Vr.SH, "A\\B")]
    [InlineData(Vr.TM, "10:30")]
    [InlineData(Vr.TM, "103000.1234567")]
    [InlineData(Vr.TM, "2400")]
    [InlineData(Vr.UC, "A\\B")]
    [InlineData(Vr.UI, "1.02")]
    [InlineData(Vr.UR, "a b")]
    public void Wrong_values_are_told_with_a_section(Vr vr, string value)
    {
        string? rule = ValueRules.Flaw(vr, value);

        Assert.NotNull(rule);
        Assert.Contains("PS3.5", rule, StringComparison.Ordinal);
        Assert.DoesNotContain(value, rule, StringComparison.Ordinal);
    }

    [Fact]
    public void Half_a_surrogate_pair_is_no_character()
    {
        Assert.Contains("surrogate", ValueRules.Flaw(Vr.LO, "A\uD800"), StringComparison.Ordinal);
        Assert.Contains("surrogate", ValueRules.Flaw(Vr.PN, "A^\uDC00B"), StringComparison.Ordinal);
    }

    [Theory]
    [InlineData(Vr.DA, "20260101-20260103", true)]
    [InlineData(Vr.DA, "-20260103", true)]
    [InlineData(Vr.DA, "2026*", false)]
    [InlineData(Vr.TM, "10-1145", true)]
    [InlineData(Vr.DT, "2026-", true)]
    [InlineData(Vr.CS, "CAM*", true)]
    [InlineData(Vr.CS, "cam*", false)]
    [InlineData(Vr.PN, "M?ller*", true)]
    [InlineData(Vr.UI, "1.2.*", false)]
    public void Keys_may_be_ranges_and_wildcards(Vr vr, string key, bool right) => Assert.Equal(right, ValueRules.FlawOfKey(vr, key) is null);
}
