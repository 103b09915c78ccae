using System.Text;
using System.Text.Json;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Part10;
using CameraBridge.Dicom.Web;

namespace CameraBridge.Pipeline.Matches;

/// <summary>A scheduled procedure step as the worklist told it, with what the rules look at taken out.</summary>
internal sealed class WorklistStep
{
    /// <summary>
    /// Terms of (0040,0020) for a step that pictures may still be filed under (PS3.3 section C.4.10, edition 2025e). A patient who has left (DEPARTED)
    /// counts too, since a stick comes after the visit. COMPLETED and DISCONTINUED are closed; any other word is not understood.
    /// </summary>
    private static readonly string[] OpenTerms = ["SCHEDULED", "ARRIVED", "READY", "STARTED", "DEPARTED"];

    private static readonly string[] ClosedTerms = ["COMPLETED", "DISCONTINUED", "CANCELED", "CANCELLED"];

    private readonly DataSet? _step;

    private WorklistStep(DataSet item, DataSet? step)
    {
        _step = step;
        Item = item;
        PatientID = item.GetString(Tags.PatientID);
        IssuerOfPatientID = item.GetString(Tags.IssuerOfPatientID);
        AccessionNumber = item.GetString(Tags.AccessionNumber);
        StudyInstanceUID = item.GetString(Tags.StudyInstanceUID);
        RequestedProcedureID = item.GetString(Tags.RequestedProcedureID);
        ScheduledProcedureStepID = step?.GetString(Tags.ScheduledProcedureStepID);
        WorkitemUID = item.GetString(Tags.SOPInstanceUID);
        Modality = step?.GetString(Tags.Modality);
        StationAETitles = step?.GetStrings(Tags.ScheduledStationAETitle).Where(title => title.Length > 0).ToArray() ?? [];
        StartDate = step?.GetDate(Tags.ScheduledProcedureStepStartDate);
        StartTime = step?.GetTime(Tags.ScheduledProcedureStepStartTime)?.Earliest;
        Status = step?.GetString(Tags.ScheduledProcedureStepStatus)?.ToUpperInvariant();
        TextFlaw = item.FindTextFlaws() is [var flaw, ..] ? flaw : null;
    }

    /// <summary>The answer, with one item in its Scheduled Procedure Step Sequence.</summary>
    public DataSet Item { get; }

    /// <summary>Name of the worklist that told it; null where that is not known any more.</summary>
    public string? Worklist { get; private init; }

    /// <summary>The same step as other worklists tell it.</summary>
    public IReadOnlyList<WorklistStep> Twins { get; private init; } = [];

    public string? PatientID { get; }

    public string? IssuerOfPatientID { get; }

    public string? AccessionNumber { get; }

    public string? StudyInstanceUID { get; }

    public string? RequestedProcedureID { get; }

    public string? ScheduledProcedureStepID { get; }

    /// <summary>SOP Instance UID of a Unified Procedure Step; null for a step of the modality worklist.</summary>
    public string? WorkitemUID { get; }

    public string? Modality { get; }

    public IReadOnlyList<string> StationAETitles { get; }

    public DateOnly? StartDate { get; }

    public TimeOnly? StartTime { get; }

    public string? Status { get; }

    /// <summary>How some of its text was read otherwise than it declares, in words and without any of the text; null when all was as declared.</summary>
    public string? TextFlaw { get; }

    public bool IsClosed => Status is { } status && ClosedTerms.Contains(status, StringComparer.Ordinal);

    public bool HasUnknownStatus => Status is { } status && !OpenTerms.Contains(status, StringComparer.Ordinal) && !IsClosed;

    /// <summary>What tells two steps apart; the same step may come with two answers.</summary>
    public (string?, string?, string?, string?, string?) Key => (StudyInstanceUID, RequestedProcedureID, ScheduledProcedureStepID ?? WorkitemUID, PatientID, AccessionNumber);

    /// <summary>The step as this worklist told it.</summary>
    public WorklistStep From(string worklist) => new(Item, _step) { Worklist = worklist, Twins = Twins };

    /// <summary>The step with what another worklist says of it.</summary>
    public WorklistStep With(WorklistStep twin) => new(Item, _step) { Worklist = Worklist, Twins = [.. Twins, twin] };

    /// <summary>The steps of one answer. A well-formed answer has exactly one; of an answer with more, each becomes a step of its own.</summary>
    public static IEnumerable<WorklistStep> Of(DataSet answer)
    {
        IReadOnlyList<DataSet> steps = answer.GetItems(Tags.ScheduledProcedureStepSequence);
        if (steps.Count <= 1)
        {
            return [new WorklistStep(answer, steps.Count == 1 ? steps[0] : null)];
        }

        return Enumerable.Range(0, steps.Count).Select(index =>
        {
            DataSet copy = answer.Clone();
            DataSet own = copy.GetItems(Tags.ScheduledProcedureStepSequence)[index];
            copy.SetItems(Tags.ScheduledProcedureStepSequence, own);
            return new WorklistStep(copy, own);
        });
    }

    /// <summary>DICOM JSON (PS3.18 Annex F).</summary>
    public string ToJson() => Encoding.UTF8.GetString(DicomJson.Write(Item));

    /// <summary>Reads what <see cref="ToJson"/> wrote.</summary>
    /// <exception cref="MalformedException">It is no data set.</exception>
    public static WorklistStep FromJson(JsonElement json) => Of(DicomJson.Read(json)).First();

    /// <inheritdoc cref="FromJson(JsonElement)"/>
    public static WorklistStep FromJson(string json) => Of(DicomJson.ReadArray(Encoding.UTF8.GetBytes(json))[0]).First();
}
