namespace CameraBridge.Pipeline.Retention;

/// <summary>What retention writes to the log: event ids 2100 to 2199.</summary>
internal static partial class RetentionLog
{
    [LoggerMessage(2100, LogLevel.Information, "{Files} spool file(s) of {Captures} capture(s) are let go: every destination keeps their objects, and the time to keep them here is over")]
    public static partial void Trimmed(this ILogger logger, int files, int captures);

    [LoggerMessage(2101, LogLevel.Warning, "Spool files cannot be let go now, and are tried again later: {Words}")]
    public static partial void CannotTrim(this ILogger logger, string words);
}
