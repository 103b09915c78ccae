using System.Diagnostics;
using System.Globalization;
using CameraBridge.Configuration;
using CameraBridge.Practice.Sticks;
using CameraBridge.Tests.Peers;
using Npgsql;

namespace CameraBridge.Benchmarks;

/// <summary>
/// One worker against two that share a state on PostgreSQL and a spool: pictures of ready folders from the share to dcmtk's <c>storescp --ignore</c>. Each on a core of
/// its own, as if it were another machine; both on all cores, which one worker fills already; and over a line of 40 ms round trip that each uses by one association.
/// </summary>
internal static class WorkersBenchmark
{
    private const int Folders = 20, PicturesInFolder = 24, Rounds = 3;

    private static readonly TimeSpan Limit = TimeSpan.FromMinutes(5);

    public static async Task<int> RunAsync(string[] args)
    {
        string program = OnceProgram.Option(args, "--program") ?? OnceProgram.Built;
        string home = Directory.CreateTempSubdirectory("camerabridge-workers-").FullName;
        try
        {
            DateOnly day = DateOnly.FromDateTime(TimeProvider.System.GetLocalNow().DateTime);
            StickPlan plan = StickPlan.Many(day, Folders, PicturesInFolder);
            string share = Path.Combine(home, "share"), orders = Path.Combine(home, "orders.yaml");
            StickDrawer.Draw(plan, share, seed: 5, day, TimeZoneInfo.Utc);
            for (int i = 0; i < Folders; i++)
            {
                File.WriteAllText(Path.Combine(share, plan.Folders[i].Name, "camerabridge.json"), $$"""{ "version": 1, "accession_number": "{{plan.Orders[i].AccessionNumber}}" }""");
            }

            File.WriteAllText(orders, StickOrders.Write(plan.Orders));
            int count = Folders * (PicturesInFolder + 1);
            await using PeerProcess storescp = await PeerProcess.StartAsync(
                "storescp", port => ["--ignore", "+xa", "--fork", "-aet", "PEERSTORE", "--max-pdu", "131072", $"{port}"], Sending.Tuned);
            await using PeerProcess hospital = await PeerProcess.StartAsync(program, port =>
                ["practice", "hospital", "--orders", orders, "--archive", Directory.CreateDirectory(Path.Combine(home, "archive")).FullName, "--port", $"{port}"]);
            await using PostgresServer server = await PostgresServer.StartOwnAsync();
            await using SlowLink link = new(storescp.Port, 1e9, TimeSpan.FromMilliseconds(40));
            Console.WriteLine($"{count} pictures, best of {Rounds}");
            Console.WriteLine("line                 one worker pictures/s   two workers pictures/s   times");
            foreach ((string line, int port, int associations, bool ownCore) in ((string, int, int, bool)[])
                [("a core each", storescp.Port, 4, true), ("all cores", storescp.Port, 4, false), ("40 ms round trip", link.Port, 1, false)])
            {
                double one = 0, two = 0;
                for (int round = 0; round < Rounds; round++)
                {
                    one = Math.Max(one, count / await MeasureAsync(program, home, server, hospital.Port, port, associations, ownCore, workers: 1, count));
                    two = Math.Max(two, count / await MeasureAsync(program, home, server, hospital.Port, port, associations, ownCore, workers: 2, count));
                }

                Console.WriteLine(string.Create(CultureInfo.InvariantCulture, $"{line,-18} {one,23:0.0} {two,24:0.0} {two / one,7:0.00}"));
            }

            return 0;
        }
        finally
        {
            Directory.Delete(home, recursive: true);
        }
    }

    /// <returns>Seconds from the first object that is stored to the last.</returns>
    private static async Task<double> MeasureAsync(string program, string home, PostgresServer server, int worklist, int archive, int associations, bool ownCore, int workers, int count)
    {
        StateServerConfiguration database = await server.MakeDatabaseAsync();
        string place = Directory.CreateTempSubdirectory("camerabridge-workers-run-").FullName;
        string password = Path.Combine(place, "password");
        await File.WriteAllTextAsync(password, database.Password!.Read());
        string configuration = new SiteFile
        {
            Place = place,
            Folder = Path.Combine(home, "share"),
            State = string.Create(
                CultureInfo.InvariantCulture,
                $$"""{ host: 127.0.0.1, port: {{database.Port}}, database: {{database.Database}}, user: {{database.User}}, password_file: {{password}}, tls: off }"""),
            QuietSeconds = 5,
            Worklist = worklist,
            Archive = archive,
            Associations = associations,
        }.Write();
        List<ServiceProcess> running = [];
        try
        {
            for (int i = 0; i < workers; i++)
            {
                running.Add(ServiceProcess.Start(program, configuration, ownCore ? i : null));
                _ = await running[i].ReadyAsync();
            }

            await using NpgsqlConnection connection = await server.ConnectAsync(database.Database);
            await using NpgsqlCommand stored = new("select count(*) from deliveries where state = 'Stored'", connection);
            async Task<long> StoredAsync() => (long)(await stored.ExecuteScalarAsync())!;
            await running[0].UntilAsync(async () => await StoredAsync() > 0, Limit);
            Stopwatch watch = Stopwatch.StartNew();
            long begun = await StoredAsync();
            await running[0].UntilAsync(async () => await StoredAsync() == count, Limit);
            return watch.Elapsed.TotalSeconds * count / (count - begun);
        }
        finally
        {
            foreach (ServiceProcess one in running)
            {
                await one.DisposeAsync();
            }

            await server.DropAsync(database);
            Directory.Delete(place, recursive: true);
        }
    }
}
