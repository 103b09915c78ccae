using System.Diagnostics;
using System.Security.Cryptography;
using CameraBridge.Configuration;
using CameraBridge.Persistence.Sqlite;
using CameraBridge.Pipeline;
using CameraBridge.Pipeline.Captures;
using Microsoft.Extensions.Logging.Abstractions;

namespace CameraBridge.Benchmarks;

/// <summary>
/// The files of a stick into the spool and their rows into the state, against what a plain loop needs that copies, hashes and syncs them one after the
/// other. Both in turns, since a disk is not the same from one minute to the next.
/// </summary>
internal static class IntakeBenchmark
{
    private const int Folders = 100, FilesInFolder = 50, FileLength = 100_000, Rounds = 3;

    public static async Task<int> RunAsync(string[] args)
    {
        string home = Directory.CreateDirectory(Path.Combine(args.Length > 0 ? args[0] : Path.GetTempPath(), $"intake-{Guid.NewGuid():N}")).FullName;
        try
        {
            string source = Path.Combine(home, "stick");
            Draw(source);
            List<double> loops = [], intakes = [];
            for (int round = 1; round <= Rounds; round++)
            {
                loops.Add(Loop(source, Path.Combine(home, $"loop-{round}")));
                intakes.Add(await TakeAsync(source, home, round));
                Console.WriteLine(
                    $"round {round}: loop {loops[^1],6:F2} s ({Folders * FilesInFolder / loops[^1],6:F0}/s), intake {intakes[^1],6:F2} s ({Folders * FilesInFolder / intakes[^1],6:F0}/s), ratio {intakes[^1] / loops[^1]:F2}");
            }

            Console.WriteLine($"intake / loop, all rounds: {intakes.Sum() / loops.Sum():F2}; peak memory {Process.GetCurrentProcess().PeakWorkingSet64 >> 20} MiB");
            return 0;
        }
        finally
        {
            Directory.Delete(home, recursive: true);
        }
    }

    private static void Draw(string source)
    {
        var random = new Random(1);
        byte[] picture = new byte[FileLength];
        DateTime anHourAgo = DateTime.UtcNow.AddHours(-1);
        for (int folder = 1; folder <= Folders; folder++)
        {
            string path = Directory.CreateDirectory(Path.Combine(source, $"{folder:d3}")).FullName;
            for (int file = 1; file <= FilesInFolder; file++)
            {
                random.NextBytes(picture);
                string name = Path.Combine(path, $"IMG_{file:d4}.JPG");
                File.WriteAllBytes(name, picture);
                File.SetLastWriteTimeUtc(name, anHourAgo);
            }
        }

        using Process sync = Process.Start("sync");
        sync.WaitForExit();
    }

    /// <summary>The physical limit that intake is compared with: read, SHA-256, write and fsync, one file after the other.</summary>
    /// <returns>Seconds.</returns>
    public static double Loop(string source, string target)
    {
        _ = Directory.CreateDirectory(target);
        long start = Stopwatch.GetTimestamp();
        int number = 0;
        foreach (string file in Directory.EnumerateFiles(source, "*", SearchOption.AllDirectories))
        {
            byte[] bytes = File.ReadAllBytes(file);
            _ = SHA256.HashData(bytes);
            using FileStream copy = File.Create(Path.Combine(target, $"{++number}"));
            copy.Write(bytes);
            copy.Flush(flushToDisk: true);
        }

        return Stopwatch.GetElapsedTime(start).TotalSeconds;
    }

    private static async Task<double> TakeAsync(string folder, string home, int round)
    {
        string state = Path.Combine(home, $"state-{round}.db");
        var source = new SourceConfiguration { Name = "stick", Folder = folder, Kind = SourceKind.Stick };
        await using SqlitePipelineDatabase database = await SqlitePipelineDatabase.OpenAsync(state, TimeProvider.System, CancellationToken.None);
        using var sources = new CaptureSources(
            new SiteConfiguration { SpoolFolder = Path.Combine(home, $"spool-{round}"), StateFile = state },
            database, new WorkSignal(), TimeProvider.System, NullLoggerFactory.Instance);
        long start = Stopwatch.GetTimestamp();
        SourceSummary summary = await sources.TakeAllAsync(source, CancellationToken.None);
        double seconds = Stopwatch.GetElapsedTime(start).TotalSeconds;
        return summary.Taken == Folders * FilesInFolder ? seconds : throw new InvalidOperationException($"Only {summary.Taken} files were taken.");
    }
}
