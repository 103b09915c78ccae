using System.CommandLine;
using Microsoft.Extensions.Hosting.Systemd;
using Microsoft.Extensions.Logging.Console;

namespace CameraBridge.Diagnostics;

/// <summary>How log entries are written; always to standard error, so that standard output keeps to results.</summary>
internal enum LogFormat
{
    /// <summary>Under systemd as the journal likes it, else plain.</summary>
    Auto,

    /// <summary>One line of text an entry.</summary>
    Plain,

    /// <summary>One JSON object an entry.</summary>
    Json,
}

/// <summary>
/// Logs, and who has which event ids. An id once given keeps its meaning. No entry holds a patient's name, birth date or ID.
/// <list type="table">
/// <item><term>1000-1099</term><description>Captures</description></item>
/// <item><term>1100-1199</term><description>Cues and sittings</description></item>
/// <item><term>1200-1299</term><description>Matches</description></item>
/// <item><term>1300-1399</term><description>Objects</description></item>
/// <item><term>1400-1499</term><description>Deliveries</description></item>
/// <item><term>1500-1599</term><description>State and stage loops</description></item>
/// <item><term>1600-1699</term><description>Commands</description></item>
/// <item><term>1700-1799</term><description>Practice hospital</description></item>
/// </list>
/// </summary>
internal static class Logs
{
    public static Option<LogFormat> FormatOption() => new("--log-format")
    {
        Description = "How log entries are written to standard error: auto, plain or json.",
        HelpName = "FORMAT",
        DefaultValueFactory = _ => LogFormat.Auto,
    };

    public static Option<LogLevel> LevelOption(LogLevel level) => new("--log-level")
    {
        Description = "The least that is logged: trace, debug, information, warning, error.",
        HelpName = "LEVEL",
        DefaultValueFactory = _ => level,
    };

    public static ILoggerFactory Create(LogFormat format, LogLevel level) => LoggerFactory.Create(logging =>
    {
        logging.SetMinimumLevel(level);
        logging.Services.Configure<ConsoleLoggerOptions>(options => options.LogToStandardErrorThreshold = LogLevel.Trace);
        if (format == LogFormat.Json)
        {
            logging.AddJsonConsole(options => (options.UseUtcTimestamp, options.TimestampFormat) = (true, "yyyy-MM-ddTHH:mm:ss.fffZ"));
        }
        else if (format == LogFormat.Auto && SystemdHelpers.IsSystemdService())
        {
            logging.AddSystemdConsole();
        }
        else
        {
            logging.AddSimpleConsole(options => (options.SingleLine, options.UseUtcTimestamp, options.TimestampFormat) = (true, true, "yyyy-MM-ddTHH:mm:ssZ "));
        }
    });
}
