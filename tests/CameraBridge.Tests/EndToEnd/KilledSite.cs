using System.Globalization;
using System.Security.Cryptography;
using System.Text;
using System.Text.Json;
using CameraBridge.Commands;
using CameraBridge.Persistence.Sqlite;
using CameraBridge.Tests.Commands;
using CameraBridge.Tests.Dicom.Bitstreams;
using CameraBridge.Tests.Meta;
using CameraBridge.Tests.Peers;
using Xunit;

namespace CameraBridge.Tests.EndToEnd;

/// <summary>What goes wrong beside a kill during one run of the service.</summary>
internal sealed record Trouble
{
    public static Trouble None { get; } = new();

    /// <summary>Environment variables for tests/peers/killpoint.c.</summary>
    public IReadOnlyDictionary<string, string> Environment { get; init; } = new Dictionary<string, string>();

    /// <summary>Begins when the service opens its state, and runs beside it; is cancelled when that has ended.</summary>
    public Func<CancellationToken, Task> Meanwhile { get; init; } = _ => Task.CompletedTask;

    /// <summary>The service may find that it cannot start, and end by itself with the exit code for what is left to do.</summary>
    public bool MayEnd { get; init; }
}

/// <summary>
/// A site whose service is killed again and again, by SIGKILL, at random instants and at random system calls of any stage, while folders with stills and clips keep coming,
/// with storage commitment, performed steps and removal from the source on. The archive and RIS are npm's dcmjs-dimse 0.3.3, the worklist dcmtk's. What must hold is
/// design rules 1 to 3: nothing lost, nothing under two UIDs, no source released before the archive committed, no performed step left open.
/// CAMERABRIDGE_KILLS says how often, CAMERABRIDGE_KILLS_SEED with which seed.
/// </summary>
internal sealed class KilledSite : IAsyncDisposable
{
    private static readonly string[] Calls = ["fsync", "fdatasync", "rename", "pwrite", "send", "recv", "unlink"];
    private static readonly TimeSpan Breath = TimeSpan.FromMilliseconds(10);

    /// <summary>From the program's start to its opening of the state, on a quiet machine of two cores.</summary>
    private static readonly TimeSpan UsualStart = TimeSpan.FromMilliseconds(250);

    /// <summary>A machine that is slower than this is not waited for any longer.</summary>
    private const double LongestPace = 4;

    private static readonly TimeSpan ReadLimit = TimeSpan.FromSeconds(10);
    private static readonly TimeSpan SaysLimit = TimeSpan.FromMinutes(1);
    private static readonly TimeSpan DrainLimit = TimeSpan.FromMinutes(5);
    private static readonly DateOnly Day = DateOnly.FromDateTime(DateTime.UtcNow);

    private readonly StringBuilder _log = new();
    private readonly Dictionary<string, string> _contents = [];
    private readonly HashSet<string> _proven = [];
    private readonly List<JsonElement> _told = [];
    private readonly string _shim;
    private readonly int _reportPort;
    private int _folders;
    private int _read;
    private double _pace = 1;
    private PeerProcess? _worklist;
    private PeerProcess? _hospital;

    private KilledSite(int kills, string disk)
    {
        string folder = Directory.CreateTempSubdirectory("camerabridge-killed-").FullName;
        Kills = kills;
        Disk = Directory.CreateDirectory(Path.Combine(folder, disk)).FullName;
        Site = new TestSite(folder) { Spool = Path.Combine(Disk, "spool"), StateFile = Path.Combine(Disk, "state.db") };
        StickIsAt = Site.Stick;
        _shim = Path.Combine(folder, "killpoint.so");
        _reportPort = PeerProcess.FreePort();
    }

    public int Kills { get; }

    public TestSite Site { get; }

    /// <summary>The folder of spool and state.</summary>
    public string Disk { get; }

    /// <summary>Where the files of the stick are: its folder, or beside it while it is pulled out.</summary>
    public string StickIsAt { get; set; }

