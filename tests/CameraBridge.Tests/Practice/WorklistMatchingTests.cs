using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Practice;
using CameraBridge.Tests.Pipeline.Matches;
using Xunit;

namespace CameraBridge.Tests.Practice;

/// <summary>Attribute matching by PS3.4 section C.2.2.2 (edition 2025e) and Table K.6-1.</summary>
public sealed class WorklistMatchingTests
{
    private static readonly DataSet Item = Steps.Answer(name: "Sample^Ida^Maria");

    [Theory]
    // C.2.2.2.1 single value, C.2.2.2.3 universal, C.2.2.2.4 wildcard.
    [InlineData("00100020", "P0001", true)]
    [InlineData("00100020", "p0001", false)]
    [InlineData("00100020", "P000", false)]
    [InlineData("00100020", "", true)]
    [InlineData("00100020", "P*", true)]
    [InlineData("00100020", "P?001", true)]
    [InlineData("00100020", "P?01", false)]
    [InlineData("00100020", "*1", true)]
    [InlineData("00100020", "*", true)]
    [InlineData("00100010", "sample^ida*", true)]
    [InlineData("00100010", "SAMPLE^IDA^MARIA^^", true)]
    [InlineData("00100010", "Sample^I", false)]
    [InlineData("0020000D", "2.25.9", false)]
    [InlineData("0020000D", "2.25.1001", true)]
    // What the item does not have matches only a universal key.
    [InlineData("00380010", "X", false)]
    [InlineData("00380010", "", true)]
    public void Keys_of_the_patient(string tag, string value, bool matches)
    {
        var identifier = new DataSet();
        Assert.True(Tag.TryParse(tag, out Tag key));
        identifier.SetKey(key, value);

        Assert.Equal(matches, WorklistMatching.Matches(identifier, Item));
    }

    [Fact]
    public void One_uid_of_a_list_is_enough()
    {
        // C.2.2.2.2.
        var identifier = new DataSet();
        identifier.Set(Tags.StudyInstanceUID, ["2.25.9", "2.25.1001"]);

        Assert.True(WorklistMatching.Matches(identifier, Item));
    }

    [Theory]
    // C.2.2.2.5 ranges, C.2.2.2.6 sequences.
    [InlineData("00400002", "20261125", true)]
    [InlineData("00400002", "20261124-20261126", true)]
    [InlineData("00400002", "-20261125", true)]
    [InlineData("00400002", "20261126-", false)]
    [InlineData("00400003", "0900-1000", true)]
    [InlineData("00400003", "1000-1100", false)]
    [InlineData("00400001", "CAM1", true)]
    [InlineData("00400001", "CAM", false)]
    // Scheduled Station AE Title is matched by single value only (Table K.6-1): an asterisk is no wildcard there.
    [InlineData("00400001", "CAM*", false)]
    [InlineData("00080060", "ES", true)]
    [InlineData("00080060", "XC", false)]
    public void Keys_of_the_step(string tag, string value, bool matches)
    {
        var step = new DataSet();
        Assert.True(Tag.TryParse(tag, out Tag key));
        step.SetKey(key, value);
        var identifier = new DataSet();
        identifier.SetItems(Tags.ScheduledProcedureStepSequence, step);

        Assert.Equal(matches, WorklistMatching.Matches(identifier, Item));
    }

    [Fact]
    public void An_answer_has_exactly_the_keys_that_were_asked_for()
    {
        var step = new DataSet();
        step.SetEmpty(Tags.Modality);
        step.SetEmpty(Tags.ScheduledStationName);
        var identifier = new DataSet();
        identifier.SetEmpty(Tags.SpecificCharacterSet);
        identifier.SetEmpty(Tags.PatientID);
        identifier.SetEmpty(Tags.AdmissionID);
        identifier.SetItems(Tags.ScheduledProcedureStepSequence, step);

        DataSet answer = WorklistMatching.Answer(identifier, Item);

        Assert.Equal([Tags.PatientID, Tags.AdmissionID, Tags.ScheduledProcedureStepSequence], answer.Select(element => element.Tag));
        Assert.Equal("P0001", answer.GetString(Tags.PatientID));
        Assert.Null(answer.GetString(Tags.AdmissionID));
        DataSet answered = answer.GetItem(Tags.ScheduledProcedureStepSequence)!;
        Assert.Equal([Tags.Modality, Tags.ScheduledStationName], answered.Select(element => element.Tag));
    }
}
