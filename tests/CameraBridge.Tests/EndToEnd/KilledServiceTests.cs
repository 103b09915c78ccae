using System.Globalization;
using System.Security.Cryptography;
using System.Text.Json;
using CameraBridge.Persistence.Sqlite;
using CameraBridge.Tests.Dicom.Bitstreams;
using CameraBridge.Tests.Meta;
using CameraBridge.Tests.Peers;
using Xunit;

namespace CameraBridge.Tests.EndToEnd;

/// <summary>
/// The service is killed again and again, by SIGKILL, at random instants and at random system calls of any stage, while folders with stills and clips keep coming, with
/// storage commitment, performed steps and removal from the source on. The archive and RIS are npm's dcmjs-dimse 0.3.3, the worklist dcmtk's. What must hold is design
/// rules 1 to 3: nothing lost, nothing under two UIDs, no source released before the archive committed, no performed step left open.
/// CAMERABRIDGE_KILLS says how often (60 by default; a thousand take about a quarter of an hour), CAMERABRIDGE_KILLS_SEED with which seed.
/// </summary>
public sealed class KilledServiceTests : IDisposable
{
    private static readonly string[] Calls = ["fsync", "fdatasync", "rename", "pwrite", "send", "recv", "unlink"];
    private static readonly TimeSpan ReadLimit = TimeSpan.FromSeconds(10);
    private static readonly TimeSpan DrainLimit = TimeSpan.FromMinutes(5);
    private static readonly DateOnly Day = DateOnly.FromDateTime(DateTime.UtcNow);

    private readonly TestSite site = new();
    private readonly Dictionary<string, string> contents = [];
    private readonly Random random = new(Number("CAMERABRIDGE_KILLS_SEED", 20261125));
    private int folders;

    private static CancellationToken Cancellation => TestContext.Current.CancellationToken;

    public void Dispose() => site.Dispose();

    [Fact]
    public async Task However_often_the_service_is_killed_nothing_is_lost_doubled_released_early_or_left_open()
    {
        int kills = Number("CAMERABRIDGE_KILLS", 60);
        int reportPort = PeerProcess.FreePort();
        string shim = Path.Combine(site.Folder, "killpoint.so");
        await OutsideProgram.RunAsync("gcc", "-shared", "-fPIC", "-O2", "-o", shim, Path.Combine(Repository.Root, "tests", "peers", "killpoint.c"), "-ldl");
        await OutsideHospital.WriteItemsAsync(Path.Combine(site.Folder, "worklist", OutsideHospital.WorklistAETitle), [.. Enumerable.Range(1, (kills / 3) + 2).Select(OrderOf)]);
        await using PeerProcess worklist = await PeerProcess.StartWorklistAsync(Path.Combine(site.Folder, "worklist"), "-csk");
        await using PeerProcess hospital = await NodePeer.StartAsync(reportPort);
        Configure(worklist, hospital, reportPort);

        int killed = 0;
        for (int round = 0; round < kills; round++)
        {
            if (round % 3 == 0)
            {
                BringFolder();
            }

            Run run = await TestSite.RunAsync(
                ["serve", "--config", site.ConfigurationFile, "--log-level", "error"], Kill(shim));
            Assert.True(run.ExitCode == 137, $"round {round}: exit code {run.ExitCode}: {run.Errors}");
            killed++;
            await AssertNothingIsReleasedEarlyAsync(hospital);
        }

        await DrainAsync();

        JsonElement[] told = Told(hospital);
        ILookup<string, string> uids = told.Where(one => What(one) == "stored").ToLookup(one => Text(one, "pixels"), one => Text(one, "uid"));
        Assert.All(contents, file => Assert.True(uids[file.Value].Distinct().Count() == 1, $"{file.Key} is in the archive under {uids[file.Value].Distinct().Count()} UIDs"));
        Assert.Equal(contents.Count, uids.Count);
        await AssertNothingIsReleasedEarlyAsync(hospital);
        Assert.Empty(site.StickContents());
        AssertStepsHaveEnded(told);
        Assert.Equal(kills, killed);
    }