    /// <summary>Everything is drawn from this one, so that a seed gives the same plan again.</summary>
    public Random Random { get; } = new(Number("CAMERABRIDGE_KILLS_SEED", 20261125));

    /// <summary>All that the service has logged.</summary>
    public string Log => _log.ToString();

    private static CancellationToken Cancellation => TestContext.Current.CancellationToken;

    private PeerProcess Hospital => _hospital!;

    /// <summary>When times begin to count.</summary>
    private string Since => $"{Site.StateFile}:{Begun}";

    /// <summary>Made by the shim then.</summary>
    private string Begun => Path.Combine(Site.Folder, "begun");

    /// <param name="usual">Number of kills, if the environment says no other.</param>
    /// <param name="disk">Folder below the site's own for spool and state.</param>
    /// <param name="quietTime">Of the source; what was taken half when the service was killed is waited for beyond it.</param>
    public static async Task<KilledSite> StartAsync(int usual, string disk = "", string quietTime = "1 s")
    {
        KilledSite site = new(Number("CAMERABRIDGE_KILLS", usual), disk);
        try
        {
            string items = Path.Combine(site.Site.Folder, "worklist");
            await OutsideProgram.RunAsync("gcc", "-shared", "-fPIC", "-O2", "-o", site._shim, Path.Combine(Repository.Root, "tests", "peers", "killpoint.c"), "-ldl");
            await OutsideHospital.WriteItemsAsync(Path.Combine(items, OutsideHospital.WorklistAETitle), [.. Enumerable.Range(1, (site.Kills / 3) + 2).Select(OrderOf)]);
            site._worklist = await PeerProcess.StartWorklistAsync(items, "-csk");
            site._hospital = await NodePeer.StartAsync(site._reportPort);
            site.Configure(quietTime);
            return site;
        }
        catch
        {
            await site.DisposeAsync();
            throw;
        }
    }

    /// <summary>Starts the service and kills it, until it was killed as often as is asked for; with each third kill another folder comes.</summary>
    /// <param name="plan">What else goes wrong in a round.</param>
    public async Task KillAsync(Func<int, Trouble>? plan = null)
    {
        int killed = 0;
        for (int round = 0; killed < Kills; round++)
        {
            if (_folders <= killed / 3)
            {
                BringFolder();
            }

            Trouble trouble = plan?.Invoke(round) ?? Trouble.None;
            Run run = await RunAsync(trouble);
            Assert.True(run.ExitCode == 137 || (trouble.MayEnd && run.ExitCode == ExitCodes.Undelivered), $"round {round}: exit code {run.ExitCode}: {run.Errors}");
            killed += run.ExitCode == 137 ? 1 : 0;
            await AssertNothingIsReleasedEarlyAsync();
        }
    }

    /// <summary>Lets the service run undisturbed to its rest; then everything must be where it belongs.</summary>
    public async Task AssertItComesToRestAsync()
    {
        await DrainAsync();
        ILookup<string, string> uids = Told().Where(one => What(one) == "stored").ToLookup(one => Text(one, "pixels"), one => Text(one, "uid"));
        Assert.All(_contents, file => Assert.True(uids[file.Value].Distinct().Count() == 1, $"{file.Key} is in the archive under {uids[file.Value].Distinct().Count()} UIDs"));
        Assert.Equal(_contents.Count, uids.Count);
        await AssertNothingIsReleasedEarlyAsync();
        Assert.Empty(Site.StickContents());
        AssertStepsHaveEnded();
    }

