using System.Text;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Iods;
using CameraBridge.Dicom.Part10;
using Xunit;

namespace CameraBridge.Tests.Dicom.Iods;

/// <summary>The check of whole objects: types of PS3.5 section 7.4, modules of PS3.3 (2025e), forms of PS3.5 section 6.2.</summary>
public sealed class IodCheckTests
{
    /// <summary>A defect, and the finding that must tell it: rule, path, section.</summary>
    public static TheoryData<string, string, string, string> Defects { get; } = new()
    {
        { "no Patient ID", "type2.missing", "PatientID", "PS3.3 C.7.1.1" },
        { "no Study Instance UID", "type1.missing", "StudyInstanceUID", "PS3.3 C.7.2.1" },
        { "an empty Series Instance UID", "type1.empty", "SeriesInstanceUID", "PS3.3 C.7.3.1" },
        { "no Acquisition Context", "type2.missing", "AcquisitionContextSequence", "PS3.3 C.7.6.14" },
        { "no Patient Orientation", "type2C.missing", "PatientOrientation", "PS3.3 C.7.6.1" },
        { "no Planar Configuration", "type1C.missing", "PlanarConfiguration", "PS3.3 C.7.6.3" },
        { "Planar Configuration of a grey picture", "type1C.present", "PlanarConfiguration", "PS3.3 C.7.6.3" },
        { "Laterality beside Image Laterality", "type2C.present", "Laterality", "PS3.3 C.7.3.1" },
        { "Laterality against Image Laterality", "side.series", "ImageLaterality", "PS3.3 C.7.6.1" },
        { "no side of an ear", "type2C.missing", "Laterality", "PS3.3 C.7.3.1" },
        { "Modality OT", "value.enumerated", "Modality", "PS3.3 A.32.1" },
        { "Patient's Sex X", "value.enumerated", "PatientSex", "PS3.3 C.7.1.1" },
        { "Image Type SECOND", "value.enumerated", "ImageType", "PS3.3 C.7.6.1" },
        { "YBR_FULL", "value.enumerated", "PhotometricInterpretation", "PS3.3 C.8.12.1" },
        { "three samples in MONOCHROME2", "value.enumerated", "SamplesPerPixel", "PS3.3 C.7.6.3" },
        { "twelve bits", "value.enumerated", "BitsStored", "PS3.3 C.8.12.1" },
        { "a code without meaning", "type1.missing", "AnatomicRegionSequence[1].CodeMeaning", "PS3.3 C.7.6.1" },
        { "a code without scheme", "type1C.missing", "AnatomicRegionSequence[1].AnatomicRegionModifierSequence[1].CodingSchemeDesignator", "PS3.3 C.7.6.1" },
        { "two regions", "items.number", "AnatomicRegionSequence", "PS3.3 C.7.6.1" },
        { "an empty ICC profile", "type1.empty", "ICCProfile", "PS3.3 C.11.15" },
        { "a name beyond ASCII without a character set", "type1C.missing", "SpecificCharacterSet", "PS3.3 C.12.1" },
        { "a name of two values", "vm", "PatientName", "PS3.6 6" },
        { "Rows as UL", "vr", "Rows", "PS3.6 6" },
        { "an accession number of seventeen characters", "value.form", "AccessionNumber", "PS3.5 6.2" },
        { "a birth date of the thirteenth month", "value.form", "PatientBirthDate", "PS3.5 6.2" },
        { "a private element without creator", "private.creator", "(0009,1001)", "PS3.5 7.8.1" },
        { "Lossy 00", "lossy.said", "LossyImageCompression", "PS3.3 C.7.6.1.1.5" },
        { "two ratios for one method", "lossy.steps", "LossyImageCompressionRatio", "PS3.3 C.7.6.1.1.5" },
        { "High Bit 6", "pixels.highbit", "HighBit", "PS3.5 8.1.1" },
        { "native pixels in JPEG", "pixels.encapsulation", "PixelData", "PS3.5 A.4" },
        { "a left modifier on a right image", "side.region", "AnatomicRegionSequence", "PS3.3 C.8.12.1" },
        { "a class without a table", "iod.unknown", "SOPClassUID", "PS3.3 A" },
        { "two directions of one axis", "orientation.axis", "PatientOrientation", "PS3.3 C.7.6.1.1.1" },
        { "a direction of another alphabet", "orientation.value", "PatientOrientation", "PS3.3 C.7.6.1.1.1" },
        { "a spacing of zero", "spacing.value", "PixelSpacing", "PS3.3 10.7.1.3" },
        { "the UID of the study for the series", "uid.same", "SeriesInstanceUID", "PS3.5 9" },
        { "a zone of sixty minutes", "value.form", "TimezoneOffsetFromUTC", "PS3.3 C.12.1" },
        { "UTF-8 that is none", "text.charset", "PatientName", "PS3.5 6.1" },
        { "channels for one sample of three", "items.number", "ChannelDescriptionCodeSequence", "PS3.3 C.8.12.1" },
        { "a Frame Increment Pointer to nothing", "frames.pointer", "FrameIncrementPointer", "PS3.3 C.7.6.6.1.2" },
    };

