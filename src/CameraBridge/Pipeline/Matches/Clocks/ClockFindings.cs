using System.Globalization;
using CameraBridge.Configuration;
using CameraBridge.Pipeline.Objects;
using CameraBridge.Pipeline.Sittings.Cues;

namespace CameraBridge.Pipeline.Matches.Clocks;

/// <summary>What is the matter with the clock of a sitting's camera, in words.</summary>
internal static class ClockFindings
{
    /// <summary>A clock that shows an earlier time than it showed in pictures that came before was set back; less is a stick that was left lying.</summary>
    private static readonly TimeSpan SetBack = TimeSpan.FromDays(2);

    /// <summary>FAT keeps file times in steps of two seconds (common practice; the specification of FAT of 2000, section "Date and Time Formats", from memory).</summary>
    private const int FileTimeStep = 2;

    /// <summary>Finds.</summary>
    /// <param name="pictures">The sitting's pictures that tell a time; at least one.</param>
    /// <param name="source">Where they come from.</param>
    /// <param name="zone">The zone of the source.</param>
    /// <param name="tracks">How the camera's clock went.</param>
    public static IReadOnlyList<Reason> Of(IReadOnlyList<Capture> pictures, SourceConfiguration? source, TimeZoneInfo zone, CameraTracks tracks)
    {
        var findings = new List<Reason>();
        if (ResetOf(pictures, tracks) is { } reset)
        {
            findings.Add(reset);
        }
        else if (tracks.All.DaylightSavingOf(pictures[0].TakenAt!.Value.DateTime, Local(pictures[0].SettledAt, zone)) is { } hour)
        {
            findings.Add(hour);
        }

        if (source?.Kind == SourceKind.Stick && pictures.All(IsCoarse))
        {
            findings.Add(new Reason(CameraClock.Coarse, "note: the pictures tell no time, those of the files count: local time of the camera, in steps of 2 s"));
        }

        if (pictures.Select(picture => ZoneOf(picture, zone)).FirstOrDefault(finding => finding is not null) is { } other)
        {
            findings.Add(other);
        }

        return findings;
    }

    private static Reason? ResetOf(IReadOnlyList<Capture> pictures, CameraTracks tracks)
    {
        if (pictures.FirstOrDefault(picture => ObjectsStage.Plausible(picture) is null) is { } impossible)
        {
            string shown = impossible.TakenAt!.Value.ToString("yyyy", CultureInfo.InvariantCulture);
            return new Reason(CameraClock.Reset, impossible.TakenAt > impossible.SettledAt
                ? $"the camera's clock is wrong: it shows a time of {shown} that had not come yet when the pictures lay here"
                : $"the camera's clock was reset: it shows {shown}");
        }

        // Only of one camera: of several on a source, each with its own sticks, an older picture is no sign.
        long first = pictures.Min(picture => picture.Id);
        DateTimeOffset latest = pictures.Max(picture => picture.TakenAt!.Value);
        return pictures[0].Camera is not null
            && tracks.Shown.Any(moment => moment.CaptureId < first && moment.TakenAt - latest > SetBack && moment.TakenAt <= pictures[0].SettledAt)
            ? new Reason(CameraClock.Reset, "the camera's clock was reset or set back: it showed later times in pictures that came before these")
            : null;
    }

    private static bool IsCoarse(Capture picture) =>
        picture.TakenAtOrigin == CaptureTime.FileOrigin && picture.ModifiedAt.Ticks % (FileTimeStep * TimeSpan.TicksPerSecond) == 0;

    private static Reason? ZoneOf(Capture picture, TimeZoneInfo zone)
    {
        if (picture is not { TakenAtOrigin: CaptureTime.ExifOrigin, TakenAt: { } taken } || zone.GetUtcOffset(taken) == taken.Offset)
        {
            return null;
        }

        return new Reason(
            CameraClock.Zone,
            string.Create(CultureInfo.InvariantCulture, $"note: the camera is set to the zone {Hours(taken.Offset)}, its source to {Hours(zone.GetUtcOffset(taken))}"));
    }

    private static string Hours(TimeSpan offset) => string.Create(CultureInfo.InvariantCulture, $"{(offset < TimeSpan.Zero ? '-' : '+')}{offset:hh\\:mm}");

    private static DateTime Local(DateTimeOffset moment, TimeZoneInfo zone) => TimeZoneInfo.ConvertTime(moment, zone).DateTime;
}
