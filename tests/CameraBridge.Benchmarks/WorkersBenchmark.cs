using System.Diagnostics;
using System.Globalization;
using CameraBridge.Configuration;
using CameraBridge.Practice.Sticks;
using CameraBridge.Tests.Peers;
using Npgsql;

namespace CameraBridge.Benchmarks;

/// <summary>
/// One worker against two that share a state on PostgreSQL and a spool: pictures of ready folders from two shares, one of them within reach of each of two workers, to
/// dcmtk's <c>storescp --ignore</c>. Each on a core of its own, as if it were another machine; both on all cores; and over a line of 40 ms round trip that each uses by
/// one association. Beside each, how many cores were busy with everything, the database and the archive too: what fills them cannot grow. Two machines have two disks,
/// these have one: with TMPDIR in memory the cores alone are compared.
/// </summary>
internal static class WorkersBenchmark
{
    private const int PicturesInFolder = 24, SlowFolders = 12;

    private static readonly TimeSpan Limit = TimeSpan.FromMinutes(5);

    public static async Task<int> RunAsync(string[] args)
    {
        string program = OnceProgram.Option(args, "--program") ?? OnceProgram.Built;
        int folders = ScenesWriter.Number(args, "--folders", 80), rounds = ScenesWriter.Number(args, "--rounds", 2);
        string home = Directory.CreateTempSubdirectory("camerabridge-workers-").FullName;
        try
        {
            Share many = Share.Draw(home, "many", folders), few = Share.Draw(home, "few", SlowFolders);
            await using PeerProcess storescp = await PeerProcess.StartAsync(
                "storescp", port => ["--ignore", "+xa", "--fork", "-aet", "PEERSTORE", "--max-pdu", "131072", $"{port}"], Sending.Tuned);
            await using PeerProcess hospital = await PeerProcess.StartAsync(program, port =>
                ["practice", "hospital", "--orders", many.Orders, "--archive", Directory.CreateDirectory(Path.Combine(home, "archive")).FullName, "--port", $"{port}"]);
            await using PostgresServer server = await PostgresServer.StartOwnAsync();
            await using SlowLink link = new(storescp.Port, 1e9, TimeSpan.FromMilliseconds(40));
            Console.WriteLine($"{many.Pictures} pictures, over the line {few.Pictures}; best of {rounds}");
            Console.WriteLine("line                 one worker pictures/s  cores busy   two workers pictures/s  cores busy   times");
            foreach ((string line, Share share, int port, int associations, bool ownCore) in ((string, Share, int, int, bool)[])
                [("a core each", many, storescp.Port, 4, true), ("all cores", many, storescp.Port, 4, false), ("40 ms round trip", few, link.Port, 1, false)])
            {
                (double Rate, double Cores) one = default, two = default;
                for (int round = 0; round < rounds; round++)
                {
                    one = Better(one, await MeasureAsync(program, share, server, hospital.Port, port, associations, ownCore, workers: 1));
                    two = Better(two, await MeasureAsync(program, share, server, hospital.Port, port, associations, ownCore, workers: 2));
                }

                Console.WriteLine(string.Create(
                    CultureInfo.InvariantCulture, $"{line,-18} {one.Rate,23:0.0} {one.Cores,11:0.00} {two.Rate,24:0.0} {two.Cores,11:0.00} {two.Rate / one.Rate,7:0.00}"));
            }

            return 0;
        }
        finally
        {
            Directory.Delete(home, recursive: true);
        }
    }

    private static (double Rate, double Cores) Better((double Rate, double Cores) one, (double Rate, double Cores) other) => other.Rate > one.Rate ? other : one;

