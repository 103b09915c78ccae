using System.Diagnostics;
using CameraBridge.Configuration;
using CameraBridge.Persistence;
using CameraBridge.Persistence.Sqlite;
using CameraBridge.Pipeline;
using CameraBridge.Pipeline.Captures;
using Microsoft.Extensions.Logging.Abstractions;

namespace CameraBridge.Benchmarks;

/// <summary>How long a look at a share takes on which everything is known.</summary>
internal static class RescanBenchmark
{
    private const int Folders = 2_000, FilesInFolder = 100, Rescans = 5;

    public static async Task<int> RunAsync(string[] args)
    {
        string home = Directory.CreateDirectory(Path.Combine(args.Length > 0 ? args[0] : Path.GetTempPath(), $"rescan-{Guid.NewGuid():N}")).FullName;
        try
        {
            var source = new SourceConfiguration { Name = "share", Folder = Path.Combine(home, "share"), RescanInterval = TimeSpan.Zero };
            TimeProvider clock = TimeProvider.System;
            await using SqlitePipelineDatabase database = await SqlitePipelineDatabase.OpenAsync(Path.Combine(home, "state.db"), clock, CancellationToken.None);
            await PopulateAsync(source, database);
            using var spool = new Spool(Path.Combine(home, "spool"));
            var logger = NullLogger.Instance;
            var tools = new CaptureTools(spool, new SpoolPause(clock, logger), new Intake(spool, database, new WorkSignal(), clock), database, clock, logger);
            using var watch = new SourceWatch(source, tools);
            for (int scan = 0; scan <= Rescans; scan++)
            {
                long memory = GC.GetTotalMemory(forceFullCollection: true), allocated = GC.GetTotalAllocatedBytes(precise: true), start = Stopwatch.GetTimestamp();
                _ = await watch.LookAsync(once: false, CancellationToken.None);
                double seconds = Stopwatch.GetElapsedTime(start).TotalSeconds;
                string what = scan == 0 ? "first look, with the state read and notices set up" : $"rescan {scan}";
                Console.WriteLine(
                    $"{what}: {seconds:F2} s, {watch.Status[0].Known} known, {watch.Status[0].Waiting} waiting, {(GC.GetTotalAllocatedBytes(precise: true) - allocated) >> 10} KiB allocated, heap {memory >> 20} -> {GC.GetTotalMemory(forceFullCollection: true) >> 20} MiB");
            }

            Console.WriteLine($"peak memory {Process.GetCurrentProcess().PeakWorkingSet64 >> 20} MiB");
            return 0;
        }
        finally
        {
            Directory.Delete(home, recursive: true);
        }
    }

    private static async Task PopulateAsync(SourceConfiguration source, SqlitePipelineDatabase database)
    {
        for (int folder = 0; folder < Folders; folder++)
        {
            string path = Directory.CreateDirectory(Path.Combine(source.Folder, $"{folder:d4}")).FullName;
            var known = new List<KnownFile>(FilesInFolder);
            for (int file = 0; file < FilesInFolder; file++)
            {
                string name = Path.Combine(path, $"IMG_{file:d4}.JPG");
                await File.WriteAllBytesAsync(name, [0xFF, 0xD8, 0xFF]);
                known.Add(new KnownFile(
                    $"{folder:d4}/IMG_{file:d4}.JPG",
                    3,
                    DateTimeOffset.FromUnixTimeMilliseconds(new DateTimeOffset(File.GetLastWriteTimeUtc(name)).ToUnixTimeMilliseconds())));
            }

            await database.NoteSeenAsync(source.Name, known, CancellationToken.None);
        }
    }
}
