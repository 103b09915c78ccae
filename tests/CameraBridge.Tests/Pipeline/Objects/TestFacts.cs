using CameraBridge.Configuration;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Pipeline;
using CameraBridge.Pipeline.Objects;
using CameraBridge.Pipeline.Objects.Optics;
using Xunit;

namespace CameraBridge.Tests.Pipeline.Objects;

/// <summary>Facts to make objects of: an invented order, an invented clinic, and any JPEG file.</summary>
internal static class TestFacts
{
    public const string StudyInstanceUID = "1.2.840.99999.7.1", SeriesInstanceUID = "2.25.1001", SOPInstanceUID = "2.25.1002";

    private static readonly CaptureContents Contents = new(
        new SiteConfiguration { SpoolFolder = Directory.CreateTempSubdirectory("made-").FullName, StateFile = "" }, TimeProvider.System);

    /// <summary>A worklist item as PS3.4 Table K.6-1 has it, with what a careful information system sends.</summary>
    public static DataSet Step()
    {
        var item = new DataSet();
        item.Set(Tags.PatientName, "Müllér^Jörg^^Dr.");
        item.Set(Tags.PatientID, "P0042");
        item.Set(Tags.IssuerOfPatientID, "INVENTED");
        item.SetDate(Tags.PatientBirthDate, new DateOnly(1961, 4, 30));
        item.Set(Tags.PatientSex, "M");
        item.Set(Tags.StudyInstanceUID, StudyInstanceUID);
        item.Set(Tags.AccessionNumber, "A20260042");
        item.Set(Tags.ReferringPhysicianName, "Vogel^Ada");
        item.Set(Tags.RequestedProcedureID, "RP7");
        item.Set(Tags.RequestedProcedureDescription, "Otoscopy both ears");
        item.Set(Tags.AdmissionID, "V11");
        item.SetItems(Tags.RequestedProcedureCodeSequence, Code("OTO", "99INV", "Otoscopy"));
        item.SetItems(Tags.ReferencedStudySequence, Reference());
        var step = new DataSet();
        step.Set(Tags.Modality, "ES");
        step.Set(Tags.ScheduledStationAETitle, "ENT1");
        step.Set(Tags.ScheduledPerformingPhysicianName, "Never^Copied");
        step.SetDate(Tags.ScheduledProcedureStepStartDate, new DateOnly(2026, 2, 28));
        step.Set(Tags.ScheduledProcedureStepID, "SPS9");
        step.Set(Tags.ScheduledProcedureStepDescription, "Otoscopy right ear");
        step.SetItems(Tags.ScheduledProtocolCodeSequence, Code("OTO-R", "99INV", "Otoscopy, right"));
        item.SetItems(Tags.ScheduledProcedureStepSequence, step);
        return item;
    }

    public static DataSet Code(string value, string scheme, string meaning)
    {
        var code = new DataSet();
        code.Set(Tags.CodeValue, value);
        code.Set(Tags.CodingSchemeDesignator, scheme);
        code.Set(Tags.CodeMeaning, meaning);
        return code;
    }

    public static SourceConfiguration Source(string optic = "ear") => new()
    {
        Name = "ent",
        Folder = "/nowhere",
        Optic = optic,
        StationName = "ENT-ROOM-1",
        Device = new DeviceConfiguration { Manufacturer = "Invented Optics", ModelName = "Otocam 3", SerialNumber = "SN-77", SoftwareVersions = "1.4" },
    };

    /// <summary>What an optic's object is made of; the file is read as the flow reads it.</summary>
    public static ObjectFacts Of(string path, string optic = "ear", string? side = "R", DataSet? step = null, CaptureKind kind = CaptureKind.Still)
    {
        CancellationToken cancellation = TestContext.Current.CancellationToken;
        bool isEye = kind == CaptureKind.Still && OpticsTable.Own.TryFind(optic, out Optic? found) && found.Still.Word == "ophthalmic";
        return Of(isEye ? Contents.ReadEye(path, cancellation) : Contents.Read(kind, path, cancellation), optic, side, step, kind);
    }

    private static ObjectFacts Of(ContentOutcome content, string optic, string? side, DataSet? step, CaptureKind kind)
    {
        OpticsTable.Own.TryFind(optic, out Optic? found);
        return new ObjectFacts(
            new SeriesFacts
            {
                Step = step ?? Step(),
                Institution = new InstitutionConfiguration { Name = "Invented Hospital", Address = "1 Example Way\r\nNowhere", Department = "ENT" },
                Source = Source(optic),
                Optic = found ?? throw new ArgumentException("no such optic", nameof(optic)),
                Kind = kind,
                SeriesInstanceUID = SeriesInstanceUID,
                SeriesNumber = 3,
                StartedAt = new DateTimeOffset(2026, 2, 28, 9, 15, 30, TimeSpan.FromHours(1)),
                StudyStartedAt = new DateTimeOffset(2026, 2, 28, 9, 15, 30, TimeSpan.FromHours(1)),
                PerformedProcedureStepID = "CB3",
            },
            new PictureFacts
            {
                SOPInstanceUID = SOPInstanceUID,
                InstanceNumber = 2,
                Content = (content as ContentOutcome.Made)?.Content!,
                TakenAt = new DateTimeOffset(2026, 2, 28, 9, 16, 1, 250, TimeSpan.FromHours(1)),
                Said = side is null ? OpticValues.None : OpticValues.None.With(ValueKeys.Side, side),
            },
            (content as ContentOutcome.Held)?.Reason);
    }

    /// <summary>Says more of the picture, as a sidecar would: every value is read as it is written there.</summary>
    public static ObjectFacts Saying(this ObjectFacts facts, params (string Key, string Value)[] said)
    {
        OpticValues values = facts.Picture.Said;
        foreach (IGrouping<string, string> one in said.GroupBy(pair => pair.Key, pair => pair.Value))
        {
            values = values.With(one.Key, one.Select(value =>
            {
                if (one.Key == OpticPart.WithKey)
                {
                    return value;
                }

                Assert.Null(ValueKeys.Find(one.Key)!.Read(value, out string kept));
                return kept;
            }));
        }

        return facts with { Picture = facts.Picture with { Said = values } };
    }

    private static DataSet Reference()
    {
        var reference = new DataSet();
        reference.Set(Tags.ReferencedSOPClassUID, "1.2.840.10008.3.1.2.3.1");
        reference.Set(Tags.ReferencedSOPInstanceUID, "1.2.840.99999.7.2");
        return reference;
    }
}

/// <summary>The facts of one object, or why its file has no content.</summary>
internal sealed record ObjectFacts(SeriesFacts Series, PictureFacts Picture, Reason? Refused)
{
    public SourceConfiguration Source
    {
        get => Series.Source;
        init => Series = Series with { Source = value };
    }

    public ObjectOutcome Compose() => Refused is { } reason ? new ObjectOutcome.Held(reason) : ObjectComposition.Compose(new SeriesTemplate(Series), Picture);
}
