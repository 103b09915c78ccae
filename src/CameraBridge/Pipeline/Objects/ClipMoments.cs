using CameraBridge.Pipeline.Sittings.Cues;

namespace CameraBridge.Pipeline.Objects;

/// <summary>When the sitting's clips ran, to tell which stills were taken meanwhile with the same optic.</summary>
internal sealed class ClipMoments
{
    private readonly List<Run> runs = [];

    /// <summary>
    /// When the recording began. A camera closes a clip's file when the recording ends, so where only the file's time is known the beginning lies before it.
    /// </summary>
    /// <param name="capture">The clip.</param>
    /// <param name="takenAt">Its time.</param>
    /// <param name="clip">What its stream says.</param>
    public static DateTimeOffset Beginning(Capture capture, DateTimeOffset takenAt, ClipContent clip) =>
        capture.TakenAtOrigin == CaptureTime.FileOrigin ? takenAt - clip.Duration : takenAt;

    public void Add(string optic, Capture capture, ClipContent clip, string SOPClassUID, string SOPInstanceUID, string SeriesInstanceUID)
    {
        if (ObjectsStage.Plausible(capture) is { } takenAt)
        {
            runs.Add(new Run(optic, Beginning(capture, takenAt, clip), clip, new ClipMoment(SOPClassUID, SOPInstanceUID, SeriesInstanceUID, 1, TimeSpan.Zero)));
        }
    }

    /// <summary>The moment in the clip of this optic that ran at a time; null when none did, or several by a clock that was set meanwhile.</summary>
    public ClipMoment? Find(string optic, DateTimeOffset at)
    {
        Run[] running = [.. runs.Where(run => run.Optic == optic && at >= run.Begun && at <= run.Begun + run.Clip.Duration)];
        if (running is not [var only])
        {
            return null;
        }

        TimeSpan since = at - only.Begun;
        int frame = (int)Math.Min(only.Clip.NumberOfFrames, (decimal.Floor((decimal)since.TotalMilliseconds / only.Clip.FrameTimeMs)) + 1);
        return only.Clip.NumberOfFrames > 0 ? only.Moment with { Frame = frame, Since = since } : null;
    }

    private sealed record Run(string Optic, DateTimeOffset Begun, ClipContent Clip, ClipMoment Moment);
}
