using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Iods;
using Xunit;

namespace CameraBridge.Tests.Dicom.Iods;

/// <summary>The tables themselves: PS3.3 (2025e) Annex A, the modules of Annex C that it names, and the context groups of PS3.16.</summary>
public sealed class IodTablesTests
{
    // PS3.3 (2025e), Tables A.32.1-1, A.32.4-1, A.32.5-1, A.32.7-1, A.32.11-1, A.41-1 and A.45.1-1: the rows with usage M beside those that every
    // class here has, Patient, General Study, General Equipment and SOP Common.
    [Theory]
    [InlineData(SopClasses.VLEndoscopicImageStorage, "VL Endoscopic Image", "A.32.1", "General Series,General Acquisition,General Image,Image Pixel,Acquisition Context,VL Image")]
    [InlineData(SopClasses.VLPhotographicImageStorage, "VL Photographic Image", "A.32.4", "General Series,General Acquisition,General Image,Image Pixel,Acquisition Context,VL Image")]
    [InlineData(SopClasses.VideoEndoscopicImageStorage, "Video Endoscopic Image", "A.32.5", "General Series,General Acquisition,General Image,Cine,Multi-frame,Image Pixel,Acquisition Context,VL Image")]
    [InlineData(SopClasses.VideoPhotographicImageStorage, "Video Photographic Image", "A.32.7", "General Series,General Acquisition,General Image,Cine,Multi-frame,Image Pixel,Acquisition Context,VL Image")]
    [InlineData(SopClasses.DermoscopicPhotographyImageStorage, "Dermoscopic Photography Image", "A.32.11", "General Series,Enhanced General Equipment,General Acquisition,General Image,Image Pixel,Acquisition Context,VL Image,Dermoscopic Image")]
    [InlineData(SopClasses.OphthalmicPhotography8BitImageStorage, "Ophthalmic Photography 8 Bit Image", "A.41", "General Series,Ophthalmic Photography Series,Synchronization,General Acquisition,General Image,Image Pixel,Multi-frame,Ophthalmic Photography Image,Ocular Region Imaged,Ophthalmic Photography Acquisition Parameters,Ophthalmic Photographic Parameters")]
    [InlineData(SopClasses.EncapsulatedPDFStorage, "Encapsulated PDF", "A.45.1", "Encapsulated Document Series,SC Equipment,Encapsulated Document")]
    public void The_mandatory_modules_are_those_of_the_standard(string SOPClassUID, string name, string section, string modules)
    {
        Iod iod = IodTables.Find(SOPClassUID)!;

        Assert.Equal((name, section), (iod.Name, iod.Section));
        Assert.Equal(
            [.. modules.Split(',').Concat(["Patient", "General Study", "General Equipment", "SOP Common"]).Order(StringComparer.Ordinal)],
            iod.Modules.Where(use => use.Usage == 'M').Select(use => use.Module.Name).Order(StringComparer.Ordinal));
    }

    // PS3.3 (2025e), the same tables: usage C, each with its condition.
    [Theory]
    [InlineData(SopClasses.VLPhotographicImageStorage, "Specimen")]
    [InlineData(SopClasses.VLEndoscopicImageStorage, "")]
    [InlineData(SopClasses.VideoEndoscopicImageStorage, "Frame Extraction,Specimen")]
    [InlineData(SopClasses.VideoPhotographicImageStorage, "Frame Extraction,Specimen")]
    [InlineData(SopClasses.OphthalmicPhotography8BitImageStorage, "Cine,Enhanced Contrast/Bolus,Frame Extraction")]
    [InlineData(SopClasses.DermoscopicPhotographyImageStorage, "")]
    public void The_conditional_modules_have_their_conditions(string SOPClassUID, string modules)
    {
        ModuleUse[] conditional = [.. IodTables.Find(SOPClassUID)!.Modules.Where(use => use.Usage == 'C')];

        Assert.Equal(modules, string.Join(',', conditional.Select(use => use.Module.Name).Order(StringComparer.Ordinal)));
        Assert.All(conditional, use => Assert.NotNull(use.Condition));
    }

    // PS3.3 (2025e): C.8.12.13 (dermoscopic), C.8.17.2 to C.8.17.5 (ophthalmic), C.7.6.6 (several frames), C.24.2 (documents).
    [Theory]
    [InlineData("Dermoscopic Image", "RecognizableVisualFeatures", "1")]
    [InlineData("Dermoscopic Image", "ContactMethod", "2")]
    [InlineData("Dermoscopic Image", "ImmersionMedia", "2C")]
    [InlineData("Ophthalmic Photography Image", "LossyImageCompressionRatio", "1C")]
    [InlineData("Ocular Region Imaged", "ImageLaterality", "1")]
    [InlineData("Ophthalmic Photographic Parameters", "LensesCodeSequence", "2")]
    [InlineData("Multi-frame", "FrameIncrementPointer", "1")]
    [InlineData("Multi-frame", "EncapsulatedPixelDataValueTotalLength", "3")]
    [InlineData("Encapsulated Document", "BurnedInAnnotation", "1")]
    [InlineData("Enhanced General Equipment", "SoftwareVersions", "1")]
    public void Attributes_have_the_types_of_their_modules(string module, string keyword, string type) =>
        Assert.Equal(type, IodTables.All.SelectMany(iod => iod.Modules).First(use => use.Module.Name == module).Module.Rows.Single(row => row.Keyword == keyword).TypeText);

    // PS3.16 (2024c, 2025a): CID 244, 4202, 4209, 4040, 4063.
    [Theory]
    [InlineData(244, "51440002", true)]
    [InlineData(4202, "409898007", true)]
    [InlineData(4209, "5665001", true)]
    [InlineData(4040, "84301002", true)]
    [InlineData(4063, "260499007", true)]
    [InlineData(4209, "84301002", false)]
    public void Context_groups_hold_their_codes(int number, string code, bool has) => Assert.Equal(has, ContextGroups.Find(number)!.Has("SCT", code));

    [Fact]
    public void Every_code_stands_once_in_its_group() =>
        Assert.All(ContextGroups.All, group => Assert.Distinct(group.Codes.Select(code => (code.Scheme, code.Value))));

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
