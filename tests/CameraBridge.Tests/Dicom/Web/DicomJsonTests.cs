using System.Text;
using System.Text.Json;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Part10;
using CameraBridge.Dicom.Web;
using CameraBridge.Tests.Dicom.Part10;
using Xunit;

namespace CameraBridge.Tests.Dicom.Web;

/// <summary>The DICOM JSON model, PS3.18 Annex F, edition 2025e.</summary>
public sealed class DicomJsonTests
{
    /// <summary>The first study of the worked example of section F.4 (a query answer), shortened, and the multiple results of F.2.1; from memory.</summary>
    private const string Example = """
        [
          {
            "00080005": { "vr": "CS", "Value": [ "ISO_IR 192" ] },
            "00080020": { "vr": "DA", "Value": [ "20130409" ] },
            "00080030": { "vr": "TM", "Value": [ "131600.0000" ] },
            "00080050": { "vr": "SH", "Value": [ "11235813" ] },
            "00080056": { "vr": "CS", "Value": [ "ONLINE" ] },
            "00080061": { "vr": "CS", "Value": [ "CT", "PET" ] },
            "00080090": { "vr": "PN", "Value": [ { "Alphabetic": "^Bob^^Dr." } ] },
            "00081190": { "vr": "UR", "Value": [ "http://wado.nema.org/studies/1.2.392.200036.9116.2.2.2.1762893313.1029997326.945873" ] },
            "00090010": { "vr": "LO", "Value": [ "Vendor A" ] },
            "00091002": { "vr": "UN", "InlineBinary": "z0x9c8v7" },
            "00100010": { "vr": "PN", "Value": [ { "Alphabetic": "Wang^XiaoDong", "Ideographic": "王^小東" } ] },
            "00100020": { "vr": "LO", "Value": [ "12345" ] },
            "00100021": { "vr": "LO", "Value": [ "Hospital A" ] },
            "00100030": { "vr": "DA", "Value": [ "19670701" ] },
            "00100040": { "vr": "CS", "Value": [ "M" ] },
            "00101002": {
              "vr": "SQ",
              "Value": [
                { "00100020": { "vr": "LO", "Value": [ "54321" ] }, "00100021": { "vr": "LO", "Value": [ "Hospital B" ] } },
                { "00100020": { "vr": "LO", "Value": [ "24680" ] }, "00100021": { "vr": "LO", "Value": [ "Hospital C" ] } }
              ]
            },
            "0020000D": { "vr": "UI", "Value": [ "1.2.392.200036.9116.2.2.2.1762893313.1029997326.945873" ] },
            "00200010": { "vr": "SH", "Value": [ "11235813" ] },
            "00201206": { "vr": "IS", "Value": [ 4 ] },
            "00201208": { "vr": "IS", "Value": [ 942 ] }
          },
          { "0020000D": { "vr": "UI", "Value": [ "1.2.392.200036.9116.2.2.2.2162893313.1029997326.945876" ] } }
        ]
        """;

    [Fact]
    public void The_worked_example_is_read()
    {
        IReadOnlyList<DataSet> studies = DicomJson.ReadArray(Encoding.UTF8.GetBytes(Example));

        Assert.Equal(2, studies.Count);
        DataSet study = studies[0];
        Assert.Equal("Wang^XiaoDong=王^小東", study.GetString(Tags.PatientName));
        Assert.Equal("Dr.", study.GetPersonName(Tags.ReferringPhysicianName)?.Alphabetic.Prefix);
        Assert.Equal(["CT", "PET"], study.GetStrings(Tags.ModalitiesInStudy));
        Assert.Equal(new DateOnly(2013, 4, 9), study.GetDate(Tags.StudyDate));
        Assert.Equal(942, study.GetInt32(Tags.NumberOfStudyRelatedInstances));
        Assert.Equal(["54321", "24680"], study.GetItems(Tags.OtherPatientIDsSequence).Select(item => item.GetString(Tags.PatientID)));
        Assert.Equal(Convert.FromBase64String("z0x9c8v7"), study[new Tag(0x0009, 0x1002)]!.Value.ToArray());
    }

