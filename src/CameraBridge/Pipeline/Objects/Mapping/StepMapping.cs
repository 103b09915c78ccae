using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Pipeline.Objects.Optics;

namespace CameraBridge.Pipeline.Objects.Mapping;

/// <summary>
/// What the worklist item gives to the object: patient, study, request and series, by the mapping of IHE Radiology's Scheduled Workflow
/// (RAD TF-2 Appendix A, from memory of table A.1-1; types of PS3.3 edition 2025e). Identity is copied or refused, never altered; descriptions
/// that are too long are shortened and noted. Nothing of the scheduled station or physician is taken for performed.
/// </summary>
internal static class StepMapping
{
    private static readonly Tag[] CodeAttributes =
        [Tags.CodeValue, Tags.CodingSchemeDesignator, Tags.CodingSchemeVersion, Tags.CodeMeaning];

    public static void Map(DataSet target, SeriesFacts series, List<string> notes)
    {
        DataSet item = series.Step;
        DataSet step = item.GetItem(Tags.ScheduledProcedureStepSequence) ?? new DataSet();
        MapPatient(target, item, notes);
        MapStudy(target, item, series, notes);
        MapSeries(target, step, series, notes);
        target.SetItems(Tags.RequestAttributesSequence, Request(item, step, notes));
    }

    private static void MapPatient(DataSet target, DataSet item, List<string> notes)
    {
        CopyOrEmpty(target, item, Tags.PatientName);
        CopyOrEmpty(target, item, Tags.PatientID);
        Copy(target, item, Tags.IssuerOfPatientID);
        if (item.GetDate(Tags.PatientBirthDate) is { } birth)
        {
            target.SetDate(Tags.PatientBirthDate, birth);
        }
        else
        {
            target.SetEmpty(Tags.PatientBirthDate);
            Note(notes, item.Contains(Tags.PatientBirthDate) && !item[Tags.PatientBirthDate]!.IsEmpty, "Patient's Birth Date was no date and is left empty.");
        }

        string? sex = item.GetString(Tags.PatientSex);
        target.Set(Tags.PatientSex, sex is "M" or "F" or "O" ? sex : null);
        Note(notes, sex is not (null or "M" or "F" or "O"), "Patient's Sex was none of M, F and O and is left empty.");
        Copy(target, item, Tags.AdmissionID);
    }

    private static void MapStudy(DataSet target, DataSet item, SeriesFacts series, List<string> notes)
    {
        target.Set(Tags.StudyInstanceUID, item.GetString(Tags.StudyInstanceUID));
        target.SetDate(Tags.StudyDate, DateOnly.FromDateTime(series.StudyStartedAt.DateTime));
        target.SetTime(Tags.StudyTime, WholeSeconds(series.StudyStartedAt));
        MapReferrer(target, item, notes);
        CopyOrEmpty(target, item, Tags.AccessionNumber);
        if (item.GetItem(Tags.IssuerOfAccessionNumberSequence) is { } issuer && Issuer(issuer) is { } copy)
        {
            target.SetItems(Tags.IssuerOfAccessionNumberSequence, copy);
        }

        target.Set(Tags.StudyID, item.GetString(Tags.RequestedProcedureID));
        CopyText(target, Tags.StudyDescription, item, Tags.RequestedProcedureDescription, notes);
        SetIfAny(target, Tags.ReferencedStudySequence, References(item));
        SetIfAny(target, Tags.ProcedureCodeSequence, Codes(item, Tags.RequestedProcedureCodeSequence, notes));
    }

    /// <summary>No identity of the patient: a name that is no PN is left empty rather than holding the picture.</summary>
    private static void MapReferrer(DataSet target, DataSet item, List<string> notes)
    {
        string? name = item.GetString(Tags.ReferringPhysicianName);
        bool fits = name is null || ValueRules.Flaw(Vr.PN, name) is null;
        target.Set(Tags.ReferringPhysicianName, fits ? name : null);
        Note(notes, !fits, "Referring Physician's Name was no person name and is left empty.");
    }

    private static void MapSeries(DataSet target, DataSet step, SeriesFacts series, List<string> notes)
    {
        DateTimeOffset startedAt = series.StartedAt.ToOffset(series.StudyStartedAt.Offset);
        target.Set(Tags.Modality, series.Optic.Of(series.Kind).Modality);
        if (series.Optic.Title is { } title)
        {
            target.Set(Tags.SeriesDescription, PlainText.Fit(series.Kind == CaptureKind.Clip ? $"{title}, clips" : title, Tags.SeriesDescription, notes));
        }

        target.Set(Tags.SeriesInstanceUID, series.SeriesInstanceUID);
        target.SetInt(Tags.SeriesNumber, series.SeriesNumber);
        target.SetDate(Tags.SeriesDate, DateOnly.FromDateTime(startedAt.DateTime));
        target.SetTime(Tags.SeriesTime, WholeSeconds(startedAt));
        target.Set(Tags.PerformedProcedureStepID, series.PerformedProcedureStepID);
        if (series.PerformedStepUID is { } PerformedStepUID)
        {
            // PS3.3 section C.7.3.1: the series' performed step, by the instance that the RIS knows.
            DataSet performed = new();
            performed.Set(Tags.ReferencedSOPClassUID, SopClasses.ModalityPerformedProcedureStep);
            performed.Set(Tags.ReferencedSOPInstanceUID, PerformedStepUID);
            target.SetItems(Tags.ReferencedPerformedProcedureStepSequence, performed);
        }

        target.SetDate(Tags.PerformedProcedureStepStartDate, DateOnly.FromDateTime(startedAt.DateTime));
        target.SetTime(Tags.PerformedProcedureStepStartTime, WholeSeconds(startedAt));
        CopyText(target, Tags.PerformedProcedureStepDescription, step, Tags.ScheduledProcedureStepDescription, notes);
        List<DataSet> protocol = Codes(step, Tags.ScheduledProtocolCodeSequence, notes);
        SetIfAny(target, Tags.PerformedProtocolCodeSequence, protocol);
        if (protocol is [var first, ..])
        {
            CopyText(target, Tags.ProtocolName, first, Tags.CodeMeaning, notes);
        }
    }

