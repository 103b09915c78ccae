using System.Net;
using System.Net.Http.Headers;
using System.Text;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Part10;
using CameraBridge.Dicom.Web;
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
          <DicomAttribute tag="00091001" vr="OB" privateCreator="X"><InlineBinary>AQID</InlineBinary></DicomAttribute>
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
        Assert.True(read.TryFind(new Tag(0x0009, 0x1001), out Element? bytes));
        Assert.Equal([1, 2, 3], bytes.Value.ToArray());
        Assert.Contains(findings, finding => finding.Rule.Contains("BulkDataURI", StringComparison.Ordinal));
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
