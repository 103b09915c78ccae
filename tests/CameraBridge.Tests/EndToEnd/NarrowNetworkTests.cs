using System.Text.Json;
using CameraBridge.Commands;
using CameraBridge.Tests.Peers;
using Xunit;

namespace CameraBridge.Tests.EndToEnd;

/// <summary>
/// The program, dcmtk's worklist and dcmtk's receiver in a network namespace of their own, which is narrow, loses packets and breaks connections in the middle of
/// objects: every picture arrives, each under one UID, whatever the kernel does to the link.
/// </summary>
public sealed class NarrowNetworkTests : IDisposable
{
    private const long BitsPerSecond = 4_000_000;
    private const int LostPercent = 3;
    private const int PicturesPerFolder = 20;

    private static readonly TimeSpan Limit = TimeSpan.FromMinutes(3);

    private readonly TestSite site = new();

    public void Dispose() => site.Dispose();

    [Fact]
    public async Task Every_picture_arrives_once_over_a_narrow_link_that_loses_packets_and_breaks()
    {
        Order[] orders = [.. Enumerable.Range(1, 3).Select(number => new Order(
            $"Narrow^Link{number}", $"NARROW{number}", $"ACCN{number}", $"2.25.8100{number}", TestSite.Station, "XC", DateOnly.FromDateTime(DateTime.UtcNow), $"SPSN{number}"))];
        for (int folder = 1; folder <= orders.Length; folder++)
        {
            site.WriteFolder($"{folder:0000}", [TestPictures.Label($"PID:NARROW{folder}", folder),
                .. Enumerable.Range(0, PicturesPerFolder).Select(picture => TestPictures.Still((folder * 100) + picture, 640, 480))]);
        }

        string archiveFolder = Directory.CreateDirectory(Path.Combine(site.Folder, "archive")).FullName;
        string report = Path.Combine(site.Folder, "report.json");
        await OutsideHospital.WriteItemsAsync(Path.Combine(site.Folder, "worklist", OutsideHospital.WorklistAETitle), orders);
        await using NarrowNetwork network = await NarrowNetwork.CreateAsync(BitsPerSecond);
        await using PeerProcess worklist = await PeerProcess.StartAsync(
            "wlmscpfs", port => ["-dfp", Path.Combine(site.Folder, "worklist"), "-csk", $"{port}"], network: network);
        await using PeerProcess archive = await PeerProcess.StartAsync(
            "storescp", port => ["+B", "-od", archiveFolder, "+xa", "--fork", "-aet", OutsideHospital.ArchiveAETitle, $"{port}"], network: network);
        site.SourceLines = "    optic: throat";
        site.UseWorklist(worklist.Port, OutsideHospital.WorklistAETitle);
        site.AddDestination("archive", archive.Port, OutsideHospital.ArchiveAETitle, "    first_retry_delay: 200 ms\n    longest_retry_delay: 1 s\n");
        site.WriteConfiguration();

        using CancellationTokenSource limit = CancellationTokenSource.CreateLinkedTokenSource(TestContext.Current.CancellationToken);
        limit.CancelAfter(Limit);
        await network.LoseAsync(archive.Port, LostPercent);
        Task<(int ExitCode, string Output)> run = PeerProcess.RunAsync(
            NarrowNetwork.Program,
            network.Command(TestSite.Executable, ["once", site.Stick, "--config", site.ConfigurationFile, "--report", report, "--patience", "1 min"]),
            limit.Token);
        await UntilAsync(() => Task.FromResult(Arrived(archiveFolder) > 4), run, limit.Token);
        await network.CutAsync(archive.Port);
        await UntilAsync(async () => (await network.CountAsync()).Cut > 0, run, limit.Token);
        await network.MendAsync();
        await network.LoseAsync(archive.Port, LostPercent);
        (int code, string said) = await run;

        Assert.True(code == ExitCodes.AllWell, said);
        OnceReply reply = JsonSerializer.Deserialize<OnceReply>(await File.ReadAllTextAsync(report, limit.Token), JsonReply.Format)!;
        Assert.Equal(orders.Length * PicturesPerFolder, reply.Sittings.SelectMany(sitting => sitting.Deliveries).Sum(delivery => delivery.Delivered));
        IReadOnlyList<Judged> objects = await Judged.ObjectsAsync(Directory.EnumerateFiles(archiveFolder));
        Assert.Equal(orders.Length * PicturesPerFolder, objects.Select(judged => judged.ScanSha256).Distinct().Count());
        Assert.Equal(objects.Count, objects.Select(judged => judged.ScanSha256).Distinct().Count());
        Assert.All(objects, judged => Assert.Equal("ok", judged.Text("pydicom")));
        (long lost, long cut) = await network.CountAsync();
        Assert.True(lost > 10 && cut > 0, $"the link did no harm: {lost} packets lost, {cut} cut");
    }

    private static int Arrived(string folder) => Directory.EnumerateFiles(folder).Count();

    /// <summary>Looks until it is so; fails when the program ends before.</summary>
    private static async Task UntilAsync(Func<Task<bool>> isSo, Task<(int ExitCode, string Output)> run, CancellationToken cancellation)
    {
        using PeriodicTimer look = new(TimeSpan.FromMilliseconds(50));
        while (!await isSo())
        {
            Assert.False(run.IsCompleted, run.IsCompleted ? $"it ended before: {(await run).Output}" : "");
            await look.WaitForNextTickAsync(cancellation);
        }
    }
}
