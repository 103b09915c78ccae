using System.Net;
using System.Text;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Part10;
using CameraBridge.Dicom.Web;
using Xunit;
using static CameraBridge.Tests.Dicom.Web.WebObjects;

namespace CameraBridge.Tests.Dicom.Web;

/// <summary>The judgement of answers, without a network: PS3.18 section 10.5.3, Table I.2-1 and Table I.2-2 (edition 2024c).</summary>
public sealed class StowAnswerTests
{
    [Theory]
    [InlineData(0xB000, StowVerdict.StoredWithWarning)]
    [InlineData(0xB006, StowVerdict.StoredWithWarning)]
    [InlineData(0xB007, StowVerdict.StoredWithWarning)]
    [InlineData(0x1234, StowVerdict.StoredWithWarning)]
    [InlineData(0x0000, StowVerdict.Stored)]
    public void A_warning_is_kept_with_what_is_stored(int reason, StowVerdict verdict)
    {
        StowJudgement judged = Judge(202, Answer(stored: [Reference("2.25.1", warning: (ushort)reason)]), "2.25.1")["2.25.1"];

        Assert.Equal((verdict, verdict == StowVerdict.Stored ? null : (ushort?)reason), (judged.Verdict, judged.Reason));
    }

    [Theory]
    [InlineData(0xA700, StowVerdict.Later)]
    [InlineData(0xA7FF, StowVerdict.Later)]
    [InlineData(0xA900, StowVerdict.Refused)]
    [InlineData(0xC000, StowVerdict.Refused)]
    [InlineData(0xC122, StowVerdict.Refused)]
    [InlineData(0x0110, StowVerdict.Later)]
    [InlineData(0x0122, StowVerdict.Refused)]
    [InlineData(0x0111, StowVerdict.Unknown)]
    [InlineData(45070, StowVerdict.Unknown)]
    [InlineData(0xB000, StowVerdict.Unknown)]
    [InlineData(0x0000, StowVerdict.Unknown)]
    [InlineData(0xFF00, StowVerdict.Unknown)]
    [InlineData(0x7777, StowVerdict.Refused)]
    public void A_failure_is_judged_by_its_reason(int reason, StowVerdict verdict)
    {
        foreach (int status in new[] { 200, 202, 400, 409 })
        {
            StowJudgement judged = Judge(status, Answer(failed: [Reference("2.25.1", failure: (ushort)reason)]), "2.25.1")["2.25.1"];

            Assert.Equal((verdict, (ushort?)reason), (judged.Verdict, judged.Reason));
        }
    }

    [Theory]
    [InlineData(200)]
    [InlineData(202)]
    [InlineData(400)]
    [InlineData(409)]
    [InlineData(500)]
    public void Whatever_the_status_line_says_each_object_has_its_own_judgement(int status)
    {
        StowReply reply = Judge(
            status,
            Answer(stored: [Reference("2.25.1"), Reference("2.25.9")], failed: [Reference("2.25.2", failure: 0xA900)]),
            "2.25.3", "2.25.2", "2.25.1");

        Assert.Equal(["2.25.3", "2.25.2", "2.25.1"], reply.Instances.Select(judged => judged.SOPInstanceUID));
        Assert.Equal([StowVerdict.Unknown, StowVerdict.Refused, StowVerdict.Stored], reply.Instances.Select(judged => judged.Verdict));
        Assert.Equal(1, reply.Strangers);
    }

    [Fact]
    public void An_answer_that_contradicts_itself_or_names_another_class_leaves_it_unknown()
    {
        StowReply twice = Judge(200, Answer(stored: [Reference("2.25.1")], failed: [Reference("2.25.1", failure: 0xA900)]), "2.25.1");
        StowReply other = Judge(200, Answer(stored: [Reference("2.25.1", SOPClassUID: SopClasses.SecondaryCaptureImageStorage)]), "2.25.1");

        Assert.Equal((StowVerdict.Unknown, StowVerdict.Unknown), (twice["2.25.1"].Verdict, other["2.25.1"].Verdict));
    }

