using System.Diagnostics;
using System.Globalization;
using CameraBridge.Configuration;
using CameraBridge.Persistence;
using CameraBridge.Pipeline;
using CameraBridge.Practice.Sticks;
using CameraBridge.Tests.Peers;

namespace CameraBridge.Benchmarks;

/// <summary>
/// Time from a settled file to its object's confirmation, at 1, 10 and 100 pictures a second, through the running service: a sidecar names the order, the practice
/// hospital has it, stores the object and commits. The quiet time after which a folder is a complete sitting (3 s here) is part of it, and the limit that nothing can beat.
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
            DateOnly day = DateOnly.FromDateTime(TimeProvider.System.GetLocalNow().DateTime);
            StickPlan plan = StickPlan.Many(day, count / PicturesInFolder, PicturesInFolder - 1);
            string drawn = Path.Combine(home, "drawn");
            StickDrawer.Draw(plan, drawn, seed: 5, day, TimeZoneInfo.Utc);
            string orders = Path.Combine(home, "orders.yaml");
            await File.WriteAllTextAsync(orders, StickOrders.Write(plan.Orders));
            await using PeerProcess hospital = await PeerProcess.StartAsync(program, port =>
                ["practice", "hospital", "--orders", orders, "--archive", Directory.CreateDirectory(Path.Combine(home, "archive")).FullName, "--port", $"{port}"]);
            string share = Directory.CreateDirectory(Path.Combine(home, "share")).FullName;
            for (int i = 0; i < plan.Folders.Count; i++)
            {
                string folder = Directory.CreateDirectory(Path.Combine(share, plan.Folders[i].Name)).FullName;
                await File.WriteAllTextAsync(Path.Combine(folder, "camerabridge.json"), $$"""{ "version": 1, "accession_number": "{{plan.Orders[i].AccessionNumber}}" }""");
            }

            string configuration = Path.Combine(home, "camerabridge.yaml");
            await File.WriteAllTextAsync(configuration, string.Create(CultureInfo.InvariantCulture, $"""
                time_zone: UTC
                spool: {home}/spool
                state: {home}/state.db
                sources:
                  - name: share
                    folder: {share}
                    station:
                      ae_title: {StickPlan.StationAETitle}
                    settle_time: 0 s
                    quiet_time: 3 s
                    optic: general
                labels:
                  read: no
                worklist:
                  host: 127.0.0.1
                  port: {hospital.Port}
                  called_ae_title: PRACTICE
                destinations:
                  - name: archive
                    host: 127.0.0.1
                    port: {hospital.Port}
                    called_ae_title: PRACTICE
                    confirm_by: commitment
                """));
            using Process service = Process.Start(new ProcessStartInfo(program, ["serve", "--config", configuration, "--log-level", "error"]))!;
            Stopwatch watch = Stopwatch.StartNew();
            using PeriodicTimer pace = new(TimeSpan.FromSeconds(1.0 / rate));
            foreach (string path in Directory.EnumerateFiles(drawn, "*.JPG", SearchOption.AllDirectories).Order(StringComparer.Ordinal))
            {
                await pace.WaitForNextTickAsync();
                string target = Path.Combine(share, Path.GetRelativePath(drawn, path));
                File.Copy(path, target + ".part");
                File.SetLastWriteTimeUtc(target + ".part", DateTime.UtcNow);
                File.Move(target + ".part", target);
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