    /// <returns>Pictures a second from the first object that is stored to the last, and how many cores of the machine were busy meanwhile.</returns>
    private static async Task<(double Rate, double Cores)> MeasureAsync(
        string program, Share share, PostgresServer server, int worklist, int archive, int associations, bool ownCore, int workers)
    {
        StateServerConfiguration database = await server.MakeDatabaseAsync();
        string place = Directory.CreateTempSubdirectory("camerabridge-workers-run-").FullName;
        string password = Path.Combine(place, "password");
        await File.WriteAllTextAsync(password, database.Password!.Read());
        var site = new SiteFile
        {
            Place = place,
            Folders = share.Folders,
            State = string.Create(
                CultureInfo.InvariantCulture,
                $$"""{ host: 127.0.0.1, port: {{database.Port}}, database: {{database.Database}}, user: {{database.User}}, password_file: {{password}}, tls: off }"""),
            QuietSeconds = 5,
            Worklist = worklist,
            Archive = archive,
            Associations = associations,
        };

        // The same sources for all workers; of two, each reaches one of them.
        string away = Path.Combine(place, "away");
        string[] configurations = workers == 1
            ? [site.Write("worker.yaml")]
            : [(site with { Folders = [share.Folders[0], away] }).Write("worker-1.yaml"), (site with { Folders = [away, share.Folders[1]] }).Write("worker-2.yaml")];
        List<ServiceProcess> running = [];
        try
        {
            for (int i = 0; i < workers; i++)
            {
                running.Add(ServiceProcess.Start(program, configurations[i], ownCore ? i : null));
                _ = await running[i].ReadyAsync();
            }

            await using NpgsqlConnection connection = await server.ConnectAsync(database.Database);
            await using NpgsqlCommand stored = new("select count(*) from deliveries where state = 'Stored'", connection);
            async Task<long> StoredAsync() => (long)(await stored.ExecuteScalarAsync())!;
            await running[0].UntilAsync(async () => await StoredAsync() > 0, Limit);
            double busy = BusySeconds();
            Stopwatch watch = Stopwatch.StartNew();
            long begun = await StoredAsync();
            await running[0].UntilAsync(async () => await StoredAsync() == share.Pictures, Limit);
            double seconds = watch.Elapsed.TotalSeconds;
            return ((share.Pictures - begun) / seconds, (BusySeconds() - busy) / seconds);
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

    /// <summary>Processor time of the whole machine since it started, of all cores together: user, nice, system, irq and softirq in hundredths (proc(5)).</summary>
    private static double BusySeconds()
    {
        long[] fields = [.. File.ReadLines("/proc/stat").First().Split(' ', StringSplitOptions.RemoveEmptyEntries).Skip(1).Select(field => long.Parse(field, CultureInfo.InvariantCulture))];
        return (fields[0] + fields[1] + fields[2] + fields[5] + fields[6]) / 100.0;
    }

    /// <summary>Two shares with folders of pictures that name their orders, and those orders.</summary>
    private sealed record Share(IReadOnlyList<string> Folders, string Orders, int Pictures)
    {
        public static Share Draw(string home, string name, int folders)
        {
            DateOnly day = DateOnly.FromDateTime(TimeProvider.System.GetLocalNow().DateTime);
            StickPlan plan = StickPlan.Many(day, folders, PicturesInFolder);
            string drawn = Path.Combine(home, $"{name}-drawn"), orders = Path.Combine(home, $"{name}.yaml");
            string[] shares = [.. Enumerable.Range(1, 2).Select(number => Directory.CreateDirectory(Path.Combine(home, $"{name}-{number}")).FullName)];
            StickDrawer.Draw(plan, drawn, seed: 5, day, TimeZoneInfo.Utc);
            for (int i = 0; i < folders; i++)
            {
                string folder = Path.Combine(shares[i % 2], plan.Folders[i].Name);
                Directory.Move(Path.Combine(drawn, plan.Folders[i].Name), folder);
                File.WriteAllText(Path.Combine(folder, "camerabridge.json"), $$"""{ "version": 1, "accession_number": "{{plan.Orders[i].AccessionNumber}}" }""");
            }

            File.WriteAllText(orders, StickOrders.Write(plan.Orders));
            return new Share(shares, orders, folders * (PicturesInFolder + 1));
        }
    }
}