    /// <summary>Lets the service run in trouble until it has said what is wrong: a sentence with all of these words, or one with all of the others.</summary>
    public async Task AssertSaysAsync(Trouble trouble, params IReadOnlyList<string[]> sentences)
    {
        await using Worker worker = Worker.Start(Site, new Dictionary<string, string>(trouble.Environment) { ["LD_PRELOAD"] = _shim, ["KILLPOINT_SINCE"] = Since });
        using CancellationTokenSource over = CancellationTokenSource.CreateLinkedTokenSource(Cancellation);
        File.Delete(Begun);
        Task meanwhile = MeanwhileAsync(trouble, over.Token);
        using PeriodicTimer look = new(TimeSpan.FromMilliseconds(50));
        long start = TimeProvider.System.GetTimestamp();
        while (!sentences.Any(words => worker.Log.Split('\n').Any(line => words.All(word => line.Contains(word, StringComparison.Ordinal)))))
        {
            Assert.True(TimeProvider.System.GetElapsedTime(start) < SaysLimit, $"it did not say so in {SaysLimit}: {worker.Log}");
            await look.WaitForNextTickAsync(Cancellation);
        }

        await over.CancelAsync();
        await meanwhile.ConfigureAwait(ConfigureAwaitOptions.SuppressThrowing);
        await worker.KillAsync();
        _log.Append(worker.Log);
        Assert.All((string[])["Kill^Test", "PID:", "ACCK"], patient => Assert.DoesNotContain(patient, Log, StringComparison.OrdinalIgnoreCase));
        await AssertNothingIsReleasedEarlyAsync();
    }

    /// <summary>
    /// A length of time within a run, in whole ms: a number below this one on a quiet machine, and as much longer as the service last took longer to start. So it comes
    /// as far into its work on a busy machine.
    /// </summary>
    public int Time(int below) => (int)(Random.Next(below) * _pace);

    public async ValueTask DisposeAsync()
    {
        if (_worklist is not null)
        {
            await _worklist.DisposeAsync();
        }

        if (_hospital is not null)
        {
            await _hospital.DisposeAsync();
        }

        Site.Dispose();
    }

    private static Order OrderOf(int number) => new(
        $"Kill^Test{number}", $"KILL{number}", $"ACCK{number}", string.Create(CultureInfo.InvariantCulture, $"2.25.7100{number}"), TestSite.Station, "XC", Day, $"SPSK{number}");

    private static int Number(string variable, int usual) =>
        int.TryParse(Environment.GetEnvironmentVariable(variable), CultureInfo.InvariantCulture, out int number) ? number : usual;

    private async Task<Run> RunAsync(Trouble trouble)
    {
        using CancellationTokenSource over = CancellationTokenSource.CreateLinkedTokenSource(Cancellation);
        File.Delete(Begun);
        Task meanwhile = MeanwhileAsync(trouble, over.Token);
        Run run = await TestSite.RunAsync(["serve", "--config", Site.ConfigurationFile, "--log-level", "warning"], new Dictionary<string, string>([.. Kill(), .. trouble.Environment]));
        await over.CancelAsync();
        await meanwhile.ConfigureAwait(ConfigureAwaitOptions.SuppressThrowing);
        Assert.False(meanwhile.IsFaulted, meanwhile.Exception?.ToString());
        _log.Append(run.Errors);
        return run;
    }

    private async Task MeanwhileAsync(Trouble trouble, CancellationToken over)
    {
        long start = TimeProvider.System.GetTimestamp();
        while (!File.Exists(Begun))
        {
            await Task.Delay(Breath, TimeProvider.System, over);
        }

        _pace = Math.Clamp(TimeProvider.System.GetElapsedTime(start) / UsualStart, 1, LongestPace);

        await trouble.Meanwhile(over);
    }

    /// <summary>
    /// At an instant well into the work, which is counted from its opening of the state, so that a busy machine is not killed in its start alone; one in eight
    /// within the start; half of them before that before or after a system call, if it comes to it.
    /// </summary>
    private Dictionary<string, string> Kill()
    {
        Dictionary<string, string> kill = new() { ["LD_PRELOAD"] = _shim, ["KILLPOINT_AT"] = string.Create(CultureInfo.InvariantCulture, $"{50 + Time(1500)}") };
        if (Random.Next(8) > 0)
        {
            kill["KILLPOINT_SINCE"] = Since;
        }

        if (Random.Next(2) == 0)
        {
            int count = 1 + Random.Next(12) + (Random.Next(4) * Random.Next(20));
            kill["KILLPOINT"] = string.Create(CultureInfo.InvariantCulture, $"{Calls[Random.Next(Calls.Length)]}:{count}:{(Random.Next(2) == 0 ? "before" : "after")}");
        }

        return kill;
    }

