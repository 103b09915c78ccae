using System.Collections.Concurrent;
using System.Globalization;
using CameraBridge.Commands;
using CameraBridge.Pipeline;
using CameraBridge.Tests.Meta;
using CameraBridge.Tests.Peers;
using Xunit;

namespace CameraBridge.Tests.EndToEnd;

/// <summary>
/// The program is ended by SIGKILL just before or just after a system call (a sync, a rename, a write to the state, a packet to a peer), counted over all of its
/// threads by tests/peers/killpoint.c, so that no hook is needed in the product. Then it is started again and must end as if nothing had been.
/// </summary>
public sealed class KillTests : IDisposable
{
    private const int Points = 64;
    private const int Pictures = 3;
    private static readonly string[] Calls = ["fsync", "fdatasync", "rename", "pwrite", "send", "recv", "unlink"];
    private static readonly DateOnly Day = new(2026, 11, 2);
    private static readonly DateTime Taken = new(2026, 11, 2, 9, 30, 0, DateTimeKind.Utc);
    private readonly string folder = Directory.CreateTempSubdirectory("camerabridge-kills-").FullName;

    public void Dispose() => Directory.Delete(folder, recursive: true);

    [Fact]
    public async Task After_a_kill_at_any_of_many_points_every_picture_is_in_the_archive_once_or_held()
    {
        string shim = Path.Combine(folder, "killpoint.so");
        await OutsideProgram.RunAsync("gcc", "-shared", "-fPIC", "-O2", "-o", shim, Path.Combine(Repository.Root, "tests", "peers", "killpoint.c"), "-ldl");
        string items = Path.Combine(folder, "worklist", OutsideHospital.WorklistAETitle);
        await OutsideHospital.WriteItemsAsync(items, [.. Enumerable.Range(1, Pictures).Select(i =>
            new Order($"Kill^Test{i}", $"KILL{i}", $"ACCK{i}", $"2.25.99100{i}", TestSite.Station, "XC", Day, $"SPSK{i}"))]);
        await using PeerProcess worklist = await PeerProcess.StartWorklistAsync(Path.Combine(folder, "worklist"), "-csk");
        List<string> plan = PlanPoints(await CountCallsAsync(shim, worklist));
        ConcurrentBag<string> wrong = [];
        int kills = 0;

        await Parallel.ForEachAsync(plan, new ParallelOptions { MaxDegreeOfParallelism = 2 }, async (point, _) =>
        {
            (bool killed, string? fault) = await KillAndRestartAsync(shim, worklist, point);
            Interlocked.Add(ref kills, killed ? 1 : 0);
            if (fault is not null)
            {
                wrong.Add($"{point}: {fault}");
            }
        });

        Assert.True(wrong.IsEmpty, string.Join(Environment.NewLine, wrong.Order()));
        Assert.True(kills >= 50, $"only {kills} of {plan.Count} points were reached");
    }

    /// <summary>Points spread evenly over the calls that a whole run makes, by turns before and after.</summary>
    private static List<string> PlanPoints(IReadOnlyDictionary<string, int> counts)
    {
        string[] made = [.. Calls.Where(call => counts.GetValueOrDefault(call) > 0)];
        List<string> points = [];
        foreach (string call in made)
        {
            int most = Math.Min(counts[call], Points / made.Length);
            points.AddRange(Enumerable.Range(0, most).Select(i => string.Create(
                CultureInfo.InvariantCulture, $"{call}:{1 + (i * counts[call] / most)}:{(i % 2 == 0 ? "before" : "after")}")));
        }

        return points;
    }

    private async Task<IReadOnlyDictionary<string, int>> CountCallsAsync(string shim, PeerProcess worklist)
    {
        string counts = Path.Combine(folder, "counts");
        await using PeerProcess archive = await PeerProcess.StartReceiverAsync(Directory.CreateDirectory(Path.Combine(folder, "counted")).FullName, "--fork");
        using TestSite site = DrawSite(worklist, archive);
        Run run = await site.OnceAsync(new Dictionary<string, string> { ["LD_PRELOAD"] = shim, ["KILLPOINT_COUNTS"] = counts });
        Assert.True(run.ExitCode == ExitCodes.Held, run.Errors);
        return File.ReadLines(counts).Select(line => line.Split(' ')).ToDictionary(part => part[0], part => int.Parse(part[1], CultureInfo.InvariantCulture));
    }

