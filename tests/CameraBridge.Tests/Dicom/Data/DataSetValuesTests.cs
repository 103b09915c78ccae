using System.Text;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using Xunit;

namespace CameraBridge.Tests.Dicom.Data;

/// <summary>Typed reading, which never throws, and typed writing, which is strict (PS3.5 section 6.2, edition 2025e).</summary>
public sealed class DataSetValuesTests
{
    private static readonly Tag Private = new(0x0009, 0x1001);

    [Fact]
    public void Absent_and_empty_elements_read_as_nothing()
    {
        var set = new DataSet();
        set.SetEmpty(Tags.PatientName);
        set.SetEmpty(Tags.AnatomicRegionSequence);
        foreach (Tag tag in new[] { Tags.PatientName, Tags.AnatomicRegionSequence, Tags.StudyDate })
        {
            Assert.Null(set.GetString(tag));
            Assert.Empty(set.GetStrings(tag));
            Assert.Null(set.GetInt32(tag));
            Assert.Null(set.GetDouble(tag));
            Assert.Null(set.GetDecimal(tag));
            Assert.Null(set.GetPersonName(tag));
            Assert.Null(set.GetDate(tag));
            Assert.Null(set.GetTime(tag));
            Assert.Null(set.GetDateTime(tag));
            Assert.Null(set.GetItem(tag));
            Assert.Empty(set.GetItems(tag));
            Assert.False(set.HasValue(tag));
        }
    }

    // Which spaces count: PS3.5 section 6.2, Table 6.2-1. NUL after text is common practice of peers, no source.
    [Theory]
    [InlineData(Vr.AE, " A B ", "A B")]
    [InlineData(Vr.CS, " A ", "A")]
    [InlineData(Vr.LO, " A ", "A")]
    [InlineData(Vr.SH, "A\0", "A")]
    [InlineData(Vr.UI, "1.2\0", "1.2")]
    [InlineData(Vr.IS, " 12 ", "12")]
    [InlineData(Vr.LT, " A\\B ", " A\\B")]
    [InlineData(Vr.ST, " A ", " A")]
    [InlineData(Vr.UT, " A ", " A")]
    [InlineData(Vr.UC, " A ", " A")]
    [InlineData(Vr.UR, "urn:a ", "urn:a")]
    public void Spaces_that_do_not_count_are_taken_off(Vr vr, string bytes, string expected) =>
        Assert.Equal(expected, With(vr, bytes).GetString(Private));

    [Fact]
    public void Values_are_parted_and_empty_ones_between_others_stay()
    {
        Assert.Equal(["A", "", "B"], With(Vr.LO, "A \\\\ B").GetStrings(Private));
        Assert.Equal(["", "B"], With(Vr.LO, "\\B").GetStrings(Private));
        Assert.Null(With(Vr.LO, "\\B").GetString(Private));
        Assert.Equal([1, -2], With(Vr.IS, "1\\-2 ").GetInt32s(Private));
    }

    [Theory]
    [InlineData(Vr.IS, "12.0", 12)] // seen from peers; common practice, no source
    [InlineData(Vr.IS, "+7", 7)]
    [InlineData(Vr.DS, "5", 5)]
    [InlineData(Vr.DS, "1e2", 100)]
    [InlineData(Vr.IS, "12.5", null)]
    [InlineData(Vr.IS, "abc", null)]
    [InlineData(Vr.IS, "4294967296", null)]
    [InlineData(Vr.IS, "99999999999999999999999999999999999999", null)]
    public void Whole_numbers_are_read_from_text(Vr vr, string text, int? expected) => Assert.Equal(expected, With(vr, text).GetInt32(Private));

    [Fact]
    public void Decimals_are_exact_and_malformed_ones_nothing()
    {
        Assert.Equal(0.1m, With(Vr.DS, "0.1 ").GetDecimal(Private));
        Assert.Equal(0.1, With(Vr.DS, "0.1 ").GetDouble(Private));
        Assert.Empty(With(Vr.DS, "1\\x").GetDoubles(Private));
        Assert.Null(With(Vr.DS, "1e99").GetDecimal(Private));
    }

