using System.CommandLine;
using System.Diagnostics;
using System.Reflection;
using System.Runtime.CompilerServices;
using CameraBridge.Configuration;
using CameraBridge.Diagnostics;
using CameraBridge.Persistence;
using CameraBridge.Pipeline;
using CameraBridge.Pipeline.Captures;
using CameraBridge.Pipeline.Confirmations;
using CameraBridge.Pipeline.Releases;
using CameraBridge.Pipeline.Retention;
using CameraBridge.WebConsole;
using Microsoft.Extensions.Hosting.Systemd;

namespace CameraBridge.Commands;

/// <summary><c>serve</c>: the flow, until the service is told to stop. It opens no port.</summary>
internal static class ServeCommand
{
    /// <summary>Time for what is under way to be given back after SIGTERM: shorter than the 10 s after which container engines kill.</summary>
    private static readonly TimeSpan StopLimit = TimeSpan.FromSeconds(8);

    public static Verb Build()
    {
        Option<string?> config = CommonOptions.Config();
        Option<LogFormat> format = Logs.FormatOption();
        Option<LogLevel> level = Logs.LevelOption(LogLevel.Information);
        Verb verb = new("serve", "Run the service: watch the sources and take what settles there to the destinations. Stops on SIGTERM.", ExitCodes.UsageOrConfiguration, ExitCodes.Undelivered)
        {
            config, format, level,
        };
        verb.SetAction((parsed, cancellation) =>
            RunAsync(ConfigurationFile.Locate(parsed.GetValue(config)), parsed.GetValue(format), parsed.GetValue(level), cancellation));
        return verb;
    }

    private static async Task RunAsync(string path, LogFormat format, LogLevel level, CancellationToken cancellation)
    {
        SiteConfiguration site = ConfigurationFile.Load(path);
        using ILoggerFactory loggers = Logs.Create(format, level);
        ILogger logger = loggers.CreateLogger(typeof(ServeCommand));
        IPipelineDatabase database = await PipelineDatabase.OpenAsync(site, TimeProvider.System, cancellation).ConfigureAwait(false);
        await using (database.ConfigureAwait(false))
        {
            WorkSignal signal = new();
            CommitmentTaking taking = new(database, signal, loggers.CreateLogger<CommitmentTaking>());
            ClockWatch watch = new(database, TimeProvider.System, loggers.CreateLogger<ClockWatch>());
            await watch.BeginAsync(cancellation).ConfigureAwait(false);
            ReportListener reports = ReportListener.Start(site, taking, TimeProvider.System, loggers.CreateLogger<ReportListener>());
            await using ConfiguredAsyncDisposable listening = reports.ConfigureAwait(false);
            ConsoleHost console = await ConsoleHost.StartAsync(site, database, TimeProvider.System, loggers.CreateLogger<ConsoleHost>(), cancellation).ConfigureAwait(false);
            await using ConfiguredAsyncDisposable pages = console.ConfigureAwait(false);
            Task running = RunFlowAsync(site, database, signal, taking, watch, loggers, cancellation);
            SystemdNotifier systemd = new();
            systemd.Notify(ServiceState.Ready);
            TimeSpan started = TimeProvider.System.GetUtcNow() - Process.GetCurrentProcess().StartTime.ToUniversalTime();
            logger.Ready(Version(), (long)started.TotalMilliseconds, site.Sources.Count, site.Destinations.Count, path);

            // Ends by the signal, or by an error that the loops could not live with; that one is told by the command line.
            await Task.WhenAny(running, Task.Delay(Timeout.InfiniteTimeSpan, TimeProvider.System, cancellation)).ConfigureAwait(false);
            systemd.Notify(ServiceState.Stopping);
            logger.Stopping();
            try
            {
                await running.WaitAsync(StopLimit, TimeProvider.System, CancellationToken.None).ConfigureAwait(false);
            }
            catch (OperationCanceledException) when (cancellation.IsCancellationRequested)
            {
                // The decent end.
            }
            catch (TimeoutException)
            {
                logger.StopLimit(StopLimit);
            }

            logger.Stopped();
        }
    }

    /// <summary>Runs the flow. It begins anew whenever the clock was set back, since all that it remembers to wait for are times of before.</summary>
    private static async Task RunFlowAsync(
        SiteConfiguration site, IPipelineDatabase database, WorkSignal signal, CommitmentTaking taking, ClockWatch watch, ILoggerFactory loggers, CancellationToken cancellation)
    {
        while (!cancellation.IsCancellationRequested)
        {
            using CancellationTokenSource anew = CancellationTokenSource.CreateLinkedTokenSource(cancellation);
            using CaptureSources sources = new(site, database, signal, TimeProvider.System, loggers);
            await sources.BeginAsync(cancellation).ConfigureAwait(false);
            PipelineRun run = new(Stages.Build(site, database, taking, TimeProvider.System, loggers), database, signal, TimeProvider.System, loggers);
            await using ConfiguredAsyncDisposable disposal = run.ConfigureAwait(false);
            Trimming trimming = new(site, database, TimeProvider.System, loggers.CreateLogger<Trimming>());
            StateNotes notes = new(site, database, TimeProvider.System, loggers.CreateLogger<StateNotes>());
            await run.RunAsync(token => Task.WhenAll(sources.RunAsync(token), trimming.RunAsync(token), notes.RunAsync(token), EndWhenSetBackAsync(token)), anew.Token)
                .ConfigureAwait(false);

            async Task EndWhenSetBackAsync(CancellationToken token)
            {
                await watch.UntilSetBackAsync(token).ConfigureAwait(false);
                await anew.CancelAsync().ConfigureAwait(false);
            }
        }
    }

    private static string Version() =>
        typeof(ServeCommand).Assembly.GetCustomAttribute<AssemblyInformationalVersionAttribute>()?.InformationalVersion ?? "";
}
