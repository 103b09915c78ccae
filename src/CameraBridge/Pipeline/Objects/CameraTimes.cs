using CameraBridge.Pipeline.Sittings.Cues;

namespace CameraBridge.Pipeline.Objects;

/// <summary>How the time of a picture was corrected, for its object.</summary>
/// <param name="Shown">What the camera's clock showed, in the zone it was read in.</param>
/// <param name="OffsetSeconds">By how many seconds the clock was fast.</param>
/// <param name="DeviationSeconds">Standard deviation of that.</param>
/// <param name="DecidedAt">When that was found.</param>
internal sealed record TimeCorrection(DateTimeOffset Shown, double OffsetSeconds, double DeviationSeconds, DateTimeOffset DecidedAt);

/// <summary>
/// When the pictures of a sitting were taken: what their camera shows, corrected where its clock is known well enough; nothing where the clock was reset and nothing tells
/// how it stands.
/// </summary>
/// <param name="match">The sitting's match, with what was known of the clock.</param>
/// <param name="zone">The zone of the source.</param>
internal sealed class CameraTimes(Match match, TimeZoneInfo zone)
{
    /// <summary>This machine's clock and the one that shows a card may differ by so much.</summary>
    private static readonly TimeSpan Tolerance = TimeSpan.FromMinutes(5);

    /// <summary>When it was taken; null where nobody knows.</summary>
    public DateTimeOffset? Of(Capture capture)
    {
        if (capture.TakenAt is not { } shown)
        {
            return null;
        }

        if (EstimateFor(capture) is { CorrectsTimes: true } known)
        {
            return Corrected(shown, known) is { } at && at <= capture.SettledAt + Tolerance ? at : null;
        }

        // A clock that was reset and is known to be right again by now is right.
        return match.Clock is { IsReset: true } && EstimateFor(capture) is not { DeviationSeconds: <= ClockEstimate.MostForTimes } ? null : ObjectsStage.Plausible(capture);
    }

    /// <summary>How the time was corrected; null where it stands as the camera shows it.</summary>
    public TimeCorrection? CorrectionOf(Capture capture) =>
        EstimateFor(capture) is { CorrectsTimes: true } known && Of(capture) is not null
            ? new TimeCorrection(capture.TakenAt!.Value, known.Offset.TotalSeconds, known.DeviationSeconds, match.DecidedAt)
            : null;

    /// <summary>A clip names no camera: it is of the one that took the sitting's stills.</summary>
    private ClockEstimate? EstimateFor(Capture capture) =>
        match.Clock?.Estimate is { } known && (capture.Camera is null || capture.Camera == known.Camera) ? known : null;

    private DateTimeOffset? Corrected(DateTimeOffset shown, ClockEstimate known)
    {
        long ticks = shown.DateTime.Ticks - known.Offset.Ticks;
        return ticks > 0 && ticks < DateTime.MaxValue.Ticks ? CaptureTime.InZone(new DateTime(ticks), zone) : null;
    }
}
