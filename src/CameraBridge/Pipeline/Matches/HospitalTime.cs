using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;

namespace CameraBridge.Pipeline.Matches;

/// <summary>
/// Times of a worklist in the hospital's own time, which is what steps and cameras are compared in. A time without a zone is local already; Timezone Offset From UTC (0008,0201)
/// says of the whole answer that it is not (PS3.3 section C.12.1.1.8, from memory).
/// </summary>
internal static class HospitalTime
{
    /// <summary>Brings the start of each step into the zone, and takes the offset out, which then would be wrong.</summary>
    public static void Apply(DataSet answer, TimeZoneInfo zone)
    {
        TimeSpan? offset = OffsetOf(answer);
        answer.Remove(Tags.TimezoneOffsetFromUTC);
        foreach (DataSet step in answer.GetItems(Tags.ScheduledProcedureStepSequence))
        {
            // A day without a time is a day on the wall calendar: there is nothing to shift.
            if (offset is { } from && step.GetDateTime(Tags.ScheduledProcedureStepStartDate, Tags.ScheduledProcedureStepStartTime) is { } start && step.HasValue(Tags.ScheduledProcedureStepStartTime))
            {
                SetStart(step, TimeZoneInfo.ConvertTime(new DateTimeOffset(start, from), zone).DateTime);
            }
        }
    }

    /// <summary>Timezone Offset From UTC of an answer; null where it has none that can be read.</summary>
    public static TimeSpan? OffsetOf(DataSet answer) =>
        answer.GetString(Tags.TimezoneOffsetFromUTC) is { } text && DicomDateTime.TryParseOffset(text, out TimeSpan offset) ? offset : null;

    /// <summary>Writes when a step starts.</summary>
    public static void SetStart(DataSet step, DateTime start)
    {
        step.SetDate(Tags.ScheduledProcedureStepStartDate, DateOnly.FromDateTime(start));
        step.SetTime(Tags.ScheduledProcedureStepStartTime, TimeOnly.FromDateTime(start));
    }
}