    [Fact]
    public void Binary_values_cut_short_lose_only_the_last_one()
    {
        var set = new DataSet();
        set.Put(Element.FromBytes(Private, Vr.US, new byte[] { 1, 0, 2, 0, 3 }));

        Assert.Equal([1, 2], set.GetInt32s(Private));
    }

    [Fact]
    public void An_unknown_representation_is_read_as_the_dictionary_says()
    {
        var set = new DataSet();
        set.Put(Element.FromBytes(Tags.Rows, Vr.UN, new byte[] { 0x00, 0x02 }));
        set.Put(Element.FromBytes(Tags.PatientID, Vr.UN, "P1 "u8.ToArray()));

        Assert.Equal(512, set.GetInt32(Tags.Rows));
        Assert.Equal("P1", set.GetString(Tags.PatientID));
    }

    [Fact]
    public void Dates_and_times_are_read_together()
    {
        var set = new DataSet();
        set.SetDate(Tags.ContentDate, new DateOnly(2026, 1, 31));
        Assert.Equal(new DateTime(2026, 1, 31), set.GetDateTime(Tags.ContentDate, Tags.ContentTime));

        set.SetTime(Tags.ContentTime, new TimeOnly(10, 30, 0, 250));
        Assert.Equal("103000.250000", set.GetString(Tags.ContentTime));
        Assert.Equal(new DateTime(2026, 1, 31, 10, 30, 0, 250), set.GetDateTime(Tags.ContentDate, Tags.ContentTime));

        set.SetDateTime(Tags.AcquisitionDateTime, new DateTimeOffset(2026, 1, 31, 10, 30, 0, TimeSpan.FromHours(1)));
        Assert.Equal("20260131103000+0100", set.GetString(Tags.AcquisitionDateTime));
        Assert.Equal(TimeSpan.FromHours(1), set.GetDateTime(Tags.AcquisitionDateTime)?.Offset);
        Assert.Equal(new DateOnly(2026, 1, 31), set.GetDate(Tags.AcquisitionDateTime));
    }

    [Fact]
    public void A_breach_names_tag_keyword_and_rule_but_never_the_value_and_changes_nothing()
    {
        var set = new DataSet();
        set.Set(Tags.PatientID, "P1");
        string secret = "Secret" + new string('x', 60);

        ValueException breach = Assert.Throws<ValueException>(() => set.Set(Tags.PatientID, secret));

        Assert.Equal("(0010,0020) PatientID: LO is at most 64 characters (PS3.5 6.2)", breach.Message);
        Assert.Equal("P1", set.GetString(Tags.PatientID));
    }

    [Fact]
    public void What_does_not_suit_the_representation_is_refused()
    {
        var set = new DataSet();
        Assert.Throws<ValueException>(() => set.Set(Tags.Rows, "512"));
        Assert.Throws<ValueException>(() => set.Set(Tags.ImageType, "DERIVED\\PRIMARY"));
        Assert.Throws<ValueException>(() => set.Set(Tags.PatientID, "A\\B"));
        Assert.Throws<ValueException>(() => set.SetInt(Tags.Rows, 65536));
        Assert.Throws<ValueException>(() => set.SetInt(Tags.Rows, -1));
        Assert.Throws<ValueException>(() => set.SetInt(Tags.PatientID, 1));
        Assert.Throws<ValueException>(() => set.SetDate(Tags.PatientID, default));
        Assert.Throws<ValueException>(() => set.SetDouble(Tags.Rows, 1.5));
        Assert.Throws<ValueException>(() => set.SetItems(Tags.PatientID, new DataSet()));
        Assert.Throws<ValueException>(() => set.SetBytes(Tags.Rows, new byte[3]));
        Assert.Throws<ValueException>(() => set.Set(Private, "no dictionary knows it"));
        Assert.Throws<ValueException>(() => set.Set(Tags.StudyDate, "20260101-20260103"));
        Assert.Equal(0, set.Count);
    }

