using System.Buffers;
using System.Globalization;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;

namespace CameraBridge.Pipeline.Matches;

/// <summary>
/// One question to the worklist (Modality Worklist Information Model, PS3.4 Annex K). Whatever it asks for, the return keys are always the
/// same and complete, since a key that is not in the query is not in the answer. Equal questions are asked once a batch.
/// </summary>
internal sealed record WorklistQuestion
{
    private static readonly SearchValues<char> NotMatchedSingly = SearchValues.Create("*?\\");

    private static readonly Tag[] TopKeys =
    [
        Tags.AccessionNumber, Tags.ReferringPhysicianName, Tags.PatientName, Tags.PatientID, Tags.IssuerOfPatientID, Tags.PatientBirthDate,
        Tags.PatientSex, Tags.PatientSize, Tags.PatientWeight, Tags.EthnicGroup, Tags.MedicalAlerts, Tags.Allergies, Tags.PregnancyStatus,
        Tags.StudyInstanceUID, Tags.RequestingPhysician, Tags.RequestingService, Tags.RequestedProcedureDescription, Tags.AdmissionID,
        Tags.SpecialNeeds, Tags.CurrentPatientLocation, Tags.PatientState, Tags.RequestedProcedureID, Tags.ReasonForTheRequestedProcedure,
        Tags.RequestedProcedurePriority, Tags.RequestedProcedureComments,
    ];

    private static readonly Tag[] StepKeys =
    [
        Tags.Modality, Tags.RequestedContrastAgent, Tags.ScheduledStationAETitle, Tags.ScheduledProcedureStepStartDate,
        Tags.ScheduledProcedureStepStartTime, Tags.ScheduledPerformingPhysicianName, Tags.ScheduledProcedureStepDescription,
        Tags.ScheduledProcedureStepID, Tags.ScheduledStationName, Tags.ScheduledProcedureStepLocation, Tags.ScheduledProcedureStepStatus,
    ];

    private static readonly Tag[] CodeKeys = [Tags.CodeValue, Tags.CodingSchemeDesignator, Tags.CodingSchemeVersion, Tags.CodeMeaning];

    private static readonly Tag[] ReferenceKeys = [Tags.ReferencedSOPClassUID, Tags.ReferencedSOPInstanceUID];

    public string? StationAETitle { get; init; }

    public string? Modality { get; init; }

    /// <summary>First day asked for, by the clock of the source.</summary>
    public DateOnly? From { get; init; }

    /// <summary>Last day asked for; with <see cref="From"/> always.</summary>
    public DateOnly? To { get; init; }

    public string? PatientID { get; init; }

    public string? AccessionNumber { get; init; }

    public string? ScheduledProcedureStepID { get; init; }

    /// <summary>
    /// True when the text may be sent as a value to match. '*' and '?' would be wildcards, a backslash two values (PS3.4 section C.2.2.2, edition 2025e),
    /// and none of them may come from a label.
    /// </summary>
    public static bool IsPlain(string? value, int longest) =>
        value is null || (value.Length > 0 && value.Length <= longest && value.AsSpan().IndexOfAny(NotMatchedSingly) < 0 && !value.Any(char.IsControl));

    /// <summary>The identifier of the C-FIND request.</summary>
    /// <exception cref="InvalidOperationException">A value would be taken for a wildcard or a list.</exception>
    public DataSet ToIdentifier()
    {
        if (!IsPlain(PatientID, 64) || !IsPlain(AccessionNumber, 16) || !IsPlain(ScheduledProcedureStepID, 16)
            || !IsPlain(StationAETitle, 16) || !IsPlain(Modality, 16))
        {
            throw new InvalidOperationException("A value of the question to the worklist is no plain text; it is held before it gets here.");
        }

        var step = new DataSet();
        foreach (Tag key in StepKeys)
        {
            step.SetEmpty(key);
        }

        step.SetItems(Tags.ScheduledProtocolCodeSequence, Empty(CodeKeys));
        step.Set(Tags.ScheduledStationAETitle, StationAETitle);
        step.Set(Tags.Modality, Modality);
        step.Set(Tags.ScheduledProcedureStepID, ScheduledProcedureStepID);
        if (From is { } from && To is { } to)
        {
            step.SetKey(Tags.ScheduledProcedureStepStartDate, from == to ? Day(from) : $"{Day(from)}-{Day(to)}");
        }

        var identifier = new DataSet();
        identifier.SetEmpty(Tags.SpecificCharacterSet);
        foreach (Tag key in TopKeys)
        {
            identifier.SetEmpty(key);
        }

        identifier.SetItems(Tags.ReferencedStudySequence, Empty(ReferenceKeys));
        identifier.SetItems(Tags.ReferencedPatientSequence, Empty(ReferenceKeys));
        identifier.SetItems(Tags.RequestedProcedureCodeSequence, Empty(CodeKeys));
        identifier.SetItems(Tags.ScheduledProcedureStepSequence, step);
        identifier.Set(Tags.PatientID, PatientID);
        identifier.Set(Tags.AccessionNumber, AccessionNumber);
        return identifier;
    }

    private static DataSet Empty(Tag[] keys)
    {
        var item = new DataSet();
        foreach (Tag key in keys)
        {
            item.SetEmpty(key);
        }

        return item;
    }

    private static string Day(DateOnly day) => day.ToString("yyyyMMdd", CultureInfo.InvariantCulture);
}
