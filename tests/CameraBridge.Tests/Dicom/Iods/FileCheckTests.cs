using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Iods;
using CameraBridge.Dicom.Part10;
using CameraBridge.Tests.Dicom.Bitstreams;
using CameraBridge.Tests.Dicom.Iods.Agreement;
using Xunit;

namespace CameraBridge.Tests.Dicom.Iods;

/// <summary>The check of whole files: PS3.10 section 7.1, and the bit stream against the attributes (PS3.5 sections 8.2 and A.4, PS3.3 C.7.6).</summary>
public sealed class FileCheckTests
{
    // The picture that TestJpeg writes: 40 columns, 24 rows, three components, colour halved both ways.
    private static readonly byte[] Picture = new TestJpeg().ToBytes();

    /// <summary>What is wrong with the bit stream or with what is said of it; the rule, the attribute, how grave it is.</summary>
    public static TheoryData<string, string, string, Severity> BitstreamDefects { get; } = new()
    {
        { "Rows of another picture", "stream.differs", "Rows", Severity.Error },
        { "Columns of another picture", "stream.differs", "Columns", Severity.Error },
        { "a grey stream in a colour object", "stream.differs", "SamplesPerPixel", Severity.Error },
        { "twelve bits in the stream", "stream.differs", "BitsStored", Severity.Error },
        { "an extended process", "jpeg.process", "PixelData", Severity.Error },
        { "a torn stream", "jpeg.torn", "PixelData", Severity.Error },
        { "no JPEG at all", "jpeg.none", "PixelData", Severity.Error },
        { "bytes behind the picture", "jpeg.trailer", "PixelData", Severity.Warning },
        { "RGB labelled as YBR", "jpeg.color", "PhotometricInterpretation", Severity.Error },
        { "YCbCr labelled as RGB", "jpeg.color", "PhotometricInterpretation", Severity.Error },
        { "colour halved both ways", "jpeg.sampling", "PhotometricInterpretation", Severity.Note },
        { "Lossy 00", "lossy.said", "LossyImageCompression", Severity.Error },
        { "no method", "lossy.described", "LossyImageCompressionMethod", Severity.Warning },
        { "a method of another syntax", "lossy.method", "LossyImageCompressionMethod", Severity.Error },
        { "a ratio far from the true one", "lossy.ratio", "LossyImageCompressionRatio", Severity.Warning },
        { "an attribute of another class", "attribute.foreign", "KVP", Severity.Warning },
        { "an offset at which no fragment begins", "pixels.offsets", "PixelData", Severity.Error },
        { "offsets of two frames", "pixels.offsets", "PixelData", Severity.Error },
        { "a total length of another stream", "pixels.total", "EncapsulatedPixelDataValueTotalLength", Severity.Error },
        { "two frames in an endoscopic still", "value.enumerated", "NumberOfFrames", Severity.Error },
    };

    [Fact]
    public void A_right_file_conforms_and_says_what_no_file_tells()
    {
        FileReport report = FileCheck.Check(FileOf(Endoscopic()));

        Assert.True(report.Conforms, string.Join('\n', report.Findings));
        Assert.All(report.Findings, finding => Assert.Equal(Severity.Note, finding.Severity));
        Assert.Equal("VL Endoscopic Image", report.Iod?.Name);
        Assert.Contains(report.Untestable, rule => rule.Path == "PatientSpeciesDescription" && rule.Section == "PS3.3 C.7.1.1" && rule.Why.Length > 10);
    }

    [Theory]
    [MemberData(nameof(BitstreamDefects))]
    public void What_the_attributes_say_wrongly_of_the_bit_stream_is_told(string defect, string rule, string path, Severity severity)
    {
        DataSet dataSet = Endoscopic();
        Spoil(dataSet, defect);

        FileReport report = FileCheck.Check(FileOf(dataSet));

        Assert.Single(report.Findings, finding => finding.Rule == rule && finding.Path == path && finding.Severity == severity && finding.Section.StartsWith("PS3.", StringComparison.Ordinal));
        Assert.Equal(report.Findings.All(finding => finding.Severity != Severity.Error), report.Conforms);
    }

