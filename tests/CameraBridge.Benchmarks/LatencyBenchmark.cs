using System.Diagnostics;
using System.Globalization;
using CameraBridge.Configuration;
using CameraBridge.Persistence;
using CameraBridge.Pipeline;
using CameraBridge.Practice;
using CameraBridge.Tests.EndToEnd;
using CameraBridge.Tests.Peers;
using Microsoft.Extensions.Logging.Abstractions;

namespace CameraBridge.Benchmarks;

/// <summary>
/// Time from a settled file to its object's confirmation, at 1, 10 and 100 pictures a second, through the running service: dcmtk's worklist is asked by the folder's name,
/// the practice archive commits. The quiet time after which a folder is a complete sitting (1 s here) is part of it, and the limit that nothing can beat.
/// </summary>
internal static class LatencyBenchmark
{
    private const int PicturesInFolder = 10;

    public static async Task<int> RunAsync(string[] args)
    {
        string program = OnceProgram.Option(args, "--program") ?? OnceProgram.Built;
        Console.WriteLine("pictures/s  pictures  median s   99 % s  longest s  seconds until all are confirmed");
        foreach ((int rate, int seconds) in ((int, int)[])[(1, 20), (10, 20), (100, 20)])
        {
            await MeasureAsync(program, rate, rate * seconds);
        }

        return 0;
    }

    private static async Task MeasureAsync(string program, int rate, int count)
    {
        string home = Directory.CreateTempSubdirectory("camerabridge-latency-").FullName;
        try
        {
            int folders = Math.Max(1, count / PicturesInFolder);
            DateOnly today = DateOnly.FromDateTime(DateTime.UtcNow);
            await OutsideHospital.WriteItemsAsync(Path.Combine(home, "worklist", OutsideHospital.WorklistAETitle), [.. Enumerable.Range(1, folders).Select(i => new Order(
                $"Late^Test{i}", $"LATE{i}", $"ACCL{i:0000}", $"2.25.7300{i}", "LATECAM", "ES", today, $"SPSL{i}"))]);
            await using PeerProcess worklist = await PeerProcess.StartWorklistAsync(Path.Combine(home, "worklist"), "-csk");
            await using PracticeHospital archive = await PracticeHospital.StartAsync(
                new PracticeOptions { Orders = [], ArchiveFolder = Path.Combine(home, "archive") }, TimeProvider.System, NullLogger<PracticeHospital>.Instance);
            string stick = Directory.CreateDirectory(Path.Combine(home, "share")).FullName;
            string configuration = Path.Combine(home, "camerabridge.yaml");
            await File.WriteAllTextAsync(configuration, string.Create(CultureInfo.InvariantCulture, $"""
                time_zone: UTC
                spool: {home}/spool
                state: {home}/state.db
                sources:
                  - name: share
                    folder: {stick}
                    station:
                      ae_title: LATECAM
                    settle_time: 0 s
                    quiet_time: 1 s
                    optic: throat
                    name_patterns:
                      - name: folder
                        expression: '^(?<accession_number>ACCL[0-9]+)$'
                labels:
                  read: no
                worklist:
                  host: 127.0.0.1
                  port: {worklist.Port}
                  called_ae_title: {OutsideHospital.WorklistAETitle}
                destinations:
                  - name: archive
                    host: 127.0.0.1
                    port: {archive.EndPoint.Port}
                    called_ae_title: PRACTICE
                    confirm_by: commitment
                """));
            using Process service = Process.Start(new ProcessStartInfo(program, ["serve", "--config", configuration, "--log-level", "error"]))!;
            Stopwatch watch = Stopwatch.StartNew();
            byte[][] pictures = [.. Enumerable.Range(0, 16).Select(i => TestPictures.Still(i, 640, 480))];
            using PeriodicTimer pace = new(TimeSpan.FromSeconds(1.0 / rate));
            for (int i = 0; i < count && await pace.WaitForNextTickAsync(); i++)
            {
                string folder = Directory.CreateDirectory(Path.Combine(stick, string.Create(CultureInfo.InvariantCulture, $"ACCL{(i / PicturesInFolder % folders) + 1:0000}"))).FullName;
                string path = Path.Combine(folder, string.Create(CultureInfo.InvariantCulture, $"IMG_{(i % PicturesInFolder) + 1:0000}.JPG"));

                // A comment of its own behind EOI makes each file another one, and its pixels stay what they are.
                await File.WriteAllBytesAsync(path + ".part", [.. pictures[i % pictures.Length], .. BitConverter.GetBytes(i)]);
                File.Move(path + ".part", path);
            }

            IReadOnlyList<TimeSpan> times = await WaitAsync(Path.Combine(home, "state.db"), count);
            service.Kill();
            await service.WaitForExitAsync();
            TimeSpan[] sorted = [.. times.Order()];
            Console.WriteLine(string.Create(
                CultureInfo.InvariantCulture,
                $"{rate,10} {count,9} {sorted[sorted.Length / 2].TotalSeconds,9:0.00} {sorted[(int)(sorted.Length * 0.99)].TotalSeconds,8:0.00} {sorted[^1].TotalSeconds,10:0.00} {watch.Elapsed.TotalSeconds,8:0.0}"));
        }
        finally
        {
            Directory.Delete(home, recursive: true);
        }
    }

    private static async Task<IReadOnlyList<TimeSpan>> WaitAsync(string state, int count)
    {
        SiteConfiguration site = new() { SpoolFolder = "", StateFile = state };
        await using IPipelineDatabase database = await PipelineDatabase.OpenAsync(site, TimeProvider.System, CancellationToken.None);
        using PeriodicTimer look = new(TimeSpan.FromMilliseconds(500));
        using CancellationTokenSource limit = new(TimeSpan.FromMinutes(3));
        while (await look.WaitForNextTickAsync(limit.Token))
        {
            IReadOnlyList<SittingReport> reports = await database.GetReportAsync(null, limit.Token);
            TimeSpan[] times = [.. reports.SelectMany(report => report.Captures.Where(capture => capture.State == CaptureState.Encoded).Zip(
                report.Deliveries.Where(delivery => delivery.Confirmation is { State: ConfirmationState.Kept }),
                (capture, delivery) => delivery.Confirmation!.FinishedAt!.Value - capture.SettledAt))];
            if (times.Length == count)
            {
                return times;
            }
        }

        throw new TimeoutException("Not everything was confirmed.");
    }
}
