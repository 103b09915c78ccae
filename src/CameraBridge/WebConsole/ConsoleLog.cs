namespace CameraBridge.WebConsole;

/// <summary>What the console writes to the log: event ids 2200 to 2299.</summary>
internal static partial class ConsoleLog
{
    [LoggerMessage(2200, LogLevel.Information, "The console is served at {Address}")]
    public static partial void Serving(this ILogger logger, string address);
}
