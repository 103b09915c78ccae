namespace CameraBridge.Commands;

/// <summary>What the commands write to the log: event ids 1600 to 1699.</summary>
internal static partial class CommandLog
{
    [LoggerMessage(1600, LogLevel.Information, "CameraBridge {Version} is ready after {Milliseconds} ms: {Sources} sources, {Destinations} destinations, configuration {File}")]
    public static partial void Ready(this ILogger logger, string version, long milliseconds, int sources, int destinations, string file);

    [LoggerMessage(1601, LogLevel.Information, "Told to stop; what is under way is given back")]
    public static partial void Stopping(this ILogger logger);

    [LoggerMessage(1602, LogLevel.Information, "Stopped")]
    public static partial void Stopped(this ILogger logger);

    [LoggerMessage(1603, LogLevel.Warning, "Not everything stopped within {Limit}; the rest is left, and nothing of it is lost")]
    public static partial void StopLimit(this ILogger logger, TimeSpan limit);
}