    [Fact]
    public void A_right_object_has_no_finding() => Assert.Empty(IodCheck.Check(TestObject.Endoscopic(), TransferSyntax.JpegBaseline));

    [Theory]
    [MemberData(nameof(Defects))]
    public void A_defect_is_told_with_rule_path_and_section(string defect, string rule, string path, string section)
    {
        DataSet dataSet = TestObject.Endoscopic();
        Break(dataSet, defect);

        IReadOnlyList<Finding> findings = IodCheck.Check(dataSet, TransferSyntax.JpegBaseline);

        Finding finding = Assert.Single(findings, finding => finding.Rule == rule && finding.Path == path && finding.Section == section);
        Assert.Equal(Severity.Error, finding.Severity);
        Assert.NotEmpty(finding.Right);
    }

    /// <summary>What is allowed and yet worth a word: the rule, the attribute.</summary>
    public static TheoryData<string, string, string> Oddities { get; } = new()
    {
        { "an attribute of another class", "attribute.foreign", "KVP" },
        { "an attribute of another macro", "attribute.foreign", "AnatomicRegionSequence[1].PatientName" },
        { "a term of nobody", "value.term", "LossyImageCompressionMethod" },
        { "a view that is in no group", "code.group", "ViewCodeSequence[1].CodeValue" },
        { "a retired scheme", "code.scheme", "ViewCodeSequence[1].CodingSchemeDesignator" },
        { "a birth behind the study", "date.birth", "PatientBirthDate" },
        { "a UID padded by a space", "value.padding", "StudyInstanceUID" },
        { "a representation that nobody told", "vr.unknown", "AccessionNumber" },
        { "a group length", "tag.retired", "(0008,0000)" },
    };

    [Theory]
    [MemberData(nameof(Oddities))]
    public void What_is_allowed_and_odd_is_a_warning(string oddity, string rule, string path)
    {
        DataSet dataSet = TestObject.Endoscopic();
        Twist(dataSet, oddity);

        Finding finding = Assert.Single(IodCheck.Check(dataSet, TransferSyntax.JpegBaseline), finding => finding.Rule == rule && finding.Path == path);

        Assert.Equal(Severity.Warning, finding.Severity);
    }

    [Fact]
    public void A_code_that_says_it_extends_its_group_and_one_of_a_baseline_group_need_no_word()
    {
        DataSet dataSet = TestObject.Endoscopic();
        DataSet view = TestObject.Code("4711", "through the looking glass");
        view.Set(Tags.ContextGroupExtensionFlag, "Y");
        view.Set(TagDictionary.Find("ContextGroupLocalVersion")!.Tag, "20261125");
        view.Set(TagDictionary.Find("ContextGroupExtensionCreatorUID")!.Tag, "2.25.1");
        dataSet.SetItems(Tags.ViewCodeSequence, view);
        dataSet.Remove(Tags.ImageLaterality);
        dataSet.SetItems(Tags.AnatomicRegionSequence, TestObject.Code("4712", "a place that CID 4040 does not have"));

        Assert.Empty(IodCheck.Check(dataSet, TransferSyntax.JpegBaseline));
    }

    [Fact]
    public void A_finding_shows_no_value_that_may_name_a_patient()
    {
        DataSet dataSet = TestObject.Endoscopic();
        dataSet.Put(Element.FromBytes(Tags.PatientName, Vr.PN, Encoding.ASCII.GetBytes(new string('Q', 70))));
        dataSet.Put(Element.FromBytes(Tags.PatientBirthDate, Vr.DA, "QQQQ1399"u8.ToArray()));

        Assert.DoesNotContain(IodCheck.Check(dataSet, TransferSyntax.JpegBaseline), finding => finding.ToString().Contains("QQ", StringComparison.Ordinal));
    }

