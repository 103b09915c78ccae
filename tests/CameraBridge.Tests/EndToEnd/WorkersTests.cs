using System.Globalization;
using CameraBridge.Configuration;
using CameraBridge.Tests.Peers;
using Xunit;

namespace CameraBridge.Tests.EndToEnd;

/// <summary>Several real workers on one PostgreSQL, one share and one archive, of which some are killed, frozen and woken in the middle of their deliveries.</summary>
public sealed class WorkersTests : IAsyncLifetime
{
    private const int Patients = 6, PicturesEach = 20;

    private static readonly TimeSpan WaitLimit = TimeSpan.FromMinutes(2);
    private static readonly DateOnly Day = new(2026, 11, 2);

    private readonly string _folder = Directory.CreateTempSubdirectory("camerabridge-workers-").FullName;
    private readonly List<TestSite> _sites = [];
    private PostgresServer _server = null!;
    private StateServerConfiguration _database = null!;
    private OutsideHospital _hospital = null!;
    private CuttingRelay _line = null!;

    private string Share => Path.Combine(_folder, "share");

    private static CancellationToken Cancellation => TestContext.Current.CancellationToken;

    public async ValueTask InitializeAsync()
    {
        _server = await PostgresServer.StartOwnAsync();
        _database = await _server.MakeDatabaseAsync(poolSize: 8);
        _hospital = await OutsideHospital.StartAsync(_folder, [.. Enumerable.Range(0, Patients).Select(i =>
            new Order($"Worker^Test{i}", $"WRK{i}", $"ACCW{i}", $"2.25.99300{i}", TestSite.Station, "XC", Day, $"SPSW{i}"))]);
        _line = new CuttingRelay(_hospital.Archive.Port, _ => long.MaxValue, pace: TimeSpan.FromMilliseconds(30));
        Directory.CreateDirectory(Share);
    }

    public async ValueTask DisposeAsync()
    {
        await _line.DisposeAsync();
        await _hospital.DisposeAsync();
        await _server.DisposeAsync();
        Directory.Delete(_folder, recursive: true);
    }

    [Fact]
    public async Task Killed_and_frozen_workers_and_a_server_that_restarts_lose_nothing_and_send_nothing_under_two_UIDs()
    {
        string spool = Path.Combine(_folder, "spool");
        WritePictures(0, Patients);
        await using Worker first = Worker.Start(NewSite("first", spool));
        await using Worker second = Worker.Start(NewSite("second", spool));
        await UntilAsync(() => first.Log.Contains("is ready", StringComparison.Ordinal), "the state is made");

        // One that has deliveries in hand is killed; the other, once it has some, is frozen.
        Worker killed = await WithDeliveriesAsync(first, second);
        await UntilAsync(() => Archived().Length >= 10, "objects arrive");
        await killed.KillAsync();
        Worker frozen = await WithDeliveriesAsync(killed == first ? second : first);
        int before = Archived().Length;
        await UntilAsync(() => Archived().Length >= before + 5, "the other one goes on");
        await WithDeliveriesAsync(frozen);
        await frozen.FreezeAsync();
        Assert.True(Archived().Length < Patients * PicturesEach, "it was frozen in the middle");

        // Its leases lapse, as if so much time had gone by.
        await _server.ExecuteAsync("update work set lease_until = 0 where owner is not null; update source_leases set lease_until = 0", _database.Database);
        await using Worker third = Worker.Start(NewSite("third", spool));
        int then = Archived().Length;
        await UntilAsync(() => Archived().Length >= then + 3, "the third one goes on");
        await _server.StopAsync(atOnce: true);
        await _server.StartAgainAsync();

        // A lease that the frozen one had asked for just before was given to it by the server after: it lapses, too.
        await _server.ExecuteAsync("update work set lease_until = 0 where owner is not null", _database.Database);
        await UntilNoWorkAsync();

        await AssertAllDeliveredAsync(Patients);
        string state = await FingerprintAsync();
        string[] archived = Archived();
        await frozen.WakeAsync();
        Assert.Equal(0, await frozen.StopAsync());
        Assert.Equal(state, await FingerprintAsync());
        Assert.Equal(archived, Archived());
        Assert.Equal(0, await third.StopAsync());
        AssertNoPatient(first, second, third);
    }