    /// <summary>A camera's folder comes as a whole: a label shot, stills, now and then a clip.</summary>
    public void BringFolder()
    {
        string name = string.Create(CultureInfo.InvariantCulture, $"{++_folders:0000}");
        string away = Directory.CreateDirectory(Path.Combine(Site.Folder, "coming", name)).FullName;
        File.WriteAllBytes(Path.Combine(away, "IMG_0001.JPG"), TestPictures.Label($"PID:KILL{_folders}", _folders));
        for (int i = 2; i < 4; i++)
        {
            Bring(away, name, string.Create(CultureInfo.InvariantCulture, $"IMG_{i:0000}.JPG"), TestPictures.Still((_folders * 10) + i, 96, 64));
        }

        if (_folders % 4 == 1)
        {
            // An unknown kind of box at the end (ISO 14496-12, 'free') makes each clip another one.
            byte[] clip = File.ReadAllBytes(Clips.PathOf("high41.mp4"));
            Bring(away, name, "IMG_0004.MP4", [.. clip, 0, 0, 0, 16, .. "free"u8, .. BitConverter.GetBytes((long)_folders)]);
        }

        Directory.Move(away, Path.Combine(StickIsAt, name));
    }

    private void Bring(string folder, string folderName, string name, byte[] bytes)
    {
        File.WriteAllBytes(Path.Combine(folder, name), bytes);

        // Of a still, the scan from SOS to EOI stands in the object as it is; a clip whole, as a fragment padded to even length (PS3.5 section A.4).
        ReadOnlySpan<byte> kept = name.EndsWith("JPG", StringComparison.Ordinal)
            ? bytes.AsSpan()[bytes.AsSpan().IndexOf((ReadOnlySpan<byte>)[0xFF, 0xDA])..(bytes.AsSpan().LastIndexOf((ReadOnlySpan<byte>)[0xFF, 0xD9]) + 2)]
            : bytes.Length % 2 == 0 ? bytes : [.. bytes, 0];
        _contents[$"{folderName}/{name}"] = Convert.ToHexStringLower(SHA256.HashData(kept));
    }

    private void Configure(string quietTime)
    {
        Site.UseWorklist(_worklist!.Port, OutsideHospital.WorklistAETitle, "  retry_after: 1 s");
        Site.AddDestination("archive", Hospital.Port, NodePeer.AETitle, "    report_limit: 2 s\n    first_retry_delay: 100 ms\n    longest_retry_delay: 1 s\n", confirmBy: "commitment");
        Site.SourceLines = $"    optic: throat\n    quiet_time: {quietTime}\n    rescan_interval: 200 ms\n    release: remove\n    release_after: 0 s";
        Site.MoreLines = $$"""
            listen: { port: {{_reportPort}}, address: 127.0.0.1 }
            performed_step: { host: 127.0.0.1, port: {{Hospital.Port}}, called_ae_title: {{NodePeer.AETitle}}, first_retry_delay: 100 ms, longest_retry_delay: 1 s }
            """;
        Site.WriteConfiguration();
    }

