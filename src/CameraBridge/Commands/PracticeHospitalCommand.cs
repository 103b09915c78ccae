using System.CommandLine;
using System.Globalization;
using CameraBridge.Diagnostics;
using CameraBridge.Practice;

namespace CameraBridge.Commands;

/// <summary><c>practice hospital</c>: a worklist and an archive on the loopback address until it is stopped.</summary>
internal static class PracticeHospitalCommand
{
    public static Verb Build(Terminal terminal)
    {
        Option<string> orders = new("--orders") { Description = "YAML file of invented orders.", HelpName = "FILE", Required = true };
        Option<string> archive = new("--archive") { Description = "Where received objects are put.", HelpName = "DIR", Required = true };
        Option<int> port = new("--port") { Description = "Port on 127.0.0.1; 0 takes a free one.", DefaultValueFactory = _ => 0 };
        Option<string> title = new("--ae-title") { Description = "The AE title that worklist and archive answer to.", DefaultValueFactory = _ => "PRACTICE" };
        Option<string?> portFile = new("--port-file") { Description = "Where the port is written to once it listens, for scripts.", HelpName = "FILE" };
        Option<LogFormat> format = Logs.FormatOption();
        Option<LogLevel> level = Logs.LevelOption(LogLevel.Information);
        Verb verb = new("hospital", "A worklist and an archive on 127.0.0.1, with invented orders, until it is stopped.", ExitCodes.UsageOrConfiguration)
        {
            orders, archive, port, title, portFile, format, level,
        };
        verb.SetAction(async (parsed, cancellation) =>
        {
            using ILoggerFactory loggers = Logs.Create(parsed.GetValue(format), parsed.GetValue(level));
            PracticeOptions options = new()
            {
                Orders = PracticeOrders.Load(parsed.GetValue(orders)!),
                ArchiveFolder = Path.GetFullPath(parsed.GetValue(archive)!),
                Port = parsed.GetValue(port),
                AETitle = parsed.GetValue(title)!,
            };
            PracticeHospital hospital = await PracticeHospital.StartAsync(options, TimeProvider.System, loggers.CreateLogger<PracticeHospital>(), cancellation).ConfigureAwait(false);
            await using (hospital.ConfigureAwait(false))
            {
                if (parsed.GetValue(CommonOptions.Json))
                {
                    JsonReply.Write(terminal.Out, new { Host = hospital.EndPoint.Address.ToString(), hospital.EndPoint.Port, options.AETitle, Orders = options.Orders.Count });
                }
                else
                {
                    await terminal.Out.WriteLineAsync(FormattableString.Invariant(
                        $"Practice hospital {options.AETitle} at {hospital.EndPoint}: {options.Orders.Count} orders. Stop it with Ctrl-C.").AsMemory(), cancellation).ConfigureAwait(false);
                }

                if (parsed.GetValue(portFile) is { } file)
                {
                    // Written under another name first, so that a script never reads half a number.
                    await File.WriteAllTextAsync(file + ".part", hospital.EndPoint.Port.ToString(CultureInfo.InvariantCulture), cancellation).ConfigureAwait(false);
                    File.Move(file + ".part", file, overwrite: true);
                }

                await Task.Delay(Timeout.InfiniteTimeSpan, TimeProvider.System, cancellation).ConfigureAwait(ConfigureAwaitOptions.SuppressThrowing);
            }
        });
        return verb;
    }
}