    [Theory]
    [InlineData("another version", "meta.version", "FileMetaInformationVersion")]
    [InlineData("a wrong group length", "meta.length", "FileMetaInformationGroupLength")]
    [InlineData("another class", "meta.differs", "MediaStorageSOPClassUID")]
    [InlineData("another instance", "meta.differs", "MediaStorageSOPInstanceUID")]
    [InlineData("an unknown transfer syntax", "meta.syntax", "TransferSyntaxUID")]
    [InlineData("no implementation class", "meta.type1", "ImplementationClassUID")]
    [InlineData("a foreign element", "meta.foreign", "(0002,0099)")]
    public void File_meta_information_is_held_against_PS3_10(string defect, string rule, string path)
    {
        // PS3.10 (2025e) section 7.1, Table 7.1-1.
        FileReport report = FileCheck.Check(Part10File.Read(WithMeta(Endoscopic(), meta => SpoilMeta(meta, defect), isLengthWrong: defect == "a wrong group length")));

        Assert.Contains(report.Findings, finding => finding.Rule == rule && finding.Path == path && finding.Severity == Severity.Error);
    }

    [Fact]
    public void A_file_cut_off_anywhere_gets_findings_and_no_exception()
    {
        byte[] whole = Bytes(Endoscopic());
        string path = Path.GetTempFileName();
        for (int length = 0; length < whole.Length - 1; length += 7)
        {
            File.WriteAllBytes(path, whole[..length]);

            Assert.False(FileCheck.Check(path).Conforms, $"{length} of {whole.Length} bytes");
        }

        File.Delete(path);
    }

    [Fact]
    public void Files_with_random_bytes_changed_get_a_report_and_no_exception()
    {
        byte[] whole = Bytes(Endoscopic());
        var random = new Random(20261125);
        string path = Path.GetTempFileName();
        for (int round = 0; round < 400; round++)
        {
            byte[] changed = [.. whole];
            for (int i = 0; i < 4; i++)
            {
                changed[random.Next(132, changed.Length)] = (byte)random.Next(256);
            }

            File.WriteAllBytes(path, changed);
            Assert.NotNull(FileCheck.Check(path));
        }

        File.Delete(path);
    }

    [Fact]
    public void What_is_no_DICOM_file_and_what_is_no_file_get_a_finding()
    {
        string path = Path.GetTempFileName();
        File.WriteAllText(path, "a shopping list");

        Assert.Equal("file.malformed", Assert.Single(FileCheck.Check(path).Findings).Rule);
        File.Delete(path);
        Assert.Equal("file.unreadable", Assert.Single(FileCheck.Check(path).Findings).Rule);
    }

    [Fact]
    public void A_class_without_tables_is_a_warning_since_the_file_may_be_right()
    {
        DataSet dataSet = Endoscopic();
        dataSet.Set(Tags.SOPClassUID, SopClasses.SecondaryCaptureImageStorage);

        FileReport report = FileCheck.Check(FileOf(dataSet));

        Assert.Equal(Severity.Warning, Assert.Single(report.Findings, finding => finding.Rule == "iod.unknown").Severity);
        Assert.True(report.Conforms);
    }

    [Theory]
    [InlineData(24 * 40 * 3, true)]
    [InlineData(24 * 40 * 3 - 2, false)]
    public void Native_pixels_are_as_long_as_their_numbers_say(int length, bool isRight)
    {
        // PS3.5 (2025e) section 8.1.1.
        DataSet dataSet = Endoscopic();
        dataSet.Set(Tags.PhotometricInterpretation, "RGB");
        dataSet.Set(Tags.LossyImageCompression, "00");
        dataSet.Remove(Tags.LossyImageCompressionMethod);
        dataSet.Remove(Tags.LossyImageCompressionRatio);
        dataSet.Put(Element.FromPixels(Tags.PixelData, Vr.OB, PixelSource.FromBytes(new byte[length])));

        FileReport report = FileCheck.Check(Part10File.Read(Bytes(dataSet, TransferSyntax.ExplicitLittleEndian)));

        Assert.Equal(isRight, report.Findings.All(finding => finding.Rule != "pixels.length"));
        Assert.Equal(isRight, report.Conforms);
    }

    [Theory]
    [InlineData("%PDF-1.7\n", "application/pdf", "")]
    [InlineData("<html></html>", "application/pdf", "document.type")]
    [InlineData("%PDF-1.7\n", "text/html", "value.enumerated")]
    public void Encapsulated_documents_are_what_they_say(string document, string type, string rule)
    {
        FileReport report = FileCheck.Check(Part10File.Read(Bytes(Pdf(document, type), TransferSyntax.ExplicitLittleEndian)));

        Assert.Equal(rule.Length == 0, report.Conforms);
        Assert.True(rule.Length == 0 || report.Findings.Any(finding => finding.Rule == rule), string.Join('\n', report.Findings));
    }