    private static Order OrderOf(int number) => new(
        $"Kill^Test{number}", $"KILL{number}", $"ACCK{number}", string.Create(CultureInfo.InvariantCulture, $"2.25.7100{number}"), TestSite.Station, "XC", Day, $"SPSK{number}");

    private static int Number(string variable, int usual) =>
        int.TryParse(Environment.GetEnvironmentVariable(variable), CultureInfo.InvariantCulture, out int number) ? number : usual;

    /// <summary>At an instant, from before the start is done to well into the work; half of them before that before or after a system call, if it comes to it.</summary>
    private Dictionary<string, string> Kill(string shim)
    {
        Dictionary<string, string> kill = new() { ["LD_PRELOAD"] = shim, ["KILLPOINT_AT"] = string.Create(CultureInfo.InvariantCulture, $"{150 + random.Next(1700)}") };
        if (random.Next(2) == 0)
        {
            int count = 1 + random.Next(12) + (random.Next(4) * random.Next(20));
            kill["KILLPOINT"] = string.Create(CultureInfo.InvariantCulture, $"{Calls[random.Next(Calls.Length)]}:{count}:{(random.Next(2) == 0 ? "before" : "after")}");
        }

        return kill;
    }

    /// <summary>A camera's folder comes as a whole: a label shot, stills, now and then a clip.</summary>
    private void BringFolder()
    {
        string name = string.Create(CultureInfo.InvariantCulture, $"{++folders:0000}");
        string away = Directory.CreateDirectory(Path.Combine(site.Folder, "coming", name)).FullName;
        File.WriteAllBytes(Path.Combine(away, "IMG_0001.JPG"), TestPictures.Label($"PID:KILL{folders}", folders));
        for (int i = 2; i < 4; i++)
        {
            Bring(away, name, string.Create(CultureInfo.InvariantCulture, $"IMG_{i:0000}.JPG"), TestPictures.Still((folders * 10) + i, 96, 64));
        }

        if (folders % 4 == 1)
        {
            // An unknown kind of box at the end (ISO 14496-12, 'free') makes each clip another one.
            byte[] clip = File.ReadAllBytes(Clips.PathOf("high41.mp4"));
            Bring(away, name, "IMG_0004.MP4", [.. clip, 0, 0, 0, 16, .. "free"u8, .. BitConverter.GetBytes((long)folders)]);
        }

        Directory.Move(away, Path.Combine(site.Stick, name));
    }

    private void Bring(string folder, string folderName, string name, byte[] bytes)
    {
        File.WriteAllBytes(Path.Combine(folder, name), bytes);

        // Of a still, the scan from SOS to EOI stands in the object as it is; a clip whole, as a fragment padded to even length (PS3.5 section A.4).
        ReadOnlySpan<byte> kept = name.EndsWith("JPG", StringComparison.Ordinal)
            ? bytes.AsSpan()[bytes.AsSpan().IndexOf((ReadOnlySpan<byte>)[0xFF, 0xDA])..(bytes.AsSpan().LastIndexOf((ReadOnlySpan<byte>)[0xFF, 0xD9]) + 2)]
            : bytes.Length % 2 == 0 ? bytes : [.. bytes, 0];
        contents[$"{folderName}/{name}"] = Convert.ToHexStringLower(SHA256.HashData(kept));
    }

    private void Configure(PeerProcess worklist, PeerProcess hospital, int reportPort)
    {
        site.UseWorklist(worklist.Port, OutsideHospital.WorklistAETitle, "  retry_after: 1 s");
        site.AddDestination("archive", hospital.Port, NodePeer.AETitle, "    report_limit: 2 s\n    first_retry_delay: 100 ms\n    longest_retry_delay: 1 s\n", confirmBy: "commitment");
        site.SourceLines = "    optic: throat\n    quiet_time: 1 s\n    rescan_interval: 200 ms\n    release: remove\n    release_after: 0 s";
        site.MoreLines = $$"""
            listen: { port: {{reportPort}}, address: 127.0.0.1 }
            performed_step: { host: 127.0.0.1, port: {{hospital.Port}}, called_ae_title: {{NodePeer.AETitle}}, first_retry_delay: 100 ms, longest_retry_delay: 1 s }
            """;
        site.WriteConfiguration();
    }

