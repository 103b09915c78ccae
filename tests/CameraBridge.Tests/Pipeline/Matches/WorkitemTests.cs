using System.Text;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Web;
using CameraBridge.Pipeline.Matches;
using Xunit;

namespace CameraBridge.Tests.Pipeline.Matches;

/// <summary>Unified Procedure Steps as steps of the worklist: PS3.3 section C.30 (edition 2024e), values invented.</summary>
public sealed class WorkitemTests
{
    private static readonly TimeZoneInfo Berlin = TimeZoneInfo.FindSystemTimeZoneById("Europe/Berlin");

    /// <summary>A workitem in DICOM JSON (PS3.18 Annex F), as UPS-RS answers it.</summary>
    private const string Whole = """
        [{
          "00080018": { "vr": "UI", "Value": ["2.25.77"] },
          "00100010": { "vr": "PN", "Value": [{ "Alphabetic": "Müller^Änne" }] },
          "00100020": { "vr": "LO", "Value": ["P0001"] },
          "00100021": { "vr": "LO", "Value": ["TESTVALE"] },
          "00100030": { "vr": "DA", "Value": ["19700101"] },
          "0020000D": { "vr": "UI", "Value": ["2.25.1001"] },
          "00380010": { "vr": "LO", "Value": ["ADM1"] },
          "00404005": { "vr": "DT", "Value": ["20261125083000+0000"] },
          "00404025": { "vr": "SQ", "Value": [{ "00080100": { "vr": "SH", "Value": ["CAM1"] }, "00080104": { "vr": "LO", "Value": ["Ear camera"] } },
                                              { "00080100": { "vr": "SH", "Value": ["A name that is no AE"] } }] },
          "00404034": { "vr": "SQ", "Value": [{ "00404037": { "vr": "PN", "Value": [{ "Alphabetic": "Doc^Ada" }] } }] },
          "0040A370": { "vr": "SQ", "Value": [{ "0020000D": { "vr": "UI", "Value": ["2.25.1001"] }, "00080050": { "vr": "SH", "Value": ["A0001"] },
                        "00321060": { "vr": "LO", "Value": ["Otoscopy"] }, "00401001": { "vr": "SH", "Value": ["R1"] } }] },
          "00741000": { "vr": "CS", "Value": ["IN PROGRESS"] },
          "00741200": { "vr": "CS", "Value": ["HIGH"] },
          "00741204": { "vr": "LO", "Value": ["Both ears"] }
        }]
        """;

    [Fact]
    public void A_workitem_says_what_a_step_of_the_modality_worklist_says()
    {
        WorklistStep step = Assert.Single(StepsOf(Whole));

        Assert.Equal(("P0001", "TESTVALE", "A0001", "2.25.1001", "R1"), (step.PatientID, step.IssuerOfPatientID, step.AccessionNumber, step.StudyInstanceUID, step.RequestedProcedureID));
        Assert.Equal((new DateOnly(2026, 11, 25), new TimeOnly(9, 30)), (step.StartDate, step.StartTime));
        Assert.Equal(["CAM1"], step.StationAETitles);
        Assert.Equal(("STARTED", false, false), (step.Status, step.IsClosed, step.HasUnknownStatus));
        Assert.Equal((null, "2.25.77"), (step.ScheduledProcedureStepID, step.WorkitemUID));
        Assert.Equal("Müller^Änne", step.Item.GetString(Tags.PatientName));
        Assert.Equal("Otoscopy", step.Item.GetString(Tags.RequestedProcedureDescription));
        Assert.Equal("HIGH", step.Item.GetString(Tags.RequestedProcedurePriority));
        Assert.Equal("ADM1", step.Item.GetString(Tags.AdmissionID));
        DataSet inner = step.Item.GetItem(Tags.ScheduledProcedureStepSequence)!;
        Assert.Equal(("Both ears", "Doc^Ada"), (inner.GetString(Tags.ScheduledProcedureStepDescription), inner.GetString(Tags.ScheduledPerformingPhysicianName)));

        // It goes into the state and comes back.
        Assert.Equal(step.Key, WorklistStep.FromJson(step.ToJson()).Key);
    }

    [Theory]
    [InlineData("\"20261125083000+0000\"", "\"20261125083000\"", "2026-11-25 08:30")]
    [InlineData("\"20261125083000+0000\"", "\"20261125\"", "2026-11-25 ")]
    [InlineData("\"20261125083000+0000\"", "\"20261125233000+0000\"", "2026-11-26 00:30")]
    [InlineData("\"20261125083000+0000\"", "\"202611\"", " ")]
    [InlineData("\"20261125083000+0000\"", "\"tomorrow\"", " ")]
    // No offset of its own, so that of the data set counts.
    [InlineData("\"20261125083000+0000\"", "\"20261125083000\"] }, \"00080201\": { \"vr\": \"SH\", \"Value\": [\"-0500\"", "2026-11-25 14:30")]
    public void Its_start_is_in_the_hospitals_own_time(string written, string other, string start)
    {
        WorklistStep step = Assert.Single(StepsOf(Whole.Replace(written, other, StringComparison.Ordinal)));

        Assert.Equal(start, $"{step.StartDate:yyyy-MM-dd} {step.StartTime:HH:mm}");
    }

    [Theory]
    [InlineData("SCHEDULED", false, false)]
    [InlineData("COMPLETED", true, false)]
    [InlineData("CANCELED", true, false)]
    [InlineData("PAUSED", false, true)]
    public void Its_state_opens_or_closes_the_step(string state, bool closed, bool unknown)
    {
        WorklistStep step = Assert.Single(StepsOf(Whole.Replace("IN PROGRESS", state, StringComparison.Ordinal)));

        Assert.Equal((closed, unknown), (step.IsClosed, step.HasUnknownStatus));
    }

    [Fact]
    public void Each_request_that_it_is_to_fulfil_is_a_step_of_its_own()
    {
        string two = Whole.Replace("\"0040A370\": { \"vr\": \"SQ\", \"Value\": [", "\"0040A370\": { \"vr\": \"SQ\", \"Value\": [{ \"00080050\": { \"vr\": \"SH\", \"Value\": [\"A0002\"] } },", StringComparison.Ordinal);

        Assert.Equal(["A0002", "A0001"], StepsOf(two).Select(step => step.AccessionNumber));
    }

    [Fact]
    public void A_workitem_that_says_nothing_is_a_step_that_fits_nothing()
    {
        WorklistStep step = Assert.Single(StepsOf("[{}]"));

        Assert.Equal((null, null, null), (step.PatientID, step.StudyInstanceUID, step.StartDate));
    }

    private static WorklistStep[] StepsOf(string json) =>
        [.. DicomJson.ReadArray(Encoding.UTF8.GetBytes(json)).SelectMany(workitem => Workitem.ToAnswers(workitem, Berlin)).SelectMany(WorklistStep.Of)];
}
