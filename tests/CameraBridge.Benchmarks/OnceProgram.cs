using System.Diagnostics;

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

    /// <summary>Runs <c>camerabridge once</c> on the site's source.</summary>
    /// <exception cref="InvalidOperationException">Something was held or not delivered.</exception>
    public static async Task<(double Seconds, double Processor, long PeakBytes)> RunAsync(string program, SiteFile site)
    {
        Stopwatch watch = Stopwatch.StartNew();
        using Process process = Process.Start(new ProcessStartInfo(program, ["once", site.Folders[0], "--config", site.Write()])
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
