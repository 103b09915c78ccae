using System.Globalization;
using System.Text;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Web;

namespace CameraBridge.Commands;

/// <summary>What an operator must see of a worklist step to recognise patient and order. For the operator's view only, never for logs.</summary>
internal sealed record StepReply
{
    public string? StepID { get; init; }

    public string? AccessionNumber { get; init; }

    public string? Description { get; init; }

    public string? Modality { get; init; }

    public string? StationAETitle { get; init; }

    /// <summary>Scheduled start as the worklist wrote it: "2026-03-17 08:45".</summary>
    public string? ScheduledAt { get; init; }

    public string? PatientName { get; init; }

    public string? PatientID { get; init; }

    public string? PatientBirthDate { get; init; }

    public string? PatientSex { get; init; }

    public static StepReply Read(string stepJson)
    {
        DataSet answer = DicomJson.ReadArray(Encoding.UTF8.GetBytes(stepJson))[0];
        DataSet? step = answer.GetItem(Tags.ScheduledProcedureStepSequence);
        string? date = step?.GetDate(Tags.ScheduledProcedureStepStartDate)?.ToString("yyyy-MM-dd", CultureInfo.InvariantCulture);
        string? time = step?.GetString(Tags.ScheduledProcedureStepStartTime) is { Length: >= 4 } written ? $"{written[..2]}:{written[2..4]}" : null;
        return new StepReply
        {
            StepID = step?.GetString(Tags.ScheduledProcedureStepID),
            AccessionNumber = answer.GetString(Tags.AccessionNumber),
            Description = step?.GetString(Tags.ScheduledProcedureStepDescription) ?? answer.GetString(Tags.RequestedProcedureDescription),
            Modality = step?.GetString(Tags.Modality),
            StationAETitle = step?.GetString(Tags.ScheduledStationAETitle),
            ScheduledAt = date is null ? null : $"{date} {time}".TrimEnd(),
            PatientName = NameOf(answer),
            PatientID = answer.GetString(Tags.PatientID),
            PatientBirthDate = answer.GetDate(Tags.PatientBirthDate)?.ToString("yyyy-MM-dd", CultureInfo.InvariantCulture),
            PatientSex = answer.GetString(Tags.PatientSex),
        };
    }

    /// <summary>"HV260001 Otoscopy, both ears, 2026-03-17 08:45 at HOLLINCAM1 (ES)".</summary>
    public string OrderLine() => Line(AccessionNumber ?? "(no accession number)", Description, ScheduledAt, StationAETitle, Modality);

    /// <summary>"Quillfeather, Odo, 4100017, born 1940-02-06, M".</summary>
    public string PatientLine() =>
        string.Join(", ", new[] { PatientName, PatientID, PatientBirthDate is null ? null : $"born {PatientBirthDate}", PatientSex }.Where(part => part is { Length: > 0 }));

    private static string Line(string order, string? description, string? at, string? station, string? modality) => new StringBuilder(order)
        .Append(description is { Length: > 0 } ? $" {description}" : "")
        .Append(at is { Length: > 0 } ? $", {at}" : "")
        .Append(station is { Length: > 0 } ? $" at {station}" : "")
        .Append(modality is { Length: > 0 } ? $" ({modality})" : "")
        .ToString();

    private static string? NameOf(DataSet answer)
    {
        if (answer.GetPersonName(Tags.PatientName) is not { IsEmpty: false } name)
        {
            return null;
        }

        PersonNameGroup group = name.Alphabetic.IsEmpty ? name.Ideographic : name.Alphabetic;
        return string.Join(", ", new[] { group.Family, $"{group.Given} {group.Middle}".Trim() }.Where(part => part.Length > 0));
    }
}
