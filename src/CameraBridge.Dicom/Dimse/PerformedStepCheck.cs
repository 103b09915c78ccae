using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Iods;

namespace CameraBridge.Dicom.Dimse;

/// <summary>
/// Holds messages of a performed procedure step against the table of types and the rules of PS3.4 section F.7.2 before they are sent: what a
/// RIS would refuse, or take and be confused by, is found here.
/// </summary>
public static class PerformedStepCheck
{
    private const string Table = "PS3.4 Table F.7.2-1";
    private const string State = "PS3.3 C.4.14";

    /// <summary>A step that has begun.</summary>
    public const string InProgress = "IN PROGRESS";

    /// <summary>A step that was ended as it should be.</summary>
    public const string Completed = "COMPLETED";

    /// <summary>A step that was given up.</summary>
    public const string Discontinued = "DISCONTINUED";

    /// <summary>Checks the attributes of N-CREATE.</summary>
    public static IReadOnlyList<Finding> CheckCreate(DataSet attributes)
    {
        ArgumentNullException.ThrowIfNull(attributes);
        List<Finding> findings = [];
        Walk(attributes, "step", "", row => row.Create, findings);
        string? status = attributes.GetString(Tags.PerformedProcedureStepStatus);
        if (status is not null and not InProgress)
        {
            findings.Add(Error("step.status", nameof(Tags.PerformedProcedureStepStatus), "PS3.4 F.7.2.1.3", status, "a step begins with IN PROGRESS"));
        }

        return findings;
    }

    /// <summary>
    /// Checks the modifications of N-SET by themselves, together with what the step was made of, and as the state that comes of both if they
    /// end it.
    /// </summary>
    /// <param name="current">What was sent by N-CREATE, with earlier modifications.</param>
    /// <param name="modifications">What is to be sent now.</param>
    public static IReadOnlyList<Finding> CheckSet(DataSet current, DataSet modifications)
    {
        ArgumentNullException.ThrowIfNull(current);
        ArgumentNullException.ThrowIfNull(modifications);
        List<Finding> findings = [];
        Walk(modifications, "step", "", row => row.Set, findings);
        foreach (Element element in modifications)
        {
            if (element.Tag != Tags.SpecificCharacterSet && !current.Contains(element.Tag))
            {
                findings.Add(Error(
                    "step.not-created", KeywordOf(element.Tag), Table + " note 3", "set, but not in N-CREATE", "create it, empty if need be: only what was created may be set"));
            }
        }

        if (current.GetString(Tags.PerformedProcedureStepStatus) is Completed or Discontinued)
        {
            findings.Add(Error(
                "step.ended", nameof(Tags.PerformedProcedureStepStatus), "PS3.4 F.7.2.2.2", "a step that has ended", "make another step: an ended one may not be changed"));
        }

        switch (modifications.GetString(Tags.PerformedProcedureStepStatus))
        {
            case null or InProgress:
                break;
            case Completed or Discontinued:
                CheckFinal(Merge(current, modifications), findings);
                break;
            case { } other:
                findings.Add(Error("step.status", nameof(Tags.PerformedProcedureStepStatus), State, other, "IN PROGRESS, COMPLETED or DISCONTINUED"));
                break;
        }

        return findings;
    }

    /// <summary>A step with modifications made to it.</summary>
    public static DataSet Merge(DataSet current, DataSet modifications)
    {
        ArgumentNullException.ThrowIfNull(current);
        ArgumentNullException.ThrowIfNull(modifications);
        DataSet merged = current.Clone();
        foreach (Element element in modifications)
        {
            merged.Put(element);
        }

        return merged;
    }

