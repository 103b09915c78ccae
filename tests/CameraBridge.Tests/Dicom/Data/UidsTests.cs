using CameraBridge.Dicom.Data;
using Xunit;

namespace CameraBridge.Tests.Dicom.Data;

/// <summary>UIDs: PS3.5 chapter 9 and section B.2, edition 2025e.</summary>
public sealed class UidsTests
{
    // The worked example of PS3.5 section B.2 and of ITU-T X.667 (2012) section 8.
    [Fact]
    public void A_uuid_becomes_its_number_below_2_25() => Assert.Equal(
        "2.25.329800735698586629295641978511506172918", Uids.FromUuid(Guid.Parse("f81d4fae-7dec-11d0-a765-00a0c91e6bf6")));

    [Theory]
    [InlineData("00000000-0000-0000-0000-000000000000", "2.25.0")]
    [InlineData("00000000-0000-0000-0000-000000000001", "2.25.1")]
    [InlineData("ffffffff-ffff-ffff-ffff-ffffffffffff", "2.25.340282366920938463463374607431768211455")] // 2 to the 128th, less 1
    public void No_zero_leads_and_no_sign_slips_in(string uuid, string uid) => Assert.Equal(uid, Uids.FromUuid(Guid.Parse(uuid)));

    [Fact]
    public void New_ones_are_valid_and_differ()
    {
        string[] many = [.. Enumerable.Range(0, 1000).Select(_ => Uids.NewFromUuid())];

        Assert.All(many, uid => Assert.True(Uids.IsValid(uid)));
        Assert.Equal(many.Length, many.Distinct().Count());
    }

    [Theory]
    [InlineData("1.2.840.10008.1.1", true)]
    [InlineData("0.0", true)]
    [InlineData("2.999", true)]
    [InlineData("1.2.840.08", false)] // leading zero
    [InlineData("1..2", false)]
    [InlineData(".1.2", false)]
    [InlineData("1.2.", false)]
    [InlineData("1", false)]
    [InlineData("3.1", false)]
    [InlineData("12.1", false)]
    [InlineData("1.2.a", false)]
    [InlineData("1.2 ", false)]
    [InlineData("1.2\0", false)]
    [InlineData("", false)]
    [InlineData(null, false)]
    public void Validity_is_of_digits_dots_and_no_leading_zero(string? uid, bool valid) => Assert.Equal(valid, Uids.IsValid(uid));

    [Fact]
    public void Sixty_four_characters_are_the_most()
    {
        Assert.True(Uids.IsValid("1." + new string('1', 62)));
        Assert.False(Uids.IsValid("1." + new string('1', 63)));
    }
}