    [Fact]
    public void A_part_in_which_no_object_was_found_is_ours_when_we_sent_one_and_may_be_anyones_of_several()
    {
        // PS3.18 section I.2: Other Failures Sequence (0008,119A), for failures with no UID.
        DataSet answer = Answer(others: [Reason(0xC000)]);

        StowJudgement alone = Judge(409, answer, "2.25.1")["2.25.1"];
        StowReply several = Judge(409, answer, "2.25.1", "2.25.2");

        Assert.Equal((StowVerdict.Refused, (ushort?)0xC000), (alone.Verdict, alone.Reason));
        Assert.All(several.Instances, judged => Assert.Equal((StowVerdict.Later, true), (judged.Verdict, judged.SendAlone)));
    }

    [Fact]
    public async Task The_same_answer_is_read_from_json_and_from_both_forms_of_xml()
    {
        DataSet answer = Answer(stored: [Reference("2.25.1", warning: 0xB000)], failed: [Reference("2.25.2", failure: 0xC122)]);
        string xml = """
            <?xml version="1.0" encoding="UTF-8"?>
            <NativeDicomModel xmlns="http://dicom.nema.org/PS3.19/models/NativeDICOM">
              <DicomAttribute tag="00081190" vr="UR" keyword="RetrieveURL"><Value number="1">http://127.0.0.1/dicom-web/studies/2.25.2</Value></DicomAttribute>
              <DicomAttribute tag="00081198" vr="SQ" keyword="FailedSOPSequence"><Item number="1">
                <DicomAttribute tag="00081150" vr="UI"><Value number="1">1.2.840.10008.5.1.4.1.1.77.1.1</Value></DicomAttribute>
                <DicomAttribute tag="00081155" vr="UI"><Value number="1">2.25.2</Value></DicomAttribute>
                <DicomAttribute tag="00081197" vr="US"><Value number="1">49442</Value></DicomAttribute></Item></DicomAttribute>
              <DicomAttribute tag="00081199" vr="SQ" keyword="ReferencedSOPSequence"><Item number="1">
                <DicomAttribute tag="00081150" vr="UI"><Value number="1">1.2.840.10008.5.1.4.1.1.77.1.1</Value></DicomAttribute>
                <DicomAttribute tag="00081155" vr="UI"><Value number="1">2.25.1</Value></DicomAttribute>
                <DicomAttribute tag="00081196" vr="US"><Value number="1">45056</Value></DicomAttribute></Item></DicomAttribute>
            </NativeDicomModel>
            """;
        string multipart = $"--edge\r\nContent-Type: application/dicom+xml\r\n\r\n{xml}\r\n--edge--\r\n";

        (string Type, byte[] Body)[] forms =
        [
            ("application/dicom+json", DicomJson.Write(answer)), ("application/json", DicomJson.WriteArray([answer])), ("application/dicom+xml", Encoding.UTF8.GetBytes(xml)),
            ("text/plain", Encoding.UTF8.GetBytes(xml)), ("multipart/related; type=\"application/dicom+xml\"; boundary=edge", Encoding.UTF8.GetBytes(multipart)),
        ];
        foreach ((string type, byte[] body) in forms)
        {
            DataSet read = await WebAnswers.ReadDataSetAsync(System.Net.Http.Headers.MediaTypeHeaderValue.Parse(type), body, TestContext.Current.CancellationToken);

            Assert.Equal(ElementWriter.ToBytes(answer, TransferSyntax.ExplicitLittleEndian), ElementWriter.ToBytes(read, TransferSyntax.ExplicitLittleEndian));
            StowReply reply = Judge(202, read, "2.25.1", "2.25.2");
            Assert.Equal([StowVerdict.StoredWithWarning, StowVerdict.Refused], reply.Instances.Select(judged => judged.Verdict));
        }
    }

    private static DataSet Reason(ushort reason)
    {
        var item = new DataSet();
        item.SetInt(Tags.FailureReason, reason);
        return item;
    }

    private static StowReply Judge(int status, DataSet answer, params string[] sent) =>
        new StowAnswer("archive test", (HttpStatusCode)status, null, [.. sent.Select(uid => (SopClasses.VLEndoscopicImageStorage, uid))]).Judge(answer, null);
}