    /// <summary>The item of Request Attributes Sequence (PS3.3 Table 10-9).</summary>
    private static DataSet Request(DataSet item, DataSet step, List<string> notes)
    {
        var request = new DataSet();
        CopyOrEmpty(request, item, Tags.RequestedProcedureID);
        CopyOrEmpty(request, step, Tags.ScheduledProcedureStepID);
        Copy(request, item, Tags.AccessionNumber);
        Copy(request, item, Tags.StudyInstanceUID);
        CopyText(request, Tags.RequestedProcedureDescription, item, Tags.RequestedProcedureDescription, notes);
        CopyText(request, Tags.ScheduledProcedureStepDescription, step, Tags.ScheduledProcedureStepDescription, notes);
        CopyText(request, Tags.ReasonForTheRequestedProcedure, item, Tags.ReasonForTheRequestedProcedure, notes);
        SetIfAny(request, Tags.RequestedProcedureCodeSequence, Codes(item, Tags.RequestedProcedureCodeSequence, notes).Take(1));
        SetIfAny(request, Tags.ScheduledProtocolCodeSequence, Codes(step, Tags.ScheduledProtocolCodeSequence, notes));

        // Both are 1C, "required if procedure was scheduled": an empty one that the worklist did not know must not stand there as if it had.
        foreach (Tag tag in (Tag[])[Tags.RequestedProcedureID, Tags.ScheduledProcedureStepID])
        {
            if (request[tag] is { IsEmpty: true })
            {
                request.Remove(tag);
            }
        }

        return request;
    }

    /// <summary>Type 2: the value, or an empty element.</summary>
    private static void CopyOrEmpty(DataSet target, DataSet source, Tag tag)
    {
        if (source.GetString(tag) is null)
        {
            target.SetEmpty(tag);
        }
        else
        {
            Copy(target, source, tag);
        }
    }

    /// <summary>The value as it is, checked by the rules of its representation; absent when there is none.</summary>
    private static void Copy(DataSet target, DataSet source, Tag tag)
    {
        if (source.GetString(tag) is { } value)
        {
            target.Set(tag, value);
        }
    }

    /// <summary>A description: may be shortened to what its representation holds, never refused.</summary>
    private static void CopyText(DataSet target, Tag to, DataSet source, Tag from, List<string> notes)
    {
        if (source.GetString(from) is { } text)
        {
            target.Set(to, PlainText.Fit(text, to, notes));
        }
    }

    /// <summary>Codes that are whole: value, scheme and meaning. Worklists often send empty ones.</summary>
    private static List<DataSet> Codes(DataSet source, Tag sequence, List<string> notes)
    {
        var codes = new List<DataSet>();
        foreach (DataSet item in source.GetItems(sequence))
        {
            if (item.GetString(Tags.CodeValue) is null || item.GetString(Tags.CodingSchemeDesignator) is null || item.GetString(Tags.CodeMeaning) is null)
            {
                Note(notes, item.Count > 0, "A code of the worklist had no value, scheme or meaning and is left out.");
                continue;
            }

            var code = new DataSet();
            foreach (Tag tag in CodeAttributes)
            {
                if (item.GetString(tag) is { } value)
                {
                    code.Set(tag, tag == Tags.CodeMeaning ? PlainText.Fit(value, tag, notes) : value);
                }
            }

            codes.Add(code);
        }

        return codes;
    }

    private static IEnumerable<DataSet> References(DataSet item)
    {
        foreach (DataSet reference in item.GetItems(Tags.ReferencedStudySequence))
        {
            if (reference.GetString(Tags.ReferencedSOPClassUID) is { } SOPClassUID && Uids.IsValid(SOPClassUID)
                && reference.GetString(Tags.ReferencedSOPInstanceUID) is { } SOPInstanceUID && Uids.IsValid(SOPInstanceUID))
            {
                var copy = new DataSet();
                copy.Set(Tags.ReferencedSOPClassUID, SOPClassUID);
                copy.Set(Tags.ReferencedSOPInstanceUID, SOPInstanceUID);
                yield return copy;
            }
        }
    }

    /// <summary>The hierarchic designator (PS3.3 Table 10-17), when it names anybody.</summary>
    private static DataSet? Issuer(DataSet item)
    {
        var issuer = new DataSet();
        Copy(issuer, item, Tags.LocalNamespaceEntityID);
        if (item.GetString(Tags.UniversalEntityID) is not null && item.GetString(Tags.UniversalEntityIDType) is not null)
        {
            Copy(issuer, item, Tags.UniversalEntityID);
            Copy(issuer, item, Tags.UniversalEntityIDType);
        }

        return issuer.Count == 0 ? null : issuer;
    }

    private static void SetIfAny(DataSet target, Tag tag, IEnumerable<DataSet> items)
    {
        List<DataSet> list = [.. items];
        if (list.Count > 0)
        {
            target.SetItems(tag, list);
        }
    }

    private static void Note(List<string> notes, bool when, string note)
    {
        if (when && !notes.Contains(note))
        {
            notes.Add(note);
        }
    }

    private static TimeOnly WholeSeconds(DateTimeOffset moment) => new(moment.Hour, moment.Minute, moment.Second);
}