    [Theory]
    [InlineData("1", 1, true)]
    [InlineData("1", 2, false)]
    [InlineData("1-n", 7, true)]
    [InlineData("1-3", 4, false)]
    [InlineData("2-2n", 4, true)]
    [InlineData("2-2n", 3, false)]
    [InlineData("3-3n", 6, true)]
    [InlineData("2-n", 1, false)]
    public void Multiplicities_are_those_of_section_6_4(string multiplicity, int count, bool fits) =>
        Assert.Equal(fits, ElementRules.FitsMultiplicity(multiplicity, count));

    private static void Twist(DataSet dataSet, string oddity)
    {
        switch (oddity)
        {
            case "an attribute of another class":
                dataSet.Set(TagDictionary.Find("KVP")!.Tag, "120");
                break;
            case "an attribute of another macro":
                dataSet.GetItem(Tags.AnatomicRegionSequence)!.Set(Tags.PatientName, "Doe^A");
                break;
            case "a term of nobody":
                dataSet.Set(Tags.LossyImageCompressionMethod, "ISO_10918_1", "OWN_METHOD");
                dataSet.Set(Tags.LossyImageCompressionRatio, "10", "2");
                break;
            case "a view that is in no group":
                dataSet.SetItems(Tags.ViewCodeSequence, TestObject.Code("4711", "through the looking glass"));
                break;
            case "a retired scheme":
                DataSet code = TestObject.Code("R-10206", "frontal");
                code.Set(Tags.CodingSchemeDesignator, "SRT");
                dataSet.SetItems(Tags.ViewCodeSequence, code);
                break;
            case "a birth behind the study":
                dataSet.SetDate(Tags.PatientBirthDate, new DateOnly(2027, 1, 1));
                break;
            case "a UID padded by a space":
                dataSet.Put(Element.FromBytes(Tags.StudyInstanceUID, Vr.UI, "2.25.99 "u8.ToArray()));
                break;
            case "a representation that nobody told":
                dataSet.Put(Element.FromBytes(Tags.AccessionNumber, Vr.UN, "12"u8.ToArray()));
                break;
            case "a group length":
                dataSet.Put(Element.FromBytes(new Tag(0x0008, 0x0000), Vr.UL, new byte[4]));
                break;
            default:
                throw new ArgumentException(oddity, nameof(oddity));
        }
    }

