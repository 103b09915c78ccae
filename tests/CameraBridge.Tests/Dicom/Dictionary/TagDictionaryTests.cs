using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Part10;
using Xunit;

namespace CameraBridge.Tests.Dicom.Dictionary;

/// <summary>PS3.6 edition 2025e: the counts of the registry; single rows as printed there.</summary>
public sealed class TagDictionaryTests
{
    [Fact]
    public void The_registry_has_the_rows_of_edition_2025e()
    {
        Assert.Equal(5345, TagDictionary.Count);
        Assert.Equal(5345, TagDictionary.All.Count());
        Assert.Equal(497, TagDictionary.All.Count(entry => entry.Retired));
        Assert.Equal(492, UidRegistry.All.Count);
    }

    [Theory]
    [InlineData("00100010", "PatientName", Vr.PN, "1", "Patient's Name", false)]
    [InlineData("00400100", "ScheduledProcedureStepSequence", Vr.SQ, "1", "Scheduled Procedure Step Sequence", false)]
    [InlineData("00280030", "PixelSpacing", Vr.DS, "2", "Pixel Spacing", false)]
    [InlineData("00080001", "LengthToEnd", Vr.UL, "1", "Length to End", true)]
    [InlineData("00000900", "Status", Vr.US, "1", "Status", false)]
    [InlineData("7FE00003", "EncapsulatedPixelDataValueTotalLength", Vr.UV, "1", "Encapsulated Pixel Data Value Total Length", false)]
    public void A_row_is_found_by_tag_and_by_keyword(string digits, string keyword, Vr vr, string vm, string name, bool retired)
    {
        Assert.True(Tag.TryParse(digits, out Tag tag));
        TagEntry byTag = Assert.IsType<TagEntry>(TagDictionary.Find(tag));

        Assert.Equal((tag, keyword, vr, vm, name, retired), (byTag.Tag, byTag.Keyword, byTag.Vr, byTag.Vm, byTag.Name, byTag.Retired));
        Assert.Equal(byTag, TagDictionary.Find(keyword));
    }

    [Theory]
    [InlineData(0x60000010u, "OverlayRows")]
    [InlineData(0x601E3000u, "OverlayData")]
    [InlineData(0x50020005u, "CurveDimensions")]
    [InlineData(0x00203144u, "SourceImageIDs")]
    [InlineData(0x00280433u, "CoefficientCodingPointers")]
    [InlineData(0x10000120u, "EscapeTriplet")]
    [InlineData(0x10100123u, "ZonalMap")]
    [InlineData(0x7F020010u, "VariablePixelData")]
    [InlineData(0x7FE00010u, "PixelData")]
    public void Repeating_groups_and_elements_are_found(uint tag, string keyword)
    {
        TagEntry? entry = TagDictionary.Find(new Tag(tag));
        Assert.Equal((keyword, new Tag(tag)), (entry?.Keyword, entry?.Tag));
    }

    [Theory]
    [InlineData(0x60010010u)]
    [InlineData(0x00091010u)]
    [InlineData(0x00080007u)]
    public void Private_and_unknown_tags_have_no_row(uint tag) => Assert.Null(TagDictionary.Find(new Tag(tag)));

    [Fact]
    public void Every_keyword_leads_back_to_its_row()
    {
        // PS3.6 has one row a keyword; the seven rows whose keyword was withdrawn have none.
        foreach (TagEntry entry in TagDictionary.All.Where(entry => entry.Keyword.Length > 0))
        {
            Assert.Equal((entry.Keyword, entry.Tag), (TagDictionary.Find(entry.Keyword)?.Keyword, TagDictionary.Find(entry.Keyword)?.Tag));
            Assert.Equal(entry.Keyword, TagDictionary.Find(entry.Tag)?.Keyword);
        }

        Assert.Equal(7, TagDictionary.All.Count(entry => entry.Keyword.Length == 0));
    }

    [Theory]
    [InlineData(0x00280106u, false, Vr.US)] // Smallest Image Pixel Value, US or SS by Pixel Representation
    [InlineData(0x00280106u, true, Vr.SS)]
    [InlineData(0x00283006u, false, Vr.OW)] // LUT Data, US or OW
    [InlineData(0x7FE00010u, false, Vr.OW)] // Pixel Data: OW in implicit little endian
    [InlineData(0x60003000u, false, Vr.OW)] // Overlay Data likewise
    [InlineData(0x00080000u, false, Vr.UL)] // group length
    [InlineData(0x00090010u, false, Vr.LO)] // private creator
    [InlineData(0x00091001u, false, Vr.UN)]
    [InlineData(0x00080007u, false, Vr.UN)]
    public void Without_a_representation_the_rules_of_PS3_5_A_1_decide(uint tag, bool signedPixels, Vr vr) =>
        Assert.Equal(vr, TagDictionary.VrOf(new Tag(tag), signedPixels));

    [Fact]
    public void Every_transfer_syntax_that_encodes_data_sets_is_known()
    {
        // PS3.5 section 10 and Annex A: all are explicit little endian but two; MIME, XML, Papyrus and the three of SMPTE encode no such data set.
        UidEntry[] syntaxes = [.. UidRegistry.All.Where(entry => entry.Type == "Transfer Syntax")];
        UidEntry[] foreign = [.. syntaxes.Where(entry => TransferSyntax.Find(entry.Uid) is null)];

        Assert.Equal(63, syntaxes.Length);
        Assert.Equal(6, foreign.Length);
        Assert.Equal([TransferSyntaxes.ImplicitVRLittleEndian], syntaxes.Where(entry => TransferSyntax.Find(entry.Uid) is { IsExplicit: false }).Select(entry => entry.Uid));
        Assert.Equal([TransferSyntaxes.ExplicitVRBigEndian], syntaxes.Where(entry => TransferSyntax.Find(entry.Uid) is { IsBigEndian: true }).Select(entry => entry.Uid));
        Assert.Equal(3, syntaxes.Count(entry => TransferSyntax.Find(entry.Uid) is { IsDeflated: true }));
        Assert.True(TransferSyntax.Find("1.2.840.10008.1.2.4.50\0")!.IsEncapsulated);
    }

    [Fact]
    public void The_named_constants_are_those_of_the_registry()
    {
        foreach (System.Reflection.FieldInfo field in typeof(Tags).GetFields())
        {
            Assert.Equal((Tag)field.GetValue(null)!, TagDictionary.Find(field.Name)?.Tag);
        }

        foreach (System.Reflection.FieldInfo field in typeof(SopClasses).GetFields().Concat(typeof(TransferSyntaxes).GetFields()))
        {
            string keyword = UidRegistry.Find((string)field.GetValue(null)!)!.Keyword;
            Assert.Equal(field.Name == "ApplicationContextName" ? "DICOMApplicationContext" : field.Name, keyword);
        }
    }
}
