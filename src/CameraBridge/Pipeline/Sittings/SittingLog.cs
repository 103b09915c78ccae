namespace CameraBridge.Pipeline.Sittings;

/// <summary>What closing and dividing write to the log: event ids 1150 to 1199. Ids and counts only.</summary>
internal static partial class SittingLog
{
    [LoggerMessage(1150, LogLevel.Information, "Sitting {Sitting} is closed: {Captures} capture(s), {Parts} part(s), {Empty} of them a label alone")]
    public static partial void SittingClosed(this ILogger logger, long sitting, int captures, int parts, int empty);

    [LoggerMessage(1151, LogLevel.Warning, "Sitting {Sitting} and its parts will be held: {Doubt}")]
    public static partial void OrderInDoubt(this ILogger logger, long sitting, string doubt);
}
