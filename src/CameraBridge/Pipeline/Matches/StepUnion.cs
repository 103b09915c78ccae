using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Pipeline.Objects.Mapping;

namespace CameraBridge.Pipeline.Matches;

/// <summary>
/// The steps of all answers, each once. The same step may come with two answers of a worklist, and from several worklists: then the first worklist's word is
/// what is filed, and what the others say differently is told, or holds.
/// </summary>
internal static class StepUnion
{
    /// <summary>Attributes of which two worklists must say the same of one step: another value is another patient or order.</summary>
    private static readonly (Tag Tag, string Name)[] Decisive =
    [
        (Tags.PatientID, "patient ID"), (Tags.IssuerOfPatientID, "issuer of the patient ID"), (Tags.PatientBirthDate, "birth date"), (Tags.PatientSex, "sex"),
        (Tags.AccessionNumber, "accession number"),
    ];

    /// <summary>The union, in the order of the answers.</summary>
    public static IReadOnlyList<WorklistStep> Of(IReadOnlyList<WorklistAnswers> answers)
    {
        var union = new List<WorklistStep>();
        var known = new HashSet<(string?, (string?, string?, string?, string?, string?))>();
        foreach (WorklistStep step in answers.SelectMany(answer => answer.Steps).Where(step => known.Add((step.Worklist, step.Key))))
        {
            int[] same = [.. Enumerable.Range(0, union.Count).Where(i => IsSame(union[i], step))];
            if (same is [var one])
            {
                union[one] = union[one].With(step);
            }
            else
            {
                // None, or several that it may be: then it stands for itself, and several steps that fit are for a person.
                union.Add(step);
            }
        }

        return [.. union.DistinctBy(step => step.Key)];
    }

    /// <summary>Names of the decisive attributes that both tell, and tell differently; and the side, where both orders name one.</summary>
    public static IEnumerable<string> Differences(WorklistStep step, WorklistStep other) => Decisive
        .Select(one => (one.Name, One: step.Item.GetString(one.Tag), Other: other.Item.GetString(one.Tag)))
        .Append((Name: "side", One: OrderValues.SideOf(step.Item), Other: OrderValues.SideOf(other.Item)))
        .Where(one => one.One is not null && one.Other is not null && one.One != one.Other).Select(one => one.Name);

    /// <summary>Whether two worklists speak of the same step: the same study (or where one does not name it, the same order of the same patient), and the same step where both tell its ID.</summary>
    private static bool IsSame(WorklistStep a, WorklistStep b)
    {
        if (a.Worklist == b.Worklist || a.Twins.Any(twin => twin.Worklist == b.Worklist))
        {
            return false;
        }

        bool isSameOrder = a.StudyInstanceUID is not null && b.StudyInstanceUID is not null
            ? a.StudyInstanceUID == b.StudyInstanceUID
            : a.AccessionNumber is not null && a.AccessionNumber == b.AccessionNumber && a.PatientID == b.PatientID;
        return isSameOrder && (a.ScheduledProcedureStepID is null || b.ScheduledProcedureStepID is null || a.ScheduledProcedureStepID == b.ScheduledProcedureStepID);
    }
}
