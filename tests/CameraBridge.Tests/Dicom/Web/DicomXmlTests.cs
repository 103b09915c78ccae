using System.Net;
using System.Net.Http.Headers;
using System.Text;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Part10;
using CameraBridge.Dicom.Web;
using CameraBridge.Tests.Dicom.Part10;
using CameraBridge.Tests.Peers;
using Xunit;

namespace CameraBridge.Tests.Dicom.Web;

/// <summary>The Native DICOM Model: PS3.19 section A.1 (edition 2024d).</summary>
public sealed class DicomXmlTests
{
    private const string Sample = """
        <?xml version="1.0" encoding="UTF-8" xml:space="preserve"?>
        <NativeDicomModel xmlns="http://dicom.nema.org/PS3.19/models/NativeDICOM">
          <!-- invented -->
          <DicomAttribute tag="00080008" vr="CS" keyword="ImageType"><Value number="1">ORIGINAL</Value><Value number="3">A&amp;B</Value></DicomAttribute>
          <DicomAttribute tag="00100010" vr="PN" keyword="PatientName"><PersonName number="1">
            <Alphabetic><FamilyName>Størm</FamilyName><GivenName>Åse</GivenName><NamePrefix>Dr.</NamePrefix></Alphabetic>
            <Ideographic><FamilyName>嵐</FamilyName></Ideographic></PersonName></DicomAttribute>
          <DicomAttribute tag="00280010" vr="US" keyword="Rows"><Value number="1">480</Value></DicomAttribute>
          <DicomAttribute tag="00101020" vr="DS" keyword="PatientSize"><Value number="1">1.72</Value></DicomAttribute>
          <DicomAttribute tag="00081110" vr="SQ" keyword="ReferencedStudySequence"><Item number="1"/><Item number="2">
            <DicomAttribute tag="00081155" vr="UI"><Value number="1">2.25.7</Value></DicomAttribute></Item></DicomAttribute>
          <DicomAttribute tag="00200010" vr="SH" keyword="StudyID"/>
          <DicomAttribute tag="00090001" vr="OB" privateCreator="X"><InlineBinary>AQID</InlineBinary></DicomAttribute>
          <DicomAttribute tag="00720065" vr="OB"><InlineBinary>AQID</InlineBinary></DicomAttribute>
          <DicomAttribute tag="7FE00010" vr="OB" keyword="PixelData"><BulkData uri="bulk/1"/></DicomAttribute>
        </NativeDicomModel>
        """;

    [Fact]
    public void Each_form_of_value_is_read()
    {
        var findings = new List<ReadFinding>();

        DataSet read = DicomXml.Read(Encoding.UTF8.GetBytes(Sample), findings: findings);

        // Table A.1.5-2: values are numbered, and an empty one may be left out.
        Assert.Equal(["ORIGINAL", "", "A&B"], read.GetStrings(Tags.ImageType));
        Assert.Equal("Størm^Åse^^Dr.=嵐", read.GetPersonName(Tags.PatientName)!.ToString());
        Assert.Equal(480, read.GetInt32(Tags.Rows));
        Assert.Equal(1.72m, read.GetDecimal(Tags.PatientSize));
        Assert.Equal([null, "2.25.7"], read.GetItems(Tags.ReferencedStudySequence).Select(item => item.GetString(Tags.ReferencedSOPInstanceUID)));
        Assert.True(read.Contains(Tags.StudyID));
        Assert.True(read.TryFind(new Tag(0x0072, 0x0065), out Element? bytes));
        Assert.Equal([1, 2, 3], bytes.Value.ToArray());
        Assert.DoesNotContain(read, element => element.Tag.IsPrivate);
        Assert.Contains(findings, finding => finding.Rule.Contains("BulkDataURI", StringComparison.Ordinal));
    }

