using System.Globalization;
using CameraBridge.Practice.Sticks;
using CameraBridge.Tests.Peers;

namespace CameraBridge.Benchmarks;

/// <summary>
/// A stick of 5,000 pictures of about 100 KB in 100 folders through the whole flow (<c>camerabridge once</c>, with a worklist, into dcmtk's <c>storescp --ignore</c>), against
/// the sum of what cannot be avoided, measured in the same run: copying, hashing and syncing the same files one after the other, and a tuned
/// storescu sending as many ready-made objects. Once with label reading off (sidecars say whose pictures they are), once with it on.
/// </summary>
internal static class FlowBenchmark
{
    private const int Folders = 100;
    private const int PicturesInFolder = 49;
    private const int Rounds = 3;

    public static async Task<int> RunAsync(string[] args)
    {
        string program = OnceProgram.Option(args, "--program") ?? OnceProgram.Built;
        string[] readings = OnceProgram.Option(args, "--labels") is { } one ? [one] : ["no", "yes"];
        string home = Directory.CreateTempSubdirectory("camerabridge-flow-").FullName;
        try
        {
            string stick = Path.Combine(home, "stick");
            DateOnly day = DateOnly.FromDateTime(TimeProvider.System.GetLocalNow().DateTime);
            StickPlan plan = StickPlan.Many(day, Folders, PicturesInFolder);
            StickDrawer.Draw(plan, stick, seed: 5, day, TimeZoneInfo.Utc);
            for (int i = 0; i < Folders; i++)
            {
                File.WriteAllText(
                    Path.Combine(stick, plan.Folders[i].Name, "camerabridge.json"), $$"""{ "version": 1, "accession_number": "{{plan.Orders[i].AccessionNumber}}" }""");
            }

            string orders = Path.Combine(home, "orders.yaml");
            File.WriteAllText(orders, StickOrders.Write(plan.Orders));
            int count = Folders * (PicturesInFolder + 1);
            long bytes = Directory.EnumerateFiles(stick, "*.JPG", SearchOption.AllDirectories).Sum(path => new FileInfo(path).Length);
            Console.WriteLine(string.Create(CultureInfo.InvariantCulture, $"{count} pictures of {bytes / 1000.0 / count:0} KB in {Folders} folders, {Rounds} rounds"));
            string ready = Directory.CreateDirectory(Path.Combine(home, "ready")).FullName;
            _ = await Sending.MakeAsync(ready, count);
            await using PeerProcess storescp = await PeerProcess.StartAsync(
                "storescp", port => ["--ignore", "+xa", "--fork", "-aet", "PEERSTORE", "--max-pdu", "131072", $"{port}"], Sending.Tuned);
            await using PeerProcess hospital = await PeerProcess.StartAsync(program, port =>
                ["practice", "hospital", "--orders", orders, "--archive", Directory.CreateDirectory(Path.Combine(home, "archive")).FullName, "--port", $"{port}"]);
            for (int round = 1; round <= Rounds; round++)
            {
                double loop = IntakeBenchmark.Loop(stick, Path.Combine(home, $"loop-{round}"));
                double sending = await Sending.StorescuAsync(
                    storescp.Port, Sending.Tuned, ["--max-send-pdu", "131072", .. Directory.GetFiles(ready).Order(StringComparer.Ordinal)]);
                Console.WriteLine(string.Create(
                    CultureInfo.InvariantCulture, $"round {round}: copy + SHA-256 + fsync {loop:0.00} s, storescu {sending:0.00} s, sum {loop + sending:0.00} s"));
                foreach (string read in readings)
                {
                    (double seconds, double processor, long memory) = await OnceProgram.RunAsync(program, new SiteFile
                    {
                        Place = Path.Combine(home, string.Create(CultureInfo.InvariantCulture, $"run-{round}-{read}")),
                        Folders = [stick],
                        Kind = "stick",
                        Worklist = hospital.Port,
                        Archive = storescp.Port,
                        ReadsLabels = read == "yes",
                    });
                    Console.WriteLine(string.Create(
                        CultureInfo.InvariantCulture,
                        $"  flow, label reading {read,-3} {seconds,7:0.00} s, {seconds / (loop + sending):0.00} times the sum, {1000 * seconds / count:0.00} ms a picture, {processor:0.00} s of processor, peak memory {memory >> 20} MiB"));
                }
            }

            return 0;
        }
        finally
        {
            Directory.Delete(home, recursive: true);
        }
    }
}
