using System.Globalization;
using CameraBridge.Configuration;
using CameraBridge.Persistence;
using CameraBridge.Practice.Sticks;
using CameraBridge.Tests.Peers;

namespace CameraBridge.Benchmarks;

/// <summary>
/// Time from a settled file to its object's confirmation, at 1, 10 and 100 pictures a second, through the running service: a sidecar names the order, the practice
/// hospital has it, stores the object and commits. A folder is a sitting when it was quiet for the source's quiet time (3 s here): that is the limit which nothing can
/// beat, so the time beyond it is told too.
/// </summary>
internal static class LatencyBenchmark
{
    private const int PicturesInFolder = 10, QuietSeconds = 3, Seconds = 20;

    public static async Task<int> RunAsync(string[] args)
    {
        string program = OnceProgram.Option(args, "--program") ?? OnceProgram.Built;
        Console.WriteLine("pictures/s  pictures   from settled: median s   99 % s   beyond the folder's quiet time: median s   99 % s");
        foreach (int rate in (int[])[1, 10, 100])
        {
            await MeasureAsync(program, rate, rate * Seconds);
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
            string drawn = Path.Combine(home, "drawn"), share = Directory.CreateDirectory(Path.Combine(home, "share")).FullName;
            StickDrawer.Draw(plan, drawn, seed: 5, day, TimeZoneInfo.Utc);
            string orders = Path.Combine(home, "orders.yaml");
            await File.WriteAllTextAsync(orders, StickOrders.Write(plan.Orders));
            await using PeerProcess hospital = await PeerProcess.StartAsync(program, port =>
                ["practice", "hospital", "--orders", orders, "--archive", Directory.CreateDirectory(Path.Combine(home, "archive")).FullName, "--port", $"{port}"]);
            SiteFile site = new()
            {
                Place = home,
                Folders = [share],
                QuietSeconds = QuietSeconds,
                Worklist = hospital.Port,
                Archive = hospital.Port,
                ArchiveAETitle = "PRACTICE",
                ConfirmBy = "commitment",
            };
            await using ServiceProcess service = ServiceProcess.Start(program, site.Write());
            _ = await service.ReadyAsync();
            using PeriodicTimer pace = new(TimeSpan.FromSeconds(1.0 / rate));
            for (int i = 0; i < plan.Folders.Count; i++)
            {
                string folder = plan.Folders[i].Name;
                Directory.CreateDirectory(Path.Combine(share, folder));
                await File.WriteAllTextAsync(
                    Path.Combine(share, folder, "camerabridge.json"), $$"""{ "version": 1, "accession_number": "{{plan.Orders[i].AccessionNumber}}" }""");
                foreach (string path in Directory.EnumerateFiles(Path.Combine(drawn, folder), "*.JPG").Order(StringComparer.Ordinal))
                {
                    await pace.WaitForNextTickAsync();
                    string target = Path.Combine(share, folder, Path.GetFileName(path));
                    File.Copy(path, target + ".part");
                    File.SetLastWriteTimeUtc(target + ".part", TimeProvider.System.GetUtcNow().UtcDateTime);
                    File.Move(target + ".part", target);
                }
            }

            await using IPipelineDatabase database = await PipelineDatabase.OpenAsync(
                new SiteConfiguration { SpoolFolder = "", StateFile = Path.Combine(home, "state.db") }, TimeProvider.System, CancellationToken.None);
            IReadOnlyList<(double Settled, double Quiet)> times = [];
            await service.UntilAsync(async () => (times = await ConfirmedAsync(database)).Count == count, TimeSpan.FromMinutes(3));
            double[] settled = [.. times.Select(one => one.Settled).Order()], quiet = [.. times.Select(one => one.Quiet).Order()];
            Console.WriteLine(string.Create(
                CultureInfo.InvariantCulture,
                $"{rate,10} {count,9} {settled[count / 2],24:0.00} {settled[(int)(count * 0.99)],8:0.00} {quiet[count / 2],42:0.00} {quiet[(int)(count * 0.99)],8:0.00}"));
        }
        finally
        {
            Directory.Delete(home, recursive: true);
        }
    }

    /// <returns>Of each object that is confirmed: seconds since its file had settled, and since its folder had been quiet long enough.</returns>
    private static async Task<IReadOnlyList<(double Settled, double Quiet)>> ConfirmedAsync(IPipelineDatabase database)
    {
        List<(double Settled, double Quiet)> times = [];
        foreach (SittingReport report in await database.GetReportAsync(null, CancellationToken.None))
        {
            if (report.Deliveries.Count == 0 || report.Deliveries.Any(delivery => delivery.Confirmation?.FinishedAt is null))
            {
                continue;
            }

            DateTimeOffset quiet = report.Captures.Max(capture => capture.SettledAt) + TimeSpan.FromSeconds(QuietSeconds);
            Dictionary<long, DateTimeOffset> settled = report.Captures.ToDictionary(capture => capture.Id, capture => capture.SettledAt);
            Dictionary<long, long> captures = (await database.GetObjectsOfSittingAsync(report.Sitting.Id, CancellationToken.None)).ToDictionary(made => made.Id, made => made.CaptureId);
            times.AddRange(report.Deliveries.Select(delivery => (
                (delivery.Confirmation!.FinishedAt!.Value - settled[captures[delivery.ImagingObjectId]]).TotalSeconds, (delivery.Confirmation.FinishedAt.Value - quiet).TotalSeconds)));
        }

        return times;
    }
}