    [Fact]
    public async Task A_share_is_scanned_by_one_worker_at_a_time_and_each_finishes_what_lies_in_its_own_spool()
    {
        WritePictures(0, 2);
        TestSite one = NewSite("one", Path.Combine(_folder, "spool-1")), other = NewSite("other", Path.Combine(_folder, "spool-2"));
        await using Worker first = Worker.Start(one);
        await UntilAsync(() => first.Log.Contains("is there", StringComparison.Ordinal), "the first one has the source");
        await using Worker second = Worker.Start(other);
        await UntilAsync(() => second.Log.Contains("Source stick is scanned by the worker on ", StringComparison.Ordinal), "the second one is told");
        await WithDeliveriesAsync(first);
        await first.KillAsync();

        // The second one goes on with the source, takes only what is new there, and leaves to the first one what lies in its spool.
        WritePictures(2, 2);
        await UntilAsync(() => second.Log.Contains("Source stick is scanned by this worker now", StringComparison.Ordinal), "the source is taken over");
        await UntilAsync(async () => await NumberAsync("select count(*) from work w join spools p on p.id = w.spool where p.folder like '%spool-2'") == 0
            && await NumberAsync("select count(*) from captures") == 4 * (PicturesEach + 1), "the second one's own are delivered");
        Assert.NotEqual(0, await NumberAsync("select count(*) from work w join spools p on p.id = w.spool where p.folder like '%spool-1'"));
        Run check = await TestSite.RunAsync(["check", "--config", other.ConfigurationFile]);
        Assert.Contains("spool-1: ", check.Output, StringComparison.Ordinal);

        await using Worker again = Worker.Start(one);
        await UntilNoWorkAsync();
        await AssertAllDeliveredAsync(4);
        Assert.Equal(2, await NumberAsync("select count(distinct spool) from sittings"));
        Assert.Equal(0, await second.StopAsync());
        Assert.Equal(0, await again.StopAsync());
        AssertNoPatient(first, second, again);
    }

    [Fact]
    public async Task Four_programs_that_start_together_make_one_schema_and_every_command_works_on_the_server()
    {
        TestSite site = NewSite("commands", Path.Combine(_folder, "spool"));
        Run[] runs = await Task.WhenAll(Enumerable.Range(0, 4).Select(_ => TestSite.RunAsync(["held", "list", "--config", site.ConfigurationFile])));
        Assert.All(runs, run => Assert.Equal((0, "Nothing is held.\n", ""), (run.ExitCode, run.Output, run.Errors)));

        WritePictures(0, 1);
        Run once = await site.OnceAsync();
        Assert.True(once.ExitCode == 0, once.Output + once.Errors);
        Assert.Equal(PicturesEach, Archived().Length);
        Run deliveries = await TestSite.RunAsync(["deliveries", "list", "--config", site.ConfigurationFile]);
        Assert.Equal((0, ""), (deliveries.ExitCode, deliveries.Errors));
        Run shown = await TestSite.RunAsync(["config", "show", "--config", site.ConfigurationFile]);
        Assert.Contains("state.password_file", shown.Output, StringComparison.Ordinal);
        Assert.DoesNotContain(_database.Password!.Read(), shown.Output, StringComparison.Ordinal);
        Run check = await TestSite.RunAsync(["check", "--config", site.ConfigurationFile]);
        Assert.Contains($"{_database} is sound: 0 pieces of work open", check.Output, StringComparison.Ordinal);
        Assert.Contains("(this one): 0 pieces of work need it", check.Output, StringComparison.Ordinal);

        await _server.StopAsync();
        Run stopped = await TestSite.RunAsync(["held", "list", "--config", site.ConfigurationFile]);
        Assert.Equal(4, stopped.ExitCode);
        Assert.Contains($"The state on {_database} is not running, or does not listen there", stopped.Errors, StringComparison.Ordinal);
    }

    private TestSite NewSite(string name, string spool)
    {
        TestSite site = new(Path.Combine(_folder, name))
        {
            Stick = Share,
            Spool = spool,
            StateFile = FormattableString.Invariant(
                $"{{host: {_database.Host}, port: {_database.Port}, database: {_database.Database}, user: {_database.User}, password_file: {_database.Password!.File}, tls: off}}"),
            SourceLines = "    quiet_time: 4 s\n    rescan_interval: 500 ms",
        };
        site.UseWorklist(_hospital.Worklist.Port, OutsideHospital.WorklistAETitle);
        site.AddDestination("archive", _line.Port, OutsideHospital.ArchiveAETitle, "    associations: 1\n    first_retry_delay: 500 ms\n");
        site.WriteConfiguration();
        _sites.Add(site);
        return site;
    }

    private void WritePictures(int firstPatient, int patients)
    {
        for (int patient = firstPatient; patient < firstPatient + patients; patient++)
        {
            int seed = patient * 100;
            string folder = Directory.CreateDirectory(Path.Combine(_folder, "drawn", patient.ToString("0000", CultureInfo.InvariantCulture))).FullName;
            Write(folder, 1, TestPictures.Label($"PID:WRK{patient}", seed));
            for (int picture = 0; picture < PicturesEach; picture++)
            {
                Write(folder, picture + 2, TestPictures.Still(seed + picture));
            }

            // It appears whole, as a camera's folder that was copied to the share.
            Directory.Move(folder, Path.Combine(Share, Path.GetFileName(folder)));
        }

        static void Write(string folder, int number, byte[] bytes)
        {
            string path = Path.Combine(folder, string.Create(CultureInfo.InvariantCulture, $"IMG_{number:0000}.JPG"));
            File.WriteAllBytes(path, bytes);
            File.SetLastWriteTimeUtc(path, Day.ToDateTime(new TimeOnly(9, 30), DateTimeKind.Utc));
        }
    }

