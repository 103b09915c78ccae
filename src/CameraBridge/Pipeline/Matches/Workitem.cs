using System.Globalization;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;

namespace CameraBridge.Pipeline.Matches;

/// <summary>
/// Unified Procedure Steps (PS3.4 Table CC.2.5-3 and PS3.3 section C.30, edition 2024e) put into the words of the modality worklist: questions on the way out, answers on
/// the way in. They know no modality and no step ID; a station is the code value of its name, which the site must make the AE title.
/// </summary>
internal static class Workitem
{
    private static readonly Tag[] Keys =
    [
        Tags.SOPInstanceUID, Tags.TimezoneOffsetFromUTC, Tags.PatientName, Tags.PatientID, Tags.IssuerOfPatientID, Tags.PatientBirthDate, Tags.PatientSex, Tags.PatientSize,
        Tags.PatientWeight, Tags.MedicalAlerts, Tags.Allergies, Tags.PregnancyStatus, Tags.StudyInstanceUID, Tags.AdmissionID, Tags.SpecialNeeds, Tags.PatientState,
        Tags.ScheduledProcedureStepStartDateTime, Tags.ScheduledHumanPerformersSequence, Tags.ProcedureStepState, Tags.ProcedureStepLabel, Tags.ScheduledProcedureStepPriority,
    ];

    /// <summary>What is taken as it stands, from the step and from its request.</summary>
    private static readonly Tag[] OfStep =
    [
        Tags.SOPInstanceUID, Tags.SpecificCharacterSet, Tags.PatientName, Tags.PatientID, Tags.IssuerOfPatientID, Tags.PatientBirthDate, Tags.PatientSex, Tags.PatientSize,
        Tags.PatientWeight, Tags.MedicalAlerts, Tags.Allergies, Tags.PregnancyStatus, Tags.StudyInstanceUID, Tags.AdmissionID, Tags.SpecialNeeds, Tags.PatientState,
    ];

    private static readonly Tag[] OfRequest =
    [
        Tags.StudyInstanceUID, Tags.AccessionNumber, Tags.IssuerOfAccessionNumberSequence, Tags.ReferringPhysicianName, Tags.RequestingPhysician, Tags.RequestingService,
        Tags.RequestedProcedureDescription, Tags.RequestedProcedureCodeSequence, Tags.RequestedProcedureID, Tags.ReasonForTheRequestedProcedure, Tags.RequestedProcedureComments,
    ];

    /// <summary>What is taken of the request that a workitem is to fulfil.</summary>
    public static IReadOnlyList<Tag> RequestKeys => OfRequest;

    /// <summary>Procedure Step State (PS3.3 section C.30.1) in the words of (0040,0020); another word stays, and is not understood.</summary>
    private static readonly Dictionary<string, string> States = new(StringComparer.Ordinal) { ["IN PROGRESS"] = "STARTED" };

    /// <summary>A question that says nothing that a workitem has.</summary>
    public static bool IsUnaskable(WorklistQuestion question) =>
        question is { PatientID: null, AccessionNumber: null, From: null, StationAETitle: null } && question.ScheduledProcedureStepID is not null;

    /// <summary>The question as matching and return keys of a workitem.</summary>
    public static DataSet ToIdentifier(WorklistQuestion question)
    {
        // Made first for its own sake: no value that is a wildcard gets here.
        _ = question.ToIdentifier();
        var identifier = new DataSet();
        foreach (Tag key in Keys)
        {
            identifier.SetEmpty(key);
        }

        var station = new DataSet();
        station.Set(Tags.CodeValue, question.StationAETitle);
        identifier.SetItems(Tags.ScheduledStationNameCodeSequence, station);
        var request = new DataSet();
        request.Set(Tags.AccessionNumber, question.AccessionNumber);
        identifier.SetItems(Tags.ReferencedRequestSequence, request);
        identifier.Set(Tags.PatientID, question.PatientID);
        if (question.From is { } from && question.To is { } to)
        {
            identifier.SetKey(
                Tags.ScheduledProcedureStepStartDateTime,
                string.Create(CultureInfo.InvariantCulture, $"{from:yyyyMMdd}000000-{to:yyyyMMdd}235959"));
        }

        return identifier;
    }

    /// <summary>A workitem as answers of the modality worklist: one for each request that it is to fulfil.</summary>
    /// <param name="workitem">As it came.</param>
    /// <param name="zone">The hospital's own.</param>
    public static IEnumerable<DataSet> ToAnswers(DataSet workitem, TimeZoneInfo zone)
    {
        IReadOnlyList<DataSet> requests = workitem.GetItems(Tags.ReferencedRequestSequence);
        return (requests.Count == 0 ? [new DataSet()] : requests).Select(request =>
        {
            var answer = new DataSet { CharacterSet = workitem.CharacterSet };
            answer.CopyFrom(workitem, OfStep.Where(workitem.Contains));
            answer.CopyFrom(request, OfRequest.Where(tag => request.HasValue(tag) && !answer.HasValue(tag)));
            answer.Set(Tags.RequestedProcedurePriority, workitem.GetString(Tags.ScheduledProcedureStepPriority));
            answer.SetItems(Tags.ScheduledProcedureStepSequence, ToStep(workitem, zone));
            return answer;
        });
    }

    private static DataSet ToStep(DataSet workitem, TimeZoneInfo zone)
    {
        var step = new DataSet { CharacterSet = workitem.CharacterSet };
        string[] stations =
        [
            .. workitem.GetItems(Tags.ScheduledStationNameCodeSequence).Select(code => code.GetString(Tags.CodeValue)).OfType<string>()
                .Where(name => Configuration.SettingValues.AETitle(name) is null),
        ];
        step.Set(Tags.ScheduledStationAETitle, stations);
        if (workitem.HasValue(Tags.Modality))
        {
            step.CopyFrom(workitem, Tags.Modality);
        }

        if (workitem.GetDateTime(Tags.ScheduledProcedureStepStartDateTime) is { Day: not null } start)
        {
            TimeSpan? offset = start.Offset ?? HospitalTime.OffsetOf(workitem);
            if (start.Time is null)
            {
                step.SetDate(Tags.ScheduledProcedureStepStartDate, DateOnly.FromDateTime(start.Earliest));
            }
            else
            {
                HospitalTime.SetStart(step, offset is { } from ? TimeZoneInfo.ConvertTime(new DateTimeOffset(start.Earliest, from), zone).DateTime : start.Earliest);
            }
        }

        string? state = workitem.GetString(Tags.ProcedureStepState);
        step.Set(Tags.ScheduledProcedureStepStatus, state is null ? null : States.GetValueOrDefault(state, state));
        if (workitem.GetString(Tags.ProcedureStepLabel) is { } label)
        {
            step.Set(Tags.ScheduledProcedureStepDescription, label);
        }

        if (workitem.GetItem(Tags.ScheduledHumanPerformersSequence)?.GetPersonName(Tags.HumanPerformerName) is { } performer)
        {
            step.SetPersonName(Tags.ScheduledPerformingPhysicianName, performer);
        }

        return step;
    }
}
