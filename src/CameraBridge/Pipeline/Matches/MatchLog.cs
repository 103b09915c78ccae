namespace CameraBridge.Pipeline.Matches;

/// <summary>What the matching of sittings writes to the log: event ids 1200 to 1299. Ids, codes and peers only, never a patient.</summary>
internal static partial class MatchLog
{
    [LoggerMessage(1200, LogLevel.Information, "Sitting {Sitting} is matched to a scheduled step")]
    public static partial void Matched(this ILogger logger, long sitting);

    [LoggerMessage(1201, LogLevel.Warning, "Sitting {Sitting} is held: {Codes}; see 'held show {Sitting2}'")]
    public static partial void Held(this ILogger logger, long sitting, string codes, long sitting2);

    [LoggerMessage(1202, LogLevel.Warning, "{Count} sitting(s) wait, to be asked for again at {DueAt:u}: {Sentence}")]
    public static partial void WorklistDown(this ILogger logger, int count, DateTimeOffset dueAt, string sentence);

    [LoggerMessage(1204, LogLevel.Information, "{Worklist} does not look at some keys of the query (status FF01); what it answers is filtered here")]
    public static partial void KeysNotSupported(this ILogger logger, string worklist);
}
