using System.Globalization;
using CameraBridge.Configuration;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Pipeline;
using CameraBridge.Pipeline.Matches;

namespace CameraBridge.Tests.Pipeline.Matches;

/// <summary>Invented worklist answers and sittings for the tests of matching. The pictures are taken on 2026-11-25 from 09:00 to 09:10.</summary>
internal static class Steps
{
    public static readonly DateTimeOffset Taken = new(2026, 11, 25, 9, 0, 0, TimeSpan.FromHours(1));

    /// <summary>The order names a side by a code of PS3.16 CID 244 (24028007 right, 7771000 left, 51440002 both) in its protocol codes (PS3.3 section C.4.10).</summary>
    public static DataSet ForSide(DataSet answer, string? side)
    {
        if (side is not null)
        {
            DataSet protocol = new();
            protocol.Set(Tags.CodeValue, side);
            protocol.Set(Tags.CodingSchemeDesignator, "SCT");
            protocol.Set(Tags.CodeMeaning, "side");
            answer.GetItem(Tags.ScheduledProcedureStepSequence)!.SetItems(Tags.ScheduledProtocolCodeSequence, protocol);
        }

        return answer;
    }

    public static DataSet Answer(
        string? patientID = "P0001",
        string? accession = "A0001",
        string? issuer = "TESTVALE",
        string? station = "CAM1",
        string? modality = "ES",
        string? date = "20261125",
        string? time = "0930",
        string? stepId = "S0001",
        string? study = "2.25.1001",
        string? status = null,
        string? name = "Sample^Ida")
    {
        var step = new DataSet();
        step.Set(Tags.Modality, modality);
        step.Set(Tags.ScheduledStationAETitle, station?.Split('\\') ?? []);
        step.Set(Tags.ScheduledProcedureStepStartDate, date);
        step.Set(Tags.ScheduledProcedureStepStartTime, time);
        step.Set(Tags.ScheduledProcedureStepID, stepId);
        if (status is not null)
        {
            step.Set(Tags.ScheduledProcedureStepStatus, status);
        }

        var answer = new DataSet();
        answer.Set(Tags.AccessionNumber, accession);
        answer.Set(Tags.PatientName, name);
        answer.Set(Tags.PatientID, patientID);
        answer.Set(Tags.IssuerOfPatientID, issuer);
        answer.Set(Tags.StudyInstanceUID, study);
        answer.Set(Tags.RequestedProcedureID, "R1");
        answer.SetItems(Tags.ScheduledProcedureStepSequence, step);
        return answer;
    }

    public static WorklistAnswers Answers(params DataSet[] answers) =>
        new(new WorklistQuestion { PatientID = "P0001" }, [.. answers.SelectMany(WorklistStep.Of)]) { Total = answers.Length, Status = 0 };

    public static Capture Picture(long id, string place = "") => new()
    {
        Id = id,
        Source = "van",
        Place = place.Length > 0 ? place : string.Create(CultureInfo.InvariantCulture, $"0001/IMG_{id:0000}.JPG"),
        Folder = "0001",
        Sha256 = new string('0', 64),
        SpoolName = "x",
        TakenAt = Taken.AddMinutes(id),
        TakenAtOrigin = "exif",
        State = CaptureState.Read,
    };

    public static Sitting Sitting(string begins = "folder", string? doubt = null) =>
        new() { Id = 5, Source = "van", Folder = "0001", State = SittingState.Closed, Begins = begins, Doubt = doubt };

    public static Cue Label(string? patientID, string? issuer = null, string? accession = null, long capture = 1) => new()
    {
        CaptureId = capture,
        Kind = CueKind.Label,
        Pattern = "wristband",
        PatientID = patientID,
        IssuerOfPatientID = issuer,
        AccessionNumber = accession,
    };

    public static Identity Identity(params Cue[] cues) =>
        CameraBridge.Pipeline.Matches.Identity.Of(Sitting(), [Picture(1), Picture(2), Picture(3)], cues);

    public static MatchCircumstances Circumstances(Identity identity) => new()
    {
        Identity = identity,
        First = Taken,
        Last = Taken.AddMinutes(10),
        StationAETitle = "CAM1",
        Modality = "ES",
        RequireStation = true,
        RequireModality = false,
        DaysAround = 1,
        Worklist = "the worklist RIS",
    };

    public static WorklistConfiguration Worklist(int port, int answerLimit = 1000, string? fallback = null, TimeSpan? responseLimit = null) => new()
    {
        Peer = new PeerConfiguration
        {
            Name = "RIS",
            Host = "127.0.0.1",
            Port = port,
            CalledAETitle = "BRIDGEWL",
            FallbackCharacterSet = fallback,
            ResponseLimit = responseLimit ?? TimeSpan.FromSeconds(20),
        },
        AnswerLimit = answerLimit,
    };

    public static WorklistConfiguration WebWorklist(int port, WorklistKind kind, string name = "WEB", int answerLimit = 1000) => new()
    {
        Kind = kind,
        Web = new WebConfiguration { Name = name, Url = new Uri(string.Create(CultureInfo.InvariantCulture, $"http://127.0.0.1:{port}")), ConnectLimit = TimeSpan.FromSeconds(5), ResponseLimit = TimeSpan.FromSeconds(20) },
        AnswerLimit = answerLimit,
    };
}
