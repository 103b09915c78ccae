using System.Diagnostics;
using System.Globalization;
using CameraBridge.Practice.Sticks;

namespace CameraBridge.Benchmarks;

/// <summary>The program itself, run once over a drawn stick, with its time and its peak memory.</summary>
internal static class OnceProgram
{
    private static readonly TimeSpan MemoryLookInterval = TimeSpan.FromMilliseconds(50);

    /// <summary>The program as it was built in the configuration of this benchmark; what an administrator runs is published, and is named by --program.</summary>
    public static string Built => Path.Combine(
        AppContext.BaseDirectory, "..", "..", "..", "..", "..", "src", "CameraBridge", "bin",
        AppContext.BaseDirectory.Contains("/Release/", StringComparison.Ordinal) ? "Release" : "Debug", "net10.0", "camerabridge");

    /// <summary>The value behind an option's name, or null.</summary>
    public static string? Option(string[] args, string name) =>
        Array.IndexOf(args, name) is int at and >= 0 && at + 1 < args.Length ? args[at + 1] : null;

    /// <summary>Runs <c>camerabridge once</c>.</summary>
    /// <param name="program">The program.</param>
    /// <param name="place">A folder of its own for spool, state and configuration.</param>
    /// <param name="stick">The stick.</param>
    /// <param name="worklist">Port of the practice hospital.</param>
    /// <param name="archive">Port of the receiver PEERSTORE.</param>
    /// <param name="labels">"read: yes" or "read: no".</param>
    /// <param name="optic">What the pictures are of.</param>
    /// <exception cref="InvalidOperationException">Something was held or not delivered.</exception>
    public static async Task<(double Seconds, double Processor, long PeakBytes)> RunAsync(
        string program, string place, string stick, int worklist, int archive, string labels, string optic = "general")
    {
        Directory.CreateDirectory(place);
        string configuration = Path.Combine(place, "camerabridge.yaml");
        File.WriteAllText(configuration, string.Create(CultureInfo.InvariantCulture, $"""
            time_zone: UTC
            spool: {place}/spool
            state: {place}/state.db
            sources:
              - name: stick
                folder: {stick}
                kind: stick
                station:
                  ae_title: {StickPlan.StationAETitle}
                settle_time: 0 s
                optic: {optic}
            labels:
              {labels}
              patterns:
                - name: wristband
                  expression: '^PID:(?<patient_id>[0-9]+)$'
                  issuer: {StickPlan.Issuer}
            worklist:
              host: 127.0.0.1
              port: {worklist}
              called_ae_title: PRACTICE
            destinations:
              - name: archive
                host: 127.0.0.1
                port: {archive}
                called_ae_title: PEERSTORE
                confirm_by: none
            """));
        Stopwatch watch = Stopwatch.StartNew();
        using Process process = Process.Start(new ProcessStartInfo(program, ["once", stick, "--config", configuration])
        {
            RedirectStandardOutput = true,
            RedirectStandardError = true,
        })!;
        Task<string> output = process.StandardOutput.ReadToEndAsync();
        Task<string> errors = process.StandardError.ReadToEndAsync();
        long peak = 0;
        TimeSpan processor = TimeSpan.Zero;
        while (!process.HasExited)
        {
            process.Refresh();
            peak = Math.Max(peak, process.PeakWorkingSet64);
            processor = process.HasExited ? processor : process.TotalProcessorTime;
            await Task.WhenAny(process.WaitForExitAsync(), Task.Delay(MemoryLookInterval, TimeProvider.System));
        }

        double seconds = watch.Elapsed.TotalSeconds;
        return process.ExitCode == 0
            ? (seconds, processor.TotalSeconds, peak)
            : throw new InvalidOperationException($"once ended with {process.ExitCode}: {await errors}{await output}");
    }
}