    private string[] Archived() => [.. Directory.EnumerateFiles(_hospital.ArchiveFolder).Select(path => Path.GetFileName(path)!).Order(StringComparer.Ordinal)];

    private async Task<long> NumberAsync(string sql) => Convert.ToInt64(await _server.ExecuteAsync(sql, _database.Database), CultureInfo.InvariantCulture);

    /// <summary>Waits until one of the workers has deliveries in hand.</summary>
    private async Task<Worker> WithDeliveriesAsync(params Worker[] workers)
    {
        Worker? found = null;
        await UntilAsync(
            async () =>
            {
                string owners = (string)(await _server.ExecuteAsync("select coalesce(string_agg(owner, ' '), '') from work where stage = 'Deliveries' and owner is not null", _database.Database))!;
                found = workers.FirstOrDefault(worker => owners.Split(' ', StringSplitOptions.RemoveEmptyEntries).Any(worker.Owns));
                return found is not null;
            },
            "a worker has deliveries in hand",
            () => Task.FromResult(string.Join('\n', workers.Select(worker => worker.Log))));
        return found!;
    }

    private Task UntilNoWorkAsync() =>
        UntilAsync(async () => await NumberAsync("select count(*) from work") == 0 && await NumberAsync("select count(*) from captures") > 0, "all work is done", LeftAsync);

    private async Task<string> LeftAsync() => (string)(await _server.ExecuteAsync(
        "select coalesce(string_agg(concat_ws(' ', stage, lane, subject_id, 'attempts', attempts, owner, lease_until, 'due', due_at), '; '), '') from work", _database.Database))!;


    /// <summary>Each picture is one object, stored once by the state's word, and each lies in the archive under that UID and no other.</summary>
    private async Task AssertAllDeliveredAsync(int patients)
    {
        int pictures = patients * PicturesEach;
        Assert.Equal(patients * (PicturesEach + 1), await NumberAsync("select count(*) from captures"));
        string held = (string)(await _server.ExecuteAsync("select coalesce(string_agg(distinct held_reasons, '; '), '') from matches where step is null", _database.Database))!;
        Assert.True(pictures == await NumberAsync("select count(*) from imaging_objects"), $"not every picture is an object; sittings are held: {held}");
        string undelivered = (string)(await _server.ExecuteAsync(
            "select coalesce(string_agg(distinct concat_ws(' ', state, status, outcome), '; '), '') from deliveries where state not in ('Stored', 'StoredWithWarning')", _database.Database))!;
        Assert.Equal("", undelivered);
        Assert.Equal(pictures, await NumberAsync("select count(*) from deliveries"));
        string uids = (string)(await _server.ExecuteAsync("select string_agg(SOPInstanceUID, ' ') from imaging_objects", _database.Database))!;
        Assert.Equal(
            uids.Split(' ').Order(StringComparer.Ordinal),
            Archived().Select(name => name[(name.IndexOf('.', StringComparison.Ordinal) + 1)..].Replace(".dcm", "", StringComparison.Ordinal)).Order(StringComparer.Ordinal));
    }

    /// <summary>All that a worker might change.</summary>
    private async Task<string> FingerprintAsync()
    {
        string[] tables = ["captures", "sittings", "matches", "imaging_objects", "deliveries", "cues", "work"];
        var all = new List<string>();
        foreach (string table in tables)
        {
            all.Add($"{table} {await _server.ExecuteAsync($"select md5(coalesce(string_agg(t::text, '|' order by id), '')) from {table} t", _database.Database)}");
        }

        return string.Join('\n', all);
    }

    private void AssertNoPatient(params Worker[] workers) =>
        Assert.All(workers, worker =>
        {
            Assert.DoesNotContain("WRK", worker.Log, StringComparison.Ordinal);
            Assert.DoesNotContain("Worker^", worker.Log, StringComparison.Ordinal);
            Assert.DoesNotContain(_database.Password!.Read(), worker.Log, StringComparison.Ordinal);
        });

    private static Task UntilAsync(Func<bool> condition, string what) => UntilAsync(() => Task.FromResult(condition()), what);

    private static async Task UntilAsync(Func<Task<bool>> condition, string what, Func<Task<string>>? more = null)
    {
        using CancellationTokenSource limit = CancellationTokenSource.CreateLinkedTokenSource(Cancellation);
        limit.CancelAfter(WaitLimit);
        using PeriodicTimer look = new(TimeSpan.FromMilliseconds(20));
        try
        {
            while (!await condition())
            {
                await look.WaitForNextTickAsync(limit.Token);
            }
        }
        catch (OperationCanceledException) when (!Cancellation.IsCancellationRequested)
        {
            Assert.Fail($"waited in vain: {what}\n{(more is null ? "" : await more())}");
        }
    }
}
