using CameraBridge.Persistence;

namespace CameraBridge.Pipeline;

/// <summary>What the stage loops and the state write to the log: event ids 1500 to 1599. Ids only, never a patient.</summary>
internal static partial class StageLog
{
    [LoggerMessage(1500, LogLevel.Error, "Stage {Stage} waits: {Sentence}")]
    public static partial void StateUnavailable(this ILogger logger, Stage stage, string sentence);

    [LoggerMessage(1501, LogLevel.Error, "Stage {Stage}: work {Work} on subject {Subject} failed by an unforeseen error for the {Failures}. time and is tried again after {Delay}: {Error}")]
    public static partial void WorkFailed(this ILogger logger, Stage stage, long work, long subject, int failures, TimeSpan delay, string error);

    [LoggerMessage(1502, LogLevel.Critical, "Stage {Stage}: work {Work} on subject {Subject} failed by an unforeseen error for the {Failures}. time and is held; please report this entry: {Error}")]
    public static partial void WorkHeld(this ILogger logger, Stage stage, long work, long subject, int failures, string error);

    [LoggerMessage(1503, LogLevel.Warning, "The clock of this machine was set back by {SetBack}. Nothing is lost, and what waits for a time is brought forward by as much. Look at its time service (NTP) and at the battery of its clock; times that were written before may be wrong by as much")]
    public static partial void ClockSetBack(this ILogger logger, TimeSpan setBack);
}
