using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Iods;
using Xunit;

namespace CameraBridge.Tests.Dicom.Iods;

/// <summary>The tables themselves: PS3.3 (2025e) sections A.32.1 and A.32.4, and the modules of Annex C that they name.</summary>
public sealed class IodTablesTests
{
    [Theory]
    [InlineData(SopClasses.VLPhotographicImageStorage, "VL Photographic Image", "A.32.4")]
    [InlineData(SopClasses.VLEndoscopicImageStorage, "VL Endoscopic Image", "A.32.1")]
    public void The_mandatory_modules_are_those_of_the_standard(string SOPClassUID, string name, string section)
    {
        Iod iod = IodTables.Find(SOPClassUID)!;

        // Tables A.32-1 and A.32-4: the rows with usage M.
        Assert.Equal((name, section), (iod.Name, iod.Section));
        Assert.Equal(
            ["Acquisition Context", "General Acquisition", "General Equipment", "General Image", "General Series", "General Study", "Image Pixel", "Patient", "SOP Common", "VL Image"],
            iod.Modules.Where(use => use.Usage == 'M').Select(use => use.Module.Name).Order(StringComparer.Ordinal));
    }

    [Fact]
    public void Every_module_of_usage_C_or_U_has_a_sign_of_its_presence() =>
        Assert.All(IodTables.All.SelectMany(iod => iod.Modules).Where(use => use.Usage != 'M'), use => Assert.NotEmpty(use.Signs));

    [Fact]
    public void Every_condition_is_checked_or_says_why_it_is_not() =>
        Assert.All(
            IodTables.All.SelectMany(iod => iod.Modules).SelectMany(use => Rows(use.Module.Rows)).Where(row => row.Condition is not null),
            row => Assert.True(row.Condition!.IsChecked || row.Condition.Text.Length > 20, row.Keyword));

    [Fact]
    public void Only_sequences_hold_rows_and_every_sequence_but_one_says_how_many_items() =>
        Assert.All(
            IodTables.All.SelectMany(iod => iod.Modules).SelectMany(use => Rows(use.Module.Rows)),
            row =>
            {
                // The items of Channel Description Code Sequence are as many as the samples (PS3.3 C.8.12.1): a rule, not a number.
                bool isSequence = TagDictionary.Find(row.Tag)!.Vr == CameraBridge.Dicom.Data.Vr.SQ;
                Assert.Equal(isSequence, row.Items is not null || row.Keyword == "ChannelDescriptionCodeSequence");
                Assert.True(isSequence || (row.Rows.Count == 0 && row.Codes is null && row.Open is null), row.Keyword);
                Assert.True(!isSequence || row.Rows.Count > 0 || row.Open is not null, row.Keyword);
            });

    [Fact]
    public void A_class_without_a_table_is_not_found()
    {
        Assert.Null(IodTables.Find(SopClasses.Verification));
        Assert.Null(IodTables.Find(null));
    }

    [Theory]
    [InlineData("84301002", true)]
    [InlineData("279549004", false)]
    public void Paired_body_parts_are_known(string code, bool isPaired) => Assert.Equal(isPaired, BodyParts.ByCode(code)?.IsPaired);

    private static IEnumerable<AttributeRow> Rows(IReadOnlyList<AttributeRow> rows) => rows.SelectMany(row => Rows(row.Rows).Prepend(row));
}