    [Fact]
    public void The_worked_example_is_written_as_it_was_read()
    {
        byte[] written = DicomJson.WriteArray(DicomJson.ReadArray(Encoding.UTF8.GetBytes(Example)));
        Assert.Equal(Compact(Example), Encoding.UTF8.GetString(written));
    }

    [Fact]
    public void All_representations_survive_the_way_through_json()
    {
        DataSet original = SampleDataSets.Rich();
        DataSet read = Assert.Single(DicomJson.ReadArray(DicomJson.Write(original)));

        Assert.Equal(
            ElementWriter.ToBytes(original, TransferSyntax.ExplicitLittleEndian).AsSpan().ToArray(),
            ElementWriter.ToBytes(read, TransferSyntax.ExplicitLittleEndian));
    }

    [Theory]
    // Table F.2.3-1: DS and IS are numbers (or strings); an empty value among others is null (F.2.5); no value is no member (F.2.5).
    [InlineData(0x00280030u, Vr.DS, "0.50\\1e3", """{"00280030":{"vr":"DS","Value":[0.50,1000]}}""")]
    [InlineData(0x00280030u, Vr.DS, "+1.\\.5", """{"00280030":{"vr":"DS","Value":[1,0.5]}}""")]
    [InlineData(0x00280030u, Vr.DS, "about 5", """{"00280030":{"vr":"DS","Value":["about 5"]}}""")]
    [InlineData(0x00200013u, Vr.IS, " 007 ", """{"00200013":{"vr":"IS","Value":[7]}}""")]
    [InlineData(0x00080008u, Vr.CS, "A\\\\B", """{"00080008":{"vr":"CS","Value":["A",null,"B"]}}""")]
    [InlineData(0x00100010u, Vr.PN, "A^B\\=C", """{"00100010":{"vr":"PN","Value":[{"Alphabetic":"A^B"},{"Ideographic":"C"}]}}""")]
    [InlineData(0x00100020u, Vr.LO, "", """{"00100020":{"vr":"LO"}}""")]
    [InlineData(0x00100020u, Vr.UN, "AB", """{"00100020":{"vr":"UN","InlineBinary":"QUI="}}""")]
    public void Values_take_the_form_of_their_representation(uint tag, Vr vr, string value, string json)
    {
        var dataSet = new DataSet();
        dataSet.Put(Element.FromBytes(new Tag(tag), vr, Encoding.ASCII.GetBytes(value)));
        Assert.Equal(json, Encoding.UTF8.GetString(DicomJson.Write(dataSet)));
    }

    [Fact]
    public void Numbers_beyond_what_json_keeps_and_no_numbers_are_text()
    {
        var dataSet = new DataSet();
        dataSet.SetUInt64(Tags.EncapsulatedPixelDataValueTotalLength, (1UL << 53) + 1, 5);
        dataSet.SetDouble(new Tag(0x0018, 0x9073), double.NaN, double.NegativeInfinity, -0.5);

        string json = Encoding.UTF8.GetString(DicomJson.Write(dataSet));

        Assert.Equal("""{"00189073":{"vr":"FD","Value":["NaN","-Infinity",-0.5]},"7FE00003":{"vr":"UV","Value":["9007199254740993",5]}}""", json);
        DataSet read = Assert.Single(DicomJson.ReadArray(Encoding.UTF8.GetBytes(json)));
        Assert.Equal([double.NaN, double.NegativeInfinity, -0.5], read.GetDoubles(new Tag(0x0018, 0x9073)));
        Assert.Equal([(1UL << 53) + 1, 5UL], read.GetUInt64s(Tags.EncapsulatedPixelDataValueTotalLength));
    }