    /// <summary>Whatever is gone from the source is in the archive, which has committed to keeping it.</summary>
    private async Task AssertNothingIsReleasedEarlyAsync(PeerProcess hospital)
    {
        foreach ((string place, string hash) in contents.Where(file => !File.Exists(Path.Combine(site.Stick, file.Key))))
        {
            // What the peer said is read a moment after it was said.
            using CancellationTokenSource limit = CancellationTokenSource.CreateLinkedTokenSource(Cancellation);
            limit.CancelAfter(ReadLimit);
            try
            {
                await hospital.WaitForAsync(hash, limit.Token);
            }
            catch (OperationCanceledException) when (!Cancellation.IsCancellationRequested)
            {
                Assert.Fail($"{place} was removed, and the archive has nothing of its content: {hospital.Output}");
            }

            JsonElement[] told = Told(hospital);
            string[] uids = [.. told.Where(one => What(one) == "stored" && Text(one, "pixels") == hash).Select(one => Text(one, "uid")).Distinct()];
            string uid = Assert.Single(uids);
            Assert.True(
                told.Any(one => What(one) == "committed" && one.GetProperty("uids").EnumerateArray().Any(kept => kept.GetString() == uid)), $"{place} was removed before the archive committed");
        }
    }

    /// <summary>Lets the service run undisturbed until nothing is open.</summary>
    private async Task DrainAsync()
    {
        using CancellationTokenSource stop = CancellationTokenSource.CreateLinkedTokenSource(Cancellation);
        using CancellationTokenSource told = CancellationTokenSource.CreateLinkedTokenSource(stop.Token);
        Task<Commands.TestTerminal> service = Commands.TestTerminal.RunAsync(told.Token, "serve", "--config", site.ConfigurationFile, "--log-level", "error");
        await using (SqlitePipelineDatabase database = await SqlitePipelineDatabase.OpenAsync(Path.Combine(site.Folder, "state.db"), TimeProvider.System, stop.Token))
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
        IEnumerable<string> files = Directory.EnumerateFiles(site.Stick, "*", SearchOption.AllDirectories).Select(path => Path.GetRelativePath(site.Stick, path));
        IEnumerable<string> work = (await database.GetOpenWorkAsync(null, cancellation)).Select(open => open.ToString());
        IEnumerable<string> steps = (await database.GetOpenPerformedStepsAsync(cancellation)).Select(step => step.ToString());
        IEnumerable<string> held = (await database.GetHeldAsync(cancellation)).SelectMany(one => one.Captures).Where(capture => capture.HeldReason is not null).Select(capture => capture.HeldReason!);
        return string.Join("; ", [.. files, .. work, .. steps, .. held]);
    }

    private void AssertStepsHaveEnded(JsonElement[] told)
    {
        HashSet<string> created = [.. told.Where(one => What(one) == "created" && one.GetProperty("status").GetInt32() == 0).Select(one => Text(one, "uid"))];
        string[] ended = [.. told.Where(one => What(one) == "set" && one.GetProperty("status").GetInt32() == 0).Select(one => Text(one, "uid"))];
        Assert.Equal(folders, created.Count);
        Assert.Equal(created.Order(), ended.Order());
    }

    private static JsonElement[] Told(PeerProcess peer) =>
        [.. peer.Output.Split('\n', StringSplitOptions.RemoveEmptyEntries).Where(line => line.StartsWith('{')).Select(line => JsonDocument.Parse(line).RootElement.Clone())];

    private static string What(JsonElement one) => Text(one, "what");

    private static string Text(JsonElement one, string name) => one.GetProperty(name).GetString()!;
}