    /// <summary>Whatever is gone from the source is in the archive, which has committed to keeping it.</summary>
    private async Task AssertNothingIsReleasedEarlyAsync()
    {
        foreach ((string place, string hash) in _contents.Where(file => !_proven.Contains(file.Key) && !File.Exists(Path.Combine(StickIsAt, file.Key))))
        {
            // What the peer said is read a moment after it was said.
            using CancellationTokenSource limit = CancellationTokenSource.CreateLinkedTokenSource(Cancellation);
            limit.CancelAfter(ReadLimit);
            try
            {
                await Hospital.WaitForAsync(hash, limit.Token);
            }
            catch (OperationCanceledException) when (!Cancellation.IsCancellationRequested)
            {
                Assert.Fail($"{place} was removed, and the archive has nothing of its content: {Hospital.Output}");
            }

            List<JsonElement> told = Told();
            string uid = Assert.Single(told.Where(one => What(one) == "stored" && Text(one, "pixels") == hash).Select(one => Text(one, "uid")).Distinct());
            Assert.True(
                told.Any(one => What(one) == "committed" && one.GetProperty("uids").EnumerateArray().Any(kept => kept.GetString() == uid)), $"{place} was removed before the archive committed");
            _proven.Add(place);
        }
    }

    /// <summary>Lets the service run undisturbed until nothing is open.</summary>
    private async Task DrainAsync()
    {
        using CancellationTokenSource stop = CancellationTokenSource.CreateLinkedTokenSource(Cancellation);
        using CancellationTokenSource told = CancellationTokenSource.CreateLinkedTokenSource(stop.Token);
        Task<TestTerminal> service = TestTerminal.RunAsync(told.Token, "serve", "--config", Site.ConfigurationFile, "--log-level", "error");
        await using (SqlitePipelineDatabase database = await SqlitePipelineDatabase.OpenAsync(Site.StateFile, TimeProvider.System, stop.Token))
        {
            using PeriodicTimer look = new(TimeSpan.FromMilliseconds(200));
            long start = TimeProvider.System.GetTimestamp();
            string left = "everything";
            while (left.Length > 0)
            {
                await look.WaitForNextTickAsync(stop.Token);
                Assert.False(service.IsCompleted, service.IsCompleted ? (await service).Error : "");
                left = await LeftAsync(database, stop.Token);
                Assert.True(TimeProvider.System.GetElapsedTime(start) < DrainLimit, $"after {DrainLimit} there is left: {left}");
            }
        }

        await told.CancelAsync();
        Assert.Equal(0, (await service).ExitCode);
    }

    private async Task<string> LeftAsync(SqlitePipelineDatabase database, CancellationToken cancellation)
    {
        IEnumerable<string> files = Directory.EnumerateFiles(Site.Stick, "*", SearchOption.AllDirectories).Select(path => Path.GetRelativePath(Site.Stick, path));
        IEnumerable<string> work = (await database.GetOpenWorkAsync(null, cancellation)).Select(open => open.ToString());
        IEnumerable<string> steps = (await database.GetOpenPerformedStepsAsync(cancellation)).Select(step => step.ToString());
        IEnumerable<string> held = (await database.GetHeldAsync(cancellation)).SelectMany(one => one.Captures).Where(capture => capture.HeldReason is not null).Select(capture => capture.HeldReason!);
        return string.Join("; ", [.. files, .. work, .. steps, .. held]);
    }

    private void AssertStepsHaveEnded()
    {
        HashSet<string> created = [.. Told().Where(one => What(one) == "created" && one.GetProperty("status").GetInt32() == 0).Select(one => Text(one, "uid"))];
        string[] ended = [.. Told().Where(one => What(one) == "set" && one.GetProperty("status").GetInt32() == 0).Select(one => Text(one, "uid"))];
        Assert.Equal(_folders, created.Count);
        Assert.Equal(created.Order(), ended.Order());
    }

    /// <summary>All that the archive and RIS has told so far; each line is read once.</summary>
    private List<JsonElement> Told()
    {
        string output = Hospital.Output;
        foreach (string line in output[_read..].Split('\n').Where(line => line.StartsWith('{')))
        {
            using JsonDocument told = JsonDocument.Parse(line);
            _told.Add(told.RootElement.Clone());
        }

        _read = output.Length;
        return _told;
    }

    private static string What(JsonElement one) => Text(one, "what");

    private static string Text(JsonElement one, string name) => one.GetProperty(name).GetString()!;
}
