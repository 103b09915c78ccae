namespace CameraBridge.Pipeline.PerformedSteps;

/// <summary>What performed steps write to the log: event ids 2000 to 2099. Ids, peers and sentences only, never a patient.</summary>
internal static partial class PerformedStepLog
{
    [LoggerMessage(2000, LogLevel.Information, "The RIS was told that the performed step {Step} of sitting {Sitting} is {State}")]
    public static partial void Told(this ILogger logger, long step, long sitting, PerformedStepState state);

    [LoggerMessage(2001, LogLevel.Warning, "The RIS could not be told of the performed step {Step}, and is told at {DueAt:u}; pictures go on without: {Sentence}")]
    public static partial void Later(this ILogger logger, long step, DateTimeOffset dueAt, string sentence);

    [LoggerMessage(2002, LogLevel.Error, "The RIS does not take the performed step {Step} of sitting {Sitting}; pictures go on without: {Sentence}")]
    public static partial void Refused(this ILogger logger, long step, long sitting, string sentence);
}
