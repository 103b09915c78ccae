using System.CommandLine;
using System.Runtime.CompilerServices;
using System.Text.Json;
using CameraBridge.Configuration;
using CameraBridge.Diagnostics;
using CameraBridge.Persistence;
using CameraBridge.Pipeline;
using CameraBridge.Pipeline.Captures;
using CameraBridge.Pipeline.Confirmations;
using CameraBridge.Pipeline.Releases;

namespace CameraBridge.Commands;

/// <summary><c>once</c>: one folder or stick through the whole flow, and a report of what became of it.</summary>
internal static class OnceCommand
{
    public static Verb Build(Terminal terminal)
    {
        Argument<string> folder = new("FOLDER") { Description = "The folder, or where the stick is mounted." };
        Option<string?> config = CommonOptions.Config();
        Option<string?> source = new("--source")
        {
            Description = "Take it with the settings of this source; else of the one whose folder it is, else with defaults.",
            HelpName = "NAME",
        };
        Option<string?> report = new("--report") { Description = "Also write the JSON report to this file.", HelpName = "FILE" };
        Option<string> patience = new("--patience")
        {
            Description = "How long to go on trying a peer that does not answer.",
            HelpName = "DURATION",
            DefaultValueFactory = _ => SettingValues.WriteDuration(PipelineRun.DefaultPatience),
        };
        Option<LogFormat> format = Logs.FormatOption();
        Option<LogLevel> level = Logs.LevelOption(LogLevel.Error);
        Verb verb = new(
            "once",
            "Take one folder or stick through the whole flow and report what was filed, held and delivered. Run again, it takes nothing twice and carries on.",
            ExitCodes.UsageOrConfiguration,
            ExitCodes.Held,
            ExitCodes.Undelivered)
        {
            folder, config, source, report, patience, format, level,
        };
        verb.SetAction(async (parsed, cancellation) =>
        {
            SiteConfiguration site = ConfigurationFile.Load(ConfigurationFile.Locate(parsed.GetValue(config)));
            SourceConfiguration chosen = OnceSource.Choose(site, parsed.GetValue(folder)!, parsed.GetValue(source));
            if (SettingValues.Duration(parsed.GetValue(patience)!, TimeSpan.Zero, TimeSpan.FromDays(1), out TimeSpan limit) is { } fault)
            {
                throw new CommandException(ExitCodes.UsageOrConfiguration, "usage", $"--patience {fault.What}. {fault.Fix}");
            }

            using ILoggerFactory loggers = Logs.Create(parsed.GetValue(format), parsed.GetValue(level));
            OnceReply reply = await RunAsync(OnceSource.Site(site, chosen), chosen, limit, terminal, loggers, cancellation).ConfigureAwait(false);
            if (parsed.GetValue(report) is { } file)
            {
                await File.WriteAllTextAsync(file, JsonSerializer.Serialize(reply, JsonReply.Format), cancellation).ConfigureAwait(false);
            }

            if (parsed.GetValue(CommonOptions.Json))
            {
                JsonReply.Write(terminal.Out, reply);
            }
            else
            {
                reply.WriteTable(terminal.Out);
            }

            return reply.ExitCode;
        });
        return verb;
    }

    private static async Task<OnceReply> RunAsync(
        SiteConfiguration site, SourceConfiguration source, TimeSpan patience, Terminal terminal, ILoggerFactory loggers, CancellationToken cancellation)
    {
        TimeProvider clock = TimeProvider.System;
        DateTimeOffset startedAt = clock.GetUtcNow();
        IPipelineDatabase database = await PipelineDatabase.OpenAsync(site, clock, cancellation).ConfigureAwait(false);
        await using (database.ConfigureAwait(false))
        {
            WorkSignal signal = new();
            using CaptureSources sources = new(site, database, signal, clock, loggers);
            await sources.BeginAsync(cancellation).ConfigureAwait(false);
            CommitmentTaking taking = new(database, signal, loggers.CreateLogger<CommitmentTaking>());
            PipelineRun run = new(Stages.Build(site, database, taking, clock, loggers), database, signal, clock, loggers);
            SourceSummary? summary = null;
            await using (run.ConfigureAwait(false))
            {
                ReportListener listener = ReportListener.Start(site, taking, clock, loggers.CreateLogger<ReportListener>());
                await using ConfiguredAsyncDisposable listening = listener.ConfigureAwait(false);
                using OnceProgress progress = new(terminal, source.Name);
                await run.RunUntilQuietAsync(
                    async token => (summary = await sources.TakeAllAsync(source, token, progress).ConfigureAwait(false)).Whole, source.Name, patience, cancellation, progress)
                    .ConfigureAwait(false);
            }

            await new StateNotes(site, database, clock, loggers.CreateLogger<StateNotes>()).WriteAsync([source], cancellation).ConfigureAwait(false);
            IReadOnlyList<SittingReport> reports = await database.GetReportAsync(source.Name, cancellation).ConfigureAwait(false);
            SittingReply[] sittings = [.. OfThisPass(reports, source.Folder, startedAt).Select(SittingReply.Of).OrderBy(sitting => sitting.Folder, StringComparer.Ordinal).ThenBy(sitting => sitting.Sitting)];
            HashSet<long> shown = [.. sittings.Select(sitting => sitting.Sitting)];
            IReadOnlyList<PerformedStep> untold = [.. (await database.GetOpenPerformedStepsAsync(cancellation).ConfigureAwait(false)).Where(step => shown.Contains(step.SittingId))];
            return new OnceReply
            {
                Source = source.Name,
                Folder = source.Folder,
                Taken = summary!.Taken,
                Known = summary!.Known,
                Skipped = [.. summary!.Skipped.Select(skipped => new SkippedReply(skipped.Reason, skipped.Count, skipped.Words, skipped.Places, skipped.Reason.NeedsAttention()))],
                Trouble = summary!.Trouble,
                Sittings = sittings,
                UntoldSteps = [.. untold.Select(step => new UntoldStepReply(step.SittingId, step.State, step.Words))],
                Seconds = Math.Round((clock.GetUtcNow() - startedAt).TotalSeconds, 1),
                ExitCode = ExitCodes.Of(
                    anyHeld: sittings.Any(sitting => sitting.IsHeld) || summary.Skipped.Any(skipped => skipped.Reason.NeedsAttention()),
                    anyUndelivered: !summary.Whole || sittings.Any(sitting => sitting.IsUndelivered || sitting.IsUnconfirmed)),
            };
        }
    }

    /// <summary>
    /// The sittings that have a capture of this pass, or a file that lies in the folder now: a stick that is taken again is reported again. A wiped
    /// camera uses its names again, so a file is told by name, size and time.
    /// </summary>
    private static IEnumerable<SittingReport> OfThisPass(IReadOnlyList<SittingReport> reports, string folder, DateTimeOffset startedAt) =>
        reports.Where(report => report.Captures.Any(capture => capture.SettledAt >= startedAt || LiesIn(folder, capture)));

    private static bool LiesIn(string folder, Capture capture)
    {
        FileInfo file = new(Path.Combine(folder, capture.Place));
        return file.Exists && file.Length == capture.Size && Math.Abs((file.LastWriteTimeUtc - capture.ModifiedAt.UtcDateTime).TotalSeconds) < 2;
    }
}