    [Fact]
    public void Keys_may_be_ranges_and_wildcards()
    {
        var set = new DataSet();
        set.SetKey(Tags.StudyDate, "20260101-20260103");
        set.SetKey(Tags.PatientName, "M*");
        set.SetKey(Tags.Modality, null);

        Assert.Equal("20260101-20260103", set.GetString(Tags.StudyDate));
        Assert.True(set.Contains(Tags.Modality));
        Assert.False(set.HasValue(Tags.Modality));
        Assert.Throws<ValueException>(() => set.SetKey(Tags.StudyDate, "2026*"));
    }

    [Fact]
    public void Several_values_are_written_with_backslashes()
    {
        var set = new DataSet();
        set.Set(Tags.ImageType, "ORIGINAL", "PRIMARY", "", "AB");

        Assert.Equal("ORIGINAL\\PRIMARY\\\\AB", Encoding.ASCII.GetString(set.GetBytes(Tags.ImageType).Span));
        Assert.Throws<ValueException>(() => set.Set(Private, Vr.LT, "one", "two"));
    }

    [Fact]
    public void Tags_are_two_halves_of_little_endian()
    {
        var set = new DataSet();
        Tag frameIncrementPointer = new(0x0028, 0x0009);
        set.SetTags(frameIncrementPointer, new Tag(0x0018, 0x1063));

        // AT: group 0018, then element 1063, each little endian (PS3.5 Table 6.2-1).
        Assert.Equal(new byte[] { 0x18, 0x00, 0x63, 0x10 }, set.GetBytes(frameIncrementPointer).ToArray());
        Assert.Equal([new Tag(0x0018, 0x1063)], set.GetTags(frameIncrementPointer));
        Assert.Equal("(0018,1063)", set.GetString(frameIncrementPointer));
    }

    [Fact]
    public void A_clone_shares_no_item()
    {
        var item = new DataSet();
        item.Set(Tags.CodeValue, "1");
        var set = new DataSet();
        set.SetItems(Tags.AnatomicRegionSequence, item);

        DataSet clone = set.Clone();
        item.Set(Tags.CodeValue, "2");

        Assert.Equal("1", clone.GetItem(Tags.AnatomicRegionSequence)?.GetString(Tags.CodeValue));
        Assert.Equal("2", set.GetItem(Tags.AnatomicRegionSequence)?.GetString(Tags.CodeValue));
    }

    [Fact]
    public void Private_blocks_are_reserved_found_and_never_shared()
    {
        var set = new DataSet();
        set.Set(new Tag(0x0009, 0x0010), Vr.LO, "OTHER");
        set.Set(new Tag(0x0009, 0x1101), Vr.LO, "an element of a block without creator");

        byte block = set.ReservePrivateBlock(0x0009, "CAMERABRIDGE");

        Assert.Equal(0x12, block);
        Assert.Equal(block, set.ReservePrivateBlock(0x0009, "CAMERABRIDGE"));
        Assert.Equal(new Tag(0x0009, 0x1201), set.FindPrivateTag(0x0009, "CAMERABRIDGE", 0x01));
        Assert.Null(set.FindPrivateTag(0x0009, "NOBODY", 0x01));
        Assert.Equal("OTHER", set.PrivateCreatorOf(new Tag(0x0009, 0x1005)));
        Assert.Null(set.PrivateCreatorOf(new Tag(0x0009, 0x1105)));
        Assert.Throws<ArgumentException>(() => set.ReservePrivateBlock(0x0008, "CAMERABRIDGE"));
        Assert.Throws<ArgumentException>(() => set.ReservePrivateBlock(0x0007, "CAMERABRIDGE"));
    }

    [Fact]
    public void A_full_group_has_no_block_left()
    {
        var set = new DataSet();
        for (int at = 0; at < 240; at++)
        {
            set.ReservePrivateBlock(0x0009, $"CREATOR {at}");
        }

        Assert.Throws<ValueException>(() => set.ReservePrivateBlock(0x0009, "ONE TOO MANY"));
    }

    private static DataSet With(Vr vr, string bytes)
    {
        var set = new DataSet();
        set.Put(Element.FromBytes(Private, vr, Encoding.ASCII.GetBytes(bytes)));
        return set;
    }
}