    private static void CheckFinal(DataSet step, List<Finding> findings)
    {
        bool isCompleted = step.GetString(Tags.PerformedProcedureStepStatus) == Completed;
        Walk(step, "step", "", row => row.Final, findings);
        if (step.GetItems(Tags.PerformedSeriesSequence).Count == 0)
        {
            const string Right = "a series, though it may be without images";
            findings.Add(isCompleted
                ? Error("step.series", nameof(Tags.PerformedSeriesSequence), Table + " note 2", "empty", Right)
                : new Finding("step.series", nameof(Tags.PerformedSeriesSequence), Table + " note 2", "empty", Right, Severity.Warning));
        }

        if (step.HasValue(Tags.PerformedProcedureStepEndTime) &&
            step.GetDateTime(Tags.PerformedProcedureStepStartDate, Tags.PerformedProcedureStepStartTime) is { } start &&
            step.GetDateTime(Tags.PerformedProcedureStepEndDate, Tags.PerformedProcedureStepEndTime) is { } end && end < start)
        {
            findings.Add(Error("step.times", nameof(Tags.PerformedProcedureStepEndTime), State, "an end before the start", "the end after the start"));
        }

        IReadOnlyList<DataSet> reasons = step.GetItems(Tags.PerformedProcedureStepDiscontinuationReasonCodeSequence);
        const string Reason = nameof(Tags.PerformedProcedureStepDiscontinuationReasonCodeSequence);
        if (isCompleted && reasons.Count > 0)
        {
            findings.Add(Error("step.reason", Reason, State, "a reason", "no reason: the step is completed, not discontinued"));
        }
        else if (!isCompleted && reasons.Count == 0)
        {
            findings.Add(new Finding("step.reason", Reason, State, "no reason", "a code of CID 9300", Severity.Warning));
        }

        foreach (DataSet reason in reasons)
        {
            if (DiscontinuationReasons.Find(reason.GetString(Tags.CodeValue) ?? "")?.Scheme != reason.GetString(Tags.CodingSchemeDesignator))
            {
                findings.Add(new Finding("step.reason", Reason, "PS3.16 CID 9300", "another code", "a code of CID 9300 for modalities (CID 9301)", Severity.Warning));
            }
        }
    }

    private static void Walk(DataSet item, string group, string path, Func<PerformedStepRow, string> typeOf, List<Finding> findings)
    {
        foreach (PerformedStepRow row in PerformedStepTable.Groups[group])
        {
            string here = path + row.Keyword;
            string type = typeOf(row);
            if (!item.TryFind(row.Tag, out Element? element))
            {
                if (type is "1" or "2")
                {
                    findings.Add(Error($"type{type}.missing", here, Table, "not there", type == "1" ? "present with a value" : "present, empty if not known"));
                }

                continue;
            }

            if (type == "-")
            {
                findings.Add(Error("step.not-allowed", here, Table, "there", "not in N-SET: it is said by N-CREATE for good"));
                continue;
            }

            if (type == "1" && element.IsEmpty)
            {
                findings.Add(Error("type1.empty", here, Table, "empty", "a value"));
            }

            if (element.Vr == Vr.UI && !element.IsEmpty && !Uids.IsValid(item.GetString(row.Tag)))
            {
                findings.Add(Error("value.uid", here, "PS3.5 9.1", "no UID", "a UID"));
            }

            if (row.Group is not { } inner)
            {
                continue;
            }

            IReadOnlyList<DataSet> items = element.Items ?? [];
            for (int i = 0; i < items.Count; i++)
            {
                string inside = $"{here}[{(i + 1).ToString(System.Globalization.CultureInfo.InvariantCulture)}].";
                Walk(items[i], inner, inside, typeOf, findings);
                CheckConditions(items[i], inner, inside, findings);
            }
        }
    }

    // The two conditions of the table: PS3.3 Table 8.8-1 for codes, Table 10-17 for issuers.
    private static void CheckConditions(DataSet item, string group, string path, List<Finding> findings)
    {
        if (group is "code" or "meaning-code" && !item.HasValue(Tags.URNCodeValue) &&
            !((item.HasValue(Tags.CodeValue) || item.HasValue(Tags.LongCodeValue)) && item.HasValue(Tags.CodingSchemeDesignator)))
        {
            findings.Add(Error("code.value", path.TrimEnd('.'), "PS3.3 Table 8.8-1", "no code", "a code value with its coding scheme"));
        }

        if (group == "issuer" && item.HasValue(Tags.UniversalEntityID) && !item.HasValue(Tags.UniversalEntityIDType))
        {
            findings.Add(Error("type1C.missing", path + nameof(Tags.UniversalEntityIDType), Table, "not there", "the type of the Universal Entity ID"));
        }
    }

    private static string KeywordOf(Tag tag) => TagDictionary.Find(tag)?.Keyword ?? tag.ToString();

    private static Finding Error(string rule, string path, string section, string found, string right) =>
        new(rule, path, section, found, right, Severity.Error);
}