    [Fact]
    public void Clips_in_several_fragments_or_with_an_aspect_ratio_are_told()
    {
        // PS3.5 (2025e) sections 8.2.5 to 8.2.8: one fragment, an empty offset table, square pixels.
        SoundObject clip = SoundObjects.All.Single(sound => sound.Name == "video endoscopic");
        DataSet dataSet = clip.Make();
        dataSet.Put(Element.FromEncapsulated(Tags.PixelData, new EncapsulatedPixels(default, [PixelSource.FromBytes(new byte[12]), PixelSource.FromBytes(new byte[12])])));
        dataSet.SetInt(Tags.PixelAspectRatio, 4, 3);

        FileReport report = FileCheck.Check(Part10File.Read(Bytes(dataSet, clip.Syntax)));

        Assert.Contains(report.Findings, finding => finding.Rule == "video.fragments");
        Assert.Contains(report.Findings, finding => finding.Rule == "video.aspect");
    }

    internal static DataSet Endoscopic()
    {
        DataSet dataSet = SoundObjects.All[0].Make();
        Put(dataSet, Picture);
        dataSet.SetDouble(Tags.LossyImageCompressionRatio, Math.Round(24 * 40 * 3 / (double)(Picture.Length + (Picture.Length & 1)), 3));
        return dataSet;
    }

    internal static byte[] Bytes(DataSet dataSet) => Bytes(dataSet, TransferSyntax.JpegBaseline);

    private static void Put(DataSet dataSet, byte[] picture, byte[]? offsets = null) =>
        dataSet.Put(Element.FromEncapsulated(Tags.PixelData, new EncapsulatedPixels(offsets, [PixelSource.FromBytes(picture)])));

    private static Part10File FileOf(DataSet dataSet) => Part10File.Read(Bytes(dataSet));

    internal static byte[] Bytes(DataSet dataSet, TransferSyntax syntax)
    {
        var meta = new FileMeta(dataSet.GetString(Tags.SOPClassUID)!, dataSet.GetString(Tags.SOPInstanceUID)!, syntax.Uid);
        return Read(Part10File.Encode(meta, ElementWriter.Encode(dataSet, syntax)));
    }

    private static byte[] WithMeta(DataSet dataSet, Action<DataSet> spoil, bool isLengthWrong)
    {
        DataSet meta = new FileMeta(dataSet.GetString(Tags.SOPClassUID)!, dataSet.GetString(Tags.SOPInstanceUID)!, TransferSyntaxes.JPEGBaseline8Bit).ToDataSet();
        spoil(meta);
        meta.Remove(Tags.FileMetaInformationGroupLength);
        long length = ElementWriter.Encode(meta, TransferSyntax.ExplicitLittleEndian).Length + (isLengthWrong ? 4 : 0);
        meta.SetInt(Tags.FileMetaInformationGroupLength, length);
        return
        [
            .. new byte[128], .. "DICM"u8, .. Read(ElementWriter.Encode(meta, TransferSyntax.ExplicitLittleEndian)), .. Read(ElementWriter.Encode(dataSet, TransferSyntax.JpegBaseline)),
        ];
    }

    private static byte[] Read(PixelSource source)
    {
        byte[] bytes = new byte[source.Length];
        using Stream stream = source.OpenRead();
        stream.ReadExactly(bytes);
        return bytes;
    }

    private static void SpoilMeta(DataSet meta, string defect)
    {
        switch (defect)
        {
            case "another version":
                meta.Put(Element.FromBytes(Tags.FileMetaInformationVersion, Vr.OB, new byte[] { 1, 0 }));
                break;
            case "another class":
                meta.Set(Tags.MediaStorageSOPClassUID, SopClasses.VLPhotographicImageStorage);
                break;
            case "another instance":
                meta.Set(Tags.MediaStorageSOPInstanceUID, "2.25.99");
                break;
            case "an unknown transfer syntax":
                meta.Set(Tags.TransferSyntaxUID, "1.2.3.4");
                break;
            case "no implementation class":
                meta.Remove(Tags.ImplementationClassUID);
                break;
            case "a foreign element":
                meta.Put(Element.FromBytes(new Tag(0x0002, 0x0099), Vr.LO, "some"u8.ToArray()));
                break;
        }
    }