    private static void Break(DataSet dataSet, string defect)
    {
        switch (defect)
        {
            case "no Patient ID":
                dataSet.Remove(Tags.PatientID);
                break;
            case "no Study Instance UID":
                dataSet.Remove(Tags.StudyInstanceUID);
                break;
            case "an empty Series Instance UID":
                dataSet.SetEmpty(Tags.SeriesInstanceUID);
                break;
            case "no Acquisition Context":
                dataSet.Remove(Tags.AcquisitionContextSequence);
                break;
            case "no Patient Orientation":
                dataSet.Remove(Tags.PatientOrientation);
                break;
            case "no Planar Configuration":
                dataSet.Remove(Tags.PlanarConfiguration);
                break;
            case "Planar Configuration of a grey picture":
                dataSet.SetInt(Tags.SamplesPerPixel, 1);
                dataSet.Set(Tags.PhotometricInterpretation, "MONOCHROME2");
                break;
            case "Laterality beside Image Laterality":
                dataSet.Set(Tags.Laterality, "R");
                break;
            case "Laterality against Image Laterality":
                dataSet.Set(Tags.Laterality, "L");
                break;
            case "no side of an ear":
                dataSet.Remove(Tags.ImageLaterality);
                break;
            case "Modality OT":
                dataSet.Set(Tags.Modality, "OT");
                break;
            case "Patient's Sex X":
                dataSet.Set(Tags.PatientSex, "X");
                break;
            case "Image Type SECOND":
                dataSet.Set(Tags.ImageType, "SECOND", "PRIMARY");
                break;
            case "YBR_FULL":
                dataSet.Set(Tags.PhotometricInterpretation, "YBR_FULL");
                break;
            case "three samples in MONOCHROME2":
                dataSet.Set(Tags.PhotometricInterpretation, "MONOCHROME2");
                break;
            case "twelve bits":
                dataSet.SetInt(Tags.BitsStored, 12);
                break;
            case "a code without meaning":
                dataSet.GetItem(Tags.AnatomicRegionSequence)!.Remove(Tags.CodeMeaning);
                break;
            case "a code without scheme":
                dataSet.GetItem(Tags.AnatomicRegionSequence)!.GetItem(Tags.AnatomicRegionModifierSequence)!.Remove(Tags.CodingSchemeDesignator);
                break;
            case "two regions":
                dataSet.SetItems(Tags.AnatomicRegionSequence, TestObject.Code("84301002", "External auditory canal"), TestObject.Code("117590005", "Ear"));
                break;
            case "an empty ICC profile":
                dataSet.SetEmpty(Tags.ICCProfile);
                break;
            case "a name beyond ASCII without a character set":
                dataSet.Put(Element.FromBytes(Tags.PatientName, Vr.PN, "M\u00fcller^J"u8.ToArray()));
                break;
            case "a name of two values":
                dataSet.Put(Element.FromBytes(Tags.PatientName, Vr.PN, "Doe^A\\Doe^B "u8.ToArray()));
                break;
            case "Rows as UL":
                dataSet.Put(Element.FromBytes(Tags.Rows, Vr.UL, new byte[] { 1, 0, 0, 0 }));
                break;
            case "an accession number of seventeen characters":
                dataSet.Put(Element.FromBytes(Tags.AccessionNumber, Vr.SH, "12345678901234567 "u8.ToArray()));
                break;
            case "a birth date of the thirteenth month":
                dataSet.Put(Element.FromBytes(Tags.PatientBirthDate, Vr.DA, "19611301"u8.ToArray()));
                break;
            case "a private element without creator":
                dataSet.Put(Element.FromBytes(new Tag(0x0009, 0x1001), Vr.LO, "some"u8.ToArray()));
                break;
            case "Lossy 00":
                dataSet.Set(Tags.LossyImageCompression, "00");
                break;
            case "two ratios for one method":
                dataSet.Set(Tags.LossyImageCompressionRatio, "10", "2");
                break;
            case "High Bit 6":
                dataSet.SetInt(Tags.HighBit, 6);
                break;
            case "native pixels in JPEG":
                dataSet.Put(Element.FromPixels(Tags.PixelData, Vr.OB, PixelSource.FromBytes(new byte[12])));
                break;
            case "a left modifier on a right image":
                dataSet.GetItem(Tags.AnatomicRegionSequence)!.SetItems(Tags.AnatomicRegionModifierSequence, TestObject.Code("7771000", "Left"));
                break;
            case "a class without a table":
                dataSet.Set(Tags.SOPClassUID, SopClasses.SecondaryCaptureImageStorage);
                break;
            case "two directions of one axis":
                dataSet.Set(Tags.PatientOrientation, "L", "R");
                break;
            case "a direction of another alphabet":
                dataSet.Set(Tags.PatientOrientation, "X", "F");
                break;
            case "a spacing of zero":
                dataSet.Set(Tags.PixelSpacing, "0", "1");
                break;
            case "the UID of the study for the series":
                dataSet.Set(Tags.SeriesInstanceUID, "2.25.2");
                break;
            case "a zone of sixty minutes":
                dataSet.Set(Tags.TimezoneOffsetFromUTC, "+0160");
                break;
            case "UTF-8 that is none":
                dataSet.Set(Tags.SpecificCharacterSet, "ISO_IR 192");
                dataSet.Put(Element.FromBytes(Tags.PatientName, Vr.PN, new byte[] { (byte)'M', 0xFC, (byte)'l', (byte)'l' }));
                dataSet.ResolveCharacterSets();
                break;
            case "channels for one sample of three":
                dataSet.SetItems(Tags.ChannelDescriptionCodeSequence, TestObject.Code("371251000", "White"));
                break;
            case "a Frame Increment Pointer to nothing":
                dataSet.Put(Element.FromBytes(Tags.FrameIncrementPointer, Vr.AT, new byte[] { 0x18, 0x00, 0x63, 0x10 }));
                break;
            default:
                throw new ArgumentException(defect, nameof(defect));
        }
    }
}