    [Fact]
    public async Task What_dcmtk_writes_of_an_object_is_the_object()
    {
        string folder = Directory.CreateTempSubdirectory("camerabridge-xml-").FullName;
        try
        {
            DataSet dataSet = SampleDataSets.Rich();
            dataSet.Remove(Tags.PixelData);
            dataSet.Remove(Tags.PatientComments); // XML turns CR LF into LF (XML 1.0 section 2.11)
            dataSet.Remove(Tags.InstitutionAddress);
            dataSet.Remove(new Tag(0x0009, 0x0010)); // the model names private attributes without their block (PS3.19 Table A.1.5-2)
            dataSet.Remove(new Tag(0x0009, 0x1001));
            dataSet.Remove(new Tag(0x0072, 0x0082)); // SV and UV came after this dcmtk's XML
            dataSet.Remove(Tags.EncapsulatedPixelDataValueTotalLength);
            foreach (ushort number in new ushort[] { 0x0067, 0x0069, 0x0073, 0x0075, 0x0081 })
            {
                // OF, OW, OD, OL, OV: seen that this dcmtk turns their bytes to big endian, where the model has little (PS3.19 Table A.1.5-2).
                dataSet.Remove(new Tag(0x0072, number));
            }

            string file = Path.Combine(folder, "rich.dcm");
            var meta = new FileMeta(SopClasses.SecondaryCaptureImageStorage, SampleDataSets.SOPInstanceUID, TransferSyntax.ExplicitLittleEndian.Uid);
            await using (Stream bytes = Part10File.Encode(meta, ElementWriter.Encode(dataSet, TransferSyntax.ExplicitLittleEndian)).OpenRead())
            await using (FileStream target = File.Create(file))
            {
                await bytes.CopyToAsync(target, TestContext.Current.CancellationToken);
            }

            // dcm2xml of dcmtk 3.6.7, the Native DICOM Model with binary values inline.
            string xml = await OutsideProgram.RunAsync("dcm2xml", "--native-format", "--encode-base64", file);

            DataSet read = DicomXml.Read(Encoding.UTF8.GetBytes(xml));
            Assert.Equal(
                Encoding.UTF8.GetString(DicomJson.Write(dataSet)),
                Encoding.UTF8.GetString(DicomJson.Write(WithoutGroup2(read))));
        }
        finally
        {
            Directory.Delete(folder, recursive: true);
        }
    }

    private static DataSet WithoutGroup2(DataSet dataSet)
    {
        foreach (Tag tag in dataSet.Select(element => element.Tag).Where(tag => tag.Group == 2).ToArray())
        {
            dataSet.Remove(tag);
        }

        return dataSet;
    }

    [Theory]
    [InlineData("")]
    [InlineData("<html/>")]
    [InlineData("<NativeDicomModel>")]
    [InlineData("<NativeDicomModel/><NativeDicomModel/>")]
    [InlineData("<!DOCTYPE x [<!ENTITY a \"b\">]><NativeDicomModel>&a;</NativeDicomModel>")]
    [InlineData("<NativeDicomModel><DicomAttribute tag=\"00091001\" vr=\"OB\"><InlineBinary>%%</InlineBinary></DicomAttribute></NativeDicomModel>")]
    public void What_is_no_document_of_the_model_is_refused(string text) =>
        Assert.Throws<MalformedException>(() => DicomXml.Read(Encoding.UTF8.GetBytes(text)));

    [Fact]
    public void Nesting_without_end_is_refused()
    {
        string deep = string.Concat(Enumerable.Repeat("<DicomAttribute tag=\"00081110\" vr=\"SQ\"><Item number=\"1\">", 5_000));

        Assert.Throws<MalformedException>(() => DicomXml.Read(Encoding.UTF8.GetBytes("<NativeDicomModel>" + deep)));
    }

    [Fact]
    public async Task Twenty_thousand_damaged_answers_are_judged_and_none_by_accident_as_stored()
    {
        byte[] xml = Encoding.UTF8.GetBytes(Sample.Replace("00081110", "00081199", StringComparison.Ordinal));
        byte[] json = WebObjects.Stored("2.25.7");
        byte[] failed = DicomJson.Write(WebObjects.Answer(failed: [WebObjects.Reference("2.25.7", failure: 0xA900)]));
        var random = new Random(815);
        int[] read = [0, 0, 0];
        for (int number = 0; number < 21_000; number++)
        {
            byte[] original = (number % 3) switch { 0 => xml, 1 => json, _ => failed };
            DataSet? dataSet = null;
            try
            {
                dataSet = await WebAnswers.ReadDataSetAsync(MediaTypeHeaderValue.Parse("application/dicom+json"), Damage.Do(original, random), TestContext.Current.CancellationToken);
                read[number % 3]++;
            }
            catch (MalformedException)
            {
                // Judged without it.
            }

            StowReply reply = new StowAnswer("archive test", HttpStatusCode.OK, null, [(SopClasses.VLEndoscopicImageStorage, "2.25.7"), (SopClasses.VLEndoscopicImageStorage, "2.25.8000000001")])
                .Judge(dataSet, dataSet is null ? "answered with what is no account of the object" : null);

            // The second was never named, and one that is named among the failures does not become stored by a flipped bit or two of its sequence's tag, unless that is the flip.
            Assert.Equal(StowVerdict.Unknown, reply["2.25.8000000001"].Verdict);
            Assert.NotEmpty(reply["2.25.7"].Sentence);
            if (number % 3 == 2 && dataSet is not null && !dataSet.Contains(Tags.ReferencedSOPSequence))
            {
                Assert.False(reply["2.25.7"].Verdict is StowVerdict.Stored or StowVerdict.StoredWithWarning);
            }
        }

        Assert.All(read, count => Assert.InRange(count, 300, 6_900));
    }
}