    private static void Spoil(DataSet dataSet, string defect)
    {
        switch (defect)
        {
            case "Rows of another picture":
                dataSet.SetInt(Tags.Rows, 25);
                break;
            case "Columns of another picture":
                dataSet.SetInt(Tags.Columns, 41);
                break;
            case "a grey stream in a colour object":
                Put(dataSet, new TestJpeg { Components = TestJpeg.Grey }.ToBytes());
                break;
            case "twelve bits in the stream":
                Put(dataSet, new TestJpeg { FrameMarker = 0xC1, Precision = 12 }.ToBytes());
                break;
            case "an extended process":
                Put(dataSet, new TestJpeg { FrameMarker = 0xC1 }.ToBytes());
                break;
            case "a torn stream":
                Put(dataSet, Picture[..^6]);
                break;
            case "no JPEG at all":
                Put(dataSet, "a shopping list."u8.ToArray());
                break;
            case "bytes behind the picture":
                Put(dataSet, [.. Picture, .. new byte[20]]);
                break;
            case "RGB labelled as YBR":
                Put(dataSet, new TestJpeg { Before = [TestJpeg.Adobe(0)] }.ToBytes());
                break;
            case "YCbCr labelled as RGB":
                dataSet.Set(Tags.PhotometricInterpretation, "RGB");
                Put(dataSet, new TestJpeg { Before = [TestJpeg.Jfif] }.ToBytes());
                break;
            case "colour halved both ways":
                break;
            case "Lossy 00":
                dataSet.Set(Tags.LossyImageCompression, "00");
                break;
            case "no method":
                dataSet.Remove(Tags.LossyImageCompressionMethod);
                break;
            case "a method of another syntax":
                dataSet.Set(Tags.LossyImageCompressionMethod, "ISO_15444_1");
                break;
            case "a ratio far from the true one":
                dataSet.SetDouble(Tags.LossyImageCompressionRatio, 100);
                break;
            case "an attribute of another class":
                dataSet.Set(SoundObjects.Tag("KVP"), "120");
                break;
            case "an offset at which no fragment begins":
                Put(dataSet, Picture, [2, 0, 0, 0]);
                break;
            case "offsets of two frames":
                Put(dataSet, Picture, [0, 0, 0, 0, 8, 0, 0, 0]);
                break;
            case "a total length of another stream":
                dataSet.SetInt(Tags.EncapsulatedPixelDataValueTotalLength, 7);
                break;
            case "two frames in an endoscopic still":
                dataSet.SetInt(Tags.NumberOfFrames, 2);
                break;
            default:
                throw new ArgumentException(defect, nameof(defect));
        }
    }

    private static DataSet Pdf(string document, string type)
    {
        DataSet sound = SoundObjects.All[0].Make();
        var dataSet = new DataSet();
        dataSet.CopyFrom(
            sound, Tags.PatientName, Tags.PatientID, Tags.PatientBirthDate, Tags.PatientSex, Tags.StudyInstanceUID, Tags.StudyDate, Tags.StudyTime, Tags.ReferringPhysicianName,
            Tags.StudyID, Tags.AccessionNumber, Tags.SeriesInstanceUID, Tags.SeriesNumber, Tags.Manufacturer, Tags.InstanceNumber, Tags.SOPInstanceUID);
        dataSet.Set(Tags.SOPClassUID, SopClasses.EncapsulatedPDFStorage);
        dataSet.Set(Tags.Modality, "DOC");
        dataSet.Set(SoundObjects.Tag("ConversionType"), "WSD");
        dataSet.SetEmpty(SoundObjects.Tag("ContentDate"));
        dataSet.SetEmpty(SoundObjects.Tag("ContentTime"));
        dataSet.SetEmpty(SoundObjects.Tag("AcquisitionDateTime"));
        dataSet.Set(SoundObjects.Tag("BurnedInAnnotation"), "YES");
        dataSet.SetEmpty(SoundObjects.Tag("DocumentTitle"));
        dataSet.SetEmpty(SoundObjects.Tag("ConceptNameCodeSequence"));
        dataSet.Set(Tags.MIMETypeOfEncapsulatedDocument, type);
        byte[] bytes = System.Text.Encoding.ASCII.GetBytes(document);
        dataSet.SetInt(Tags.EncapsulatedDocumentLength, bytes.Length);
        dataSet.Put(Element.FromBytes(Tags.EncapsulatedDocument, Vr.OB, (byte[])[.. bytes, .. new byte[bytes.Length & 1]]));
        return dataSet;
    }
}
