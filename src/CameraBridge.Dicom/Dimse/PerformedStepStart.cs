using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;

namespace CameraBridge.Dicom.Dimse;

/// <summary>
/// The beginning of a performed procedure step (N-CREATE, PS3.4 section F.7.2.1). Its SOP Instance UID is made and stored before anything is
/// sent, and stands in the Referenced Performed Procedure Step Sequence of the pictures.
/// </summary>
public sealed record PerformedStepStart
{
    /// <summary>SOP Instance UID of the step.</summary>
    public required string SOPInstanceUID { get; init; }

    /// <summary>Performed Procedure Step ID (SH).</summary>
    public required string PerformedProcedureStepID { get; init; }

    /// <summary>AE title of the station that performs: usually our own.</summary>
    public required string PerformedStationAETitle { get; init; }

    /// <summary>Modality, such as ES or XC.</summary>
    public required string Modality { get; init; }

    /// <summary>When it began, in the local time of the pictures.</summary>
    public required DateTime Start { get; init; }

    /// <summary>
    /// The scheduled steps that it performs: one, or several that are performed together; for an unscheduled step the one of
    /// <see cref="Unscheduled"/>. Items of Scheduled Step Attributes Sequence.
    /// </summary>
    public required IReadOnlyList<DataSet> ScheduledStepAttributes { get; init; }

    /// <summary>
    /// The patient: Patient's Name, Patient ID with issuer, Birth Date, Sex, Referenced Patient Sequence and admission are taken over, what is
    /// missing is sent empty. The answer of the worklist may be given as it is.
    /// </summary>
    public DataSet? Patient { get; init; }

    /// <summary>Performed Station Name.</summary>
    public string? PerformedStationName { get; init; }

    /// <summary>Performed Location.</summary>
    public string? PerformedLocation { get; init; }

    /// <summary>Study ID as in the pictures.</summary>
    public string? StudyID { get; init; }

    /// <summary>Performed Procedure Step Description.</summary>
    public string? PerformedProcedureStepDescription { get; init; }

    /// <summary>Performed Procedure Type Description.</summary>
    public string? PerformedProcedureTypeDescription { get; init; }

    /// <summary>Procedure Code Sequence: usually the requested procedure's codes.</summary>
    public IReadOnlyList<DataSet> ProcedureCodes { get; init; } = [];

    /// <summary>Performed Protocol Code Sequence: usually the scheduled protocol's codes.</summary>
    public IReadOnlyList<DataSet> PerformedProtocolCodes { get; init; } = [];

    /// <summary>Scheduled step attributes of an answer of the worklist (PS3.4 Table K.6-1): what the order says, under the names of this place.</summary>
    /// <param name="answer">An answer of the worklist with one scheduled step.</param>
    public static DataSet ScheduledFrom(DataSet answer)
    {
        ArgumentNullException.ThrowIfNull(answer);
        DataSet step = answer.GetItem(Tags.ScheduledProcedureStepSequence) ?? new DataSet();
        DataSet item = new();
        foreach (PerformedStepRow row in PerformedStepTable.Groups["scheduled"])
        {
            CopyOrEmpty(step.Contains(row.Tag) ? step : answer, item, row);
        }

        return item;
    }

    /// <summary>
    /// Scheduled step attributes of a step that nobody scheduled: the study's UID, made here, and nothing else; the RIS reconciles it later (IHE
    /// RAD TF, "Unscheduled", from memory).
    /// </summary>
    /// <param name="studyInstanceUID">Study of the pictures.</param>
    public static DataSet Unscheduled(string studyInstanceUID)
    {
        DataSet item = ScheduledFrom(new DataSet());
        item.Set(Tags.StudyInstanceUID, studyInstanceUID);
        return item;
    }

    /// <summary>
    /// The append case: more pictures for the same scheduled step after its performed step has ended. That one may not be changed any more, so
    /// it takes another step for the same study and order (IHE RAD TF, "Append", from memory).
    /// </summary>
    /// <exception cref="ArgumentException">The UID or the ID is that of the step that has ended.</exception>
    public PerformedStepStart Append(string sopInstanceUID, string performedProcedureStepID, DateTime start) =>
        sopInstanceUID == SOPInstanceUID || performedProcedureStepID == PerformedProcedureStepID
            ? throw new ArgumentException("A step that is appended needs a UID and an ID of its own.", nameof(sopInstanceUID))
            : this with { SOPInstanceUID = sopInstanceUID, PerformedProcedureStepID = performedProcedureStepID, Start = start };

    /// <summary>The attributes of N-CREATE. What may be set later is created empty, the reason for discontinuation too (PS3.4 Table F.7.2-1 note 3).</summary>
    /// <exception cref="ValueException">A value does not fit its VR.</exception>
    public DataSet ToDataSet()
    {
        DataSet dataSet = new();
        foreach (PerformedStepRow row in PerformedStepTable.Groups["step"])
        {
            CopyOrEmpty(row.Set == "-" ? Patient ?? [] : [], dataSet, row);
        }

        dataSet.SetItems(Tags.ScheduledStepAttributesSequence, ScheduledStepAttributes);
        dataSet.Set(Tags.PerformedProcedureStepID, PerformedProcedureStepID);
        dataSet.Set(Tags.PerformedStationAETitle, PerformedStationAETitle);
        dataSet.Set(Tags.PerformedStationName, PerformedStationName);
        dataSet.Set(Tags.PerformedLocation, PerformedLocation);
        dataSet.SetDate(Tags.PerformedProcedureStepStartDate, DateOnly.FromDateTime(Start));
        dataSet.SetTime(Tags.PerformedProcedureStepStartTime, TimeOnly.FromDateTime(Start));
        dataSet.Set(Tags.PerformedProcedureStepStatus, PerformedStepCheck.InProgress);
        dataSet.Set(Tags.PerformedProcedureStepDescription, PerformedProcedureStepDescription);
        dataSet.Set(Tags.PerformedProcedureTypeDescription, PerformedProcedureTypeDescription);
        dataSet.SetItems(Tags.ProcedureCodeSequence, ProcedureCodes);
        dataSet.SetItems(Tags.PerformedProtocolCodeSequence, PerformedProtocolCodes);
        dataSet.Set(Tags.Modality, Modality);
        dataSet.Set(Tags.StudyID, StudyID);
        dataSet.SetEmpty(Tags.PerformedProcedureStepDiscontinuationReasonCodeSequence);
        dataSet.SetEmpty(Tags.CommentsOnThePerformedProcedureStep);
        return dataSet;
    }

    private static DataSet CopyItem(DataSet source, string group)
    {
        DataSet item = new();
        foreach (PerformedStepRow row in PerformedStepTable.Groups[group])
        {
            CopyOrEmpty(source, item, row);
        }

        return item;
    }

    // What the source has is taken over as text, down to the items, since the step has a character set of its own.
    private static void CopyOrEmpty(DataSet source, DataSet target, PerformedStepRow row)
    {
        if (row.Group is not null)
        {
            if (source.GetItems(row.Tag) is { Count: > 0 } items)
            {
                target.SetItems(row.Tag, items.Select(item => CopyItem(item, row.Group)));
                return;
            }
        }
        else if (source.GetStrings(row.Tag) is { Count: > 0 } texts && texts.Any(text => text.Length > 0))
        {
            target.Set(row.Tag, texts);
            return;
        }

        if (row.Create is "1" or "2")
        {
            target.SetEmpty(row.Tag);
        }
    }
}