    private async Task<(bool Killed, string? Fault)> KillAndRestartAsync(string shim, PeerProcess worklist, string point)
    {
        string received = Directory.CreateDirectory(Path.Combine(folder, point.Replace(':', '-'))).FullName;
        await using PeerProcess archive = await PeerProcess.StartReceiverAsync(received, "--fork");
        using TestSite site = DrawSite(worklist, archive);
        IReadOnlyDictionary<string, string> before = site.StickContents();

        Run killed = await site.OnceAsync(new Dictionary<string, string> { ["LD_PRELOAD"] = shim, ["KILLPOINT"] = point });
        Run again = await site.OnceAsync();

        return (killed.ExitCode == 137, Fault(site, again, before, received));
    }

    private static string? Fault(TestSite site, Run run, IReadOnlyDictionary<string, string> before, string received)
    {
        if (run.ExitCode != ExitCodes.Held)
        {
            return $"exit code {run.ExitCode}: {run.Errors}";
        }

        IReadOnlyDictionary<string, string> after = site.StickContents();
        if (!before.OrderBy(file => file.Key, StringComparer.Ordinal).SequenceEqual(after.OrderBy(file => file.Key, StringComparer.Ordinal)))
        {
            return "the source was changed";
        }

        SittingReply[] sittings = [.. run.Report.Sittings];
        int matched = sittings.Count(sitting => sitting is { State: SittingState.Matched, Pictures: Pictures, Evidence: 1 });
        SittingReply[] held = [.. sittings.Where(sitting => sitting.IsHeld)];
        if (matched != Pictures || held.Length != 1 || held[0].Folder != "0004" || held[0].Captures != 2 || sittings.Length != Pictures + 1)
        {
            return $"sittings: {string.Join("; ", sittings.Select(sitting => $"{sitting.Folder} {sitting.State} {sitting.Captures} captures, {sitting.Pictures} pictures"))}";
        }

        byte[][] objects = [.. Directory.EnumerateFiles(received).Select(File.ReadAllBytes)];
        foreach (string picture in before.Keys.Where(name => !name.StartsWith("0004", StringComparison.Ordinal) && !name.EndsWith("IMG_0001.JPG", StringComparison.Ordinal)))
        {
            int times = objects.Count(bytes => bytes.AsSpan().IndexOf(Scan(Path.Combine(site.Stick, picture))) >= 0);
            if (times != 1)
            {
                return $"{picture} is in the archive {times} times";
            }
        }

        return objects.Length == Pictures * Pictures ? null : $"{objects.Length} objects in the archive";
    }

    /// <summary>From the SOS marker (FFDA) on: what must stand unchanged in an object.</summary>
    private static ReadOnlySpan<byte> Scan(string path)
    {
        ReadOnlySpan<byte> bytes = File.ReadAllBytes(path);
        return bytes[bytes.IndexOf((ReadOnlySpan<byte>)[0xFF, 0xDA])..];
    }

    /// <summary>Three labelled folders of three pictures, and a fourth of two without a label.</summary>
    private static TestSite DrawSite(PeerProcess worklist, PeerProcess archive)
    {
        TestSite site = new();
        for (int i = 1; i <= Pictures; i++)
        {
            site.WriteFolder($"000{i}", [TestPictures.Label($"PID:KILL{i}", i), .. Enumerable.Range(0, Pictures).Select(picture => TestPictures.Still((i * 10) + picture, 128, 96))]);
        }

        site.WriteFolder("0004", TestPictures.Still(91, 128, 96), TestPictures.Still(92, 128, 96));
        foreach (string path in Directory.EnumerateFiles(site.Stick, "*", SearchOption.AllDirectories))
        {
            File.SetLastWriteTimeUtc(path, Taken);
        }

        site.UseWorklist(worklist.Port, OutsideHospital.WorklistAETitle);
        site.AddDestination("archive", archive.Port, OutsideHospital.ArchiveAETitle);
        site.WriteConfiguration();
        return site;
    }
}
