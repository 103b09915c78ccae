using System.Globalization;
using System.Text;
using CameraBridge.Configuration;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Dimse;
using CameraBridge.Dicom.Web;
using CameraBridge.Persistence;
using CameraBridge.Pipeline.Objects;
using CameraBridge.Pipeline.Objects.Optics;

namespace CameraBridge.Pipeline.PerformedSteps;

/// <summary>The two messages of a performed step. Both are made of what the state holds, so a retry sends the same.</summary>
internal static class StepMessages
{
    /// <summary>Where nothing tells a better one; the attribute must have a value (PS3.4 Table F.7.2-1).</summary>
    private const string UnnamedProtocol = "Photography";

    public static PerformedStepStart Start(PerformedStepTask task, SiteConfiguration site)
    {
        SourceConfiguration? source = site.FindSource(task.Sitting.Source);
        DataSet item = DicomJson.ReadArray(Encoding.UTF8.GetBytes(task.Match.StepJson!))[0];
        DataSet scheduled = item.GetItem(Tags.ScheduledProcedureStepSequence) ?? new DataSet();
        return new PerformedStepStart
        {
            SOPInstanceUID = task.Step.SOPInstanceUID,
            PerformedProcedureStepID = IdOf(task.Step),
            PerformedStationAETitle = source?.StationAETitle ?? site.CallingAETitle,
            PerformedStationName = source?.StationName,
            Modality = scheduled.GetString(Tags.Modality) is { Length: > 0 } modality ? modality : ModalityOf(site, source),
            Start = StartOf(task, site, source),
            ScheduledStepAttributes = [PerformedStepStart.ScheduledFrom(item)],
            Patient = item,
            StudyID = item.GetString(Tags.RequestedProcedureID),
            PerformedProcedureStepDescription = scheduled.GetString(Tags.ScheduledProcedureStepDescription),
            ProcedureCodes = item.GetItems(Tags.RequestedProcedureCodeSequence),
            PerformedProtocolCodes = scheduled.GetItems(Tags.ScheduledProtocolCodeSequence),
        };
    }

    /// <summary>Completed with the step's series and images; discontinued where nothing became an object.</summary>
    public static PerformedStepEnd End(PerformedStepTask task, SiteConfiguration site)
    {
        SourceConfiguration? source = site.FindSource(task.Sitting.Source);
        DataSet item = DicomJson.ReadArray(Encoding.UTF8.GetBytes(task.Match.StepJson!))[0];
        string protocol = item.GetItem(Tags.ScheduledProcedureStepSequence)?.GetItem(Tags.ScheduledProtocolCodeSequence)?.GetString(Tags.CodeMeaning) is { Length: > 0 } meaning
            ? meaning
            : UnnamedProtocol;
        PerformedSeries[] series = [.. task.Objects.GroupBy(made => made.SeriesInstanceUID, StringComparer.Ordinal).Select(group => new PerformedSeries(
            group.Key, protocol, [.. group.Select(made => new ReferencedInstance(made.SOPClassUID, made.SOPInstanceUID))])
        {
            SeriesDescription = task.Series.FirstOrDefault(one => one.SeriesInstanceUID == group.Key)?.Optic,
        })];
        DateTime start = StartOf(task, site, source);
        DateTime last = Times(task).Select(at => Local(at, site, source)).DefaultIfEmpty(start).Max();
        return new PerformedStepEnd(last < start ? start : last, series)
        {
            Discontinued = series.Length == 0 ? DiscontinuationReasons.Unspecified : null,
        };
    }

    /// <summary>As in the objects of the sitting; a step that is appended has an ID of its own.</summary>
    private static string IdOf(PerformedStep step) => string.Create(CultureInfo.InvariantCulture, $"CB{step.SittingId}{(step.IsFirst ? "" : $".{step.Id}")}");

    private static string ModalityOf(SiteConfiguration site, SourceConfiguration? source) =>
        source is not null && site.Optics.TryFind(source.Optic, out Optic? optic) ? optic.Still.Modality : "XC";

    private static DateTime StartOf(PerformedStepTask task, SiteConfiguration site, SourceConfiguration? source) =>
        Times(task).Select(at => Local(at, site, source)).DefaultIfEmpty(Local(task.Sitting.OpenedAt, site, source)).Min();

    private static IEnumerable<DateTimeOffset> Times(PerformedStepTask task) => task.Captures.Select(ObjectsStage.Plausible).OfType<DateTimeOffset>();

    private static DateTime Local(DateTimeOffset moment, SiteConfiguration site, SourceConfiguration? source)
    {
        DateTime local = TimeZoneInfo.ConvertTime(moment, source?.TimeZone ?? site.TimeZone).DateTime;
        return new DateTime(local.Ticks - (local.Ticks % TimeSpan.TicksPerSecond), DateTimeKind.Unspecified);
    }
}