    [Fact]
    public void Bulk_data_is_named_by_uri_and_fetched_by_the_caller()
    {
        DataSet dataSet = SampleDataSets.Encapsulated(PixelSource.FromBytes(new byte[8]));
        string json = Encoding.UTF8.GetString(DicomJson.Write(dataSet, element => element.Tag == Tags.PixelData ? "bulk/1" : null));

        Assert.Contains("""
            "7FE00010":{"vr":"OB","BulkDataURI":"bulk/1"}
            """, json, StringComparison.Ordinal);
        Assert.Throws<ArgumentException>(() => DicomJson.Write(dataSet));
        var findings = new List<ReadFinding>();
        Assert.True(DicomJson.ReadArray(Encoding.UTF8.GetBytes(json), findings: findings)[0][Tags.PixelData]!.IsEmpty);
        Assert.Contains(findings, finding => finding.Path == "(7FE0,0010)");
        DataSet fetched = DicomJson.ReadArray(Encoding.UTF8.GetBytes(json), (tag, vr, uri) => PixelSource.FromBytes(Encoding.ASCII.GetBytes(uri)))[0];
        Assert.Equal("bulk/1"u8.ToArray(), ElementReaderTests.Bytes(fetched[Tags.PixelData]!.Pixels!));
    }

    [Fact]
    public void What_servers_write_otherwise_is_understood()
    {
        // A plain name, numbers as text and text as numbers, no representation, an empty item as null, Latin-1 declared, members in any order.
        const string Json = """
            {
              "00280010": { "vr": "US", "Value": [ "512" ] },
              "00100020": { "vr": "LO", "Value": [ 12345 ] },
              "00100010": { "vr": "PN", "Value": [ "Åse^A" ] },
              "00080060": { "Value": [ "XC" ] },
              "00081111": { "vr": "SQ", "Value": [ null ] },
              "00280011": { "vr": "US", "Value": null },
              "00080005": { "vr": "CS", "Value": [ "ISO_IR 100" ] },
              "00200013": { "vr": "IS", "Value": [ 3.0 ] },
              "comment": { "vr": "LO" }
            }
            """;
        var findings = new List<ReadFinding>();

        DataSet dataSet = DicomJson.ReadArray(Encoding.UTF8.GetBytes(Json), findings: findings)[0];

        Assert.Equal(512, dataSet.GetInt32(Tags.Rows));
        Assert.Equal("12345", dataSet.GetString(Tags.PatientID));
        Assert.Equal("Åse^A", dataSet.GetString(Tags.PatientName));
        Assert.Equal("XC", dataSet.GetString(Tags.Modality));
        Assert.Empty(Assert.Single(dataSet.GetItems(Tags.ReferencedPerformedProcedureStepSequence)));
        Assert.True(dataSet[Tags.Columns]!.IsEmpty);
        Assert.Equal("ISO_IR 192", dataSet.GetString(Tags.SpecificCharacterSet));
        Assert.Equal("3", dataSet.GetString(Tags.InstanceNumber));
        Assert.Equal(2, findings.Count);
    }

    [Theory]
    [InlineData("[")]
    [InlineData("3")]
    [InlineData("""{"00100010":3}""")]
    [InlineData("""{"00100010":{"vr":"PN","Value":"A^B"}}""")]
    [InlineData("""{"00280010":{"vr":"US","Value":[65536]}}""")]
    [InlineData("""{"00280010":{"vr":"US","Value":["many"]}}""")]
    [InlineData("""{"00282000":{"vr":"OB","InlineBinary":"***"}}""")]
    [InlineData("""{"00081111":{"vr":"SQ","Value":[7]}}""")]
    [InlineData("""{"00100020":{"vr":"LO","Value":["\ud800"]}}""")]
    public void What_is_no_data_set_is_refused(string json) =>
        Assert.Throws<MalformedException>(() => DicomJson.ReadArray(Encoding.UTF8.GetBytes(json)));

    private static readonly JsonSerializerOptions Plain = new() { Encoder = System.Text.Encodings.Web.JavaScriptEncoder.UnsafeRelaxedJsonEscaping };

    private static string Compact(string json)
    {
        using var document = JsonDocument.Parse(json);
        return JsonSerializer.Serialize(document.RootElement, Plain);
    }
}
