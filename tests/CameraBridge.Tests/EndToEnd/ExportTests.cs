using System.Globalization;
using CameraBridge.Commands;
using CameraBridge.Dicom.Part10;
using CameraBridge.Tests.Commands;
using CameraBridge.Tests.Dicom.Part10;
using CameraBridge.Tests.Meta;
using CameraBridge.Tests.Peers;
using Xunit;

namespace CameraBridge.Tests.EndToEnd;

/// <summary>The whole flow into a media folder while the archive is away, judged from outside; and exports that are killed.</summary>
public sealed class ExportTests
{
    private static readonly string[] Calls = ["fsync", "rename", "pwrite", "unlink"];

    private static CancellationToken Cancellation => TestContext.Current.CancellationToken;

    [Fact]
    public async Task The_clinic_morning_is_copied_while_the_archive_is_away_and_delivered_when_it_is_back_with_the_same_bytes()
    {
        await using DemoStick demo = await DemoStick.CreateAsync(Cancellation);
        int port = demo.ArchivePort;
        demo.ArchivePort = 1;
        await demo.OnceAsync(Cancellation, "--patience", "500 ms");
        string medium = Path.Combine(demo.Root, "medium");

        TestTerminal run = await TestTerminal.RunAsync(Cancellation, "export", "--source", "clinic-stick", "--unconfirmed", "--to", medium, "--config", demo.Config);

        // 3: what is held on this stick is no object and cannot be copied.
        Assert.Equal((3, ""), (run.ExitCode, run.Error));
        int filed = demo.Plan.Truth.Filed.Sum(filed => filed.Pictures);
        MediaJudged judged = await MediaJudged.ReadAsync(medium);
        Assert.Empty(judged.Wrong);
        Assert.Equal(filed, judged.Files.Count);
        IReadOnlyList<Judged> objects = await Judged.ObjectsAsync(judged.Files.Select(file => Path.Combine(medium, file.Path)));
        Assert.All(objects, one => Assert.Equal(("ok", "ok", 0), (one.Text("pydicom"), one.Text("gdcm"), one.Lines("dciodvfy_errors").Count)));
        await OutsideProgram.RunAsync("dcmmkdir", "-Pfl", "--strict", "-a", "+r", "+id", medium, "+p", "IM*", "+D", Path.Combine(demo.Root, "theirs"));

        demo.ArchivePort = port;
        (_, OnceReply reply) = await demo.OnceAsync(Cancellation);
        Assert.Equal(0, reply.Sittings.Sum(sitting => sitting.Deliveries.Sum(delivery => delivery.Undelivered)));
        Dictionary<string, string> received = Directory.EnumerateFiles(demo.Archive).Select(DataSetHash).ToDictionary(one => one.UID, one => one.Sha256);
        Assert.Equal(filed, received.Count);
        Assert.All(judged.Files, file => Assert.Equal(received[file.UID], DataSetHash(Path.Combine(medium, file.Path)).Sha256));

        // Now all of it is kept, and there is nothing left to copy.
        TestTerminal again = await TestTerminal.RunAsync(
            Cancellation, "export", "--source", "clinic-stick", "--unconfirmed", "--to", Path.Combine(demo.Root, "second"), "--config", demo.Config);
        Assert.Contains("There is nothing to export.", again.Out, StringComparison.Ordinal);
    }

    [Fact]
    public async Task After_a_kill_at_any_point_the_folder_lists_whole_files_alone_and_the_next_export_completes_it()
    {
        string shim = Path.Combine(Directory.CreateTempSubdirectory("camerabridge-shim-").FullName, "killpoint.so");
        await OutsideProgram.RunAsync("gcc", "-shared", "-fPIC", "-O2", "-o", shim, Path.Combine(Repository.Root, "tests", "peers", "killpoint.c"), "-ldl");
        string counts = shim + ".counts";
        Assert.Equal((0, 0), await ExportKilledAsync(new() { ["LD_PRELOAD"] = shim, ["KILLPOINT_COUNTS"] = counts }));
        Dictionary<string, int> made = File.ReadLines(counts).Select(line => line.Split(' ')).ToDictionary(part => part[0], part => int.Parse(part[1], CultureInfo.InvariantCulture));
        int kills = 0;
        foreach (string call in Calls)
        {
            int step = Math.Max(1, made[call] / 4);
            for (int at = 1; at <= made[call]; at += step)
            {
                (int first, int second) = await ExportKilledAsync(new() { ["LD_PRELOAD"] = shim, ["KILLPOINT"] = string.Create(CultureInfo.InvariantCulture, $"{call}:{at}:{(at % 2 == 0 ? "before" : "after")}") });
                Assert.True(second == 0, $"{call}:{at}: the next export ended with {second}");
                kills += first == 137 ? 1 : 0;
            }
        }

        Assert.True(kills >= 10, $"only {kills} points were reached");
        Directory.Delete(Path.GetDirectoryName(shim)!, recursive: true);
    }

    /// <summary>Adds a sitting to a folder that has one, by a program that is killed on the way, and then by one that is not.</summary>
    private static async Task<(int First, int Second)> ExportKilledAsync(Dictionary<string, string> environment)
    {
        using ExportSite site = await ExportSite.CreateAsync();
        await site.AddSittingAsync("0001", 1);
        await site.ExportAsync();
        await site.AddSittingAsync("0002", 2, "P2");
        string[] export = ["export", "--source", "stick", "--to", site.Out, "--config", site.Config];

        int first = (await TestSite.RunAsync(export, environment)).ExitCode;

        // Whatever was killed: what the directory lists is whole. What it does not list yet, pydicom finds too, and that alone may be wrong.
        MediaJudged after = await MediaJudged.ReadAsync(site.Out);
        Assert.All(after.Wrong, line => Assert.EndsWith("in the folder, but not in its DICOMDIR", line, StringComparison.Ordinal));
        Assert.Contains(after.Files.Count, (int[])[1, 3]);
        int second = (await TestSite.RunAsync(export)).ExitCode;
        MediaJudged done = await MediaJudged.ReadAsync(site.Out);
        Assert.Empty(done.Wrong);
        Assert.Equal(3, done.Files.Count);
        return (first, second);
    }

    private static (string UID, string Sha256) DataSetHash(string path)
    {
        Part10File file = Part10File.Open(path);
        using Stream bytes = file.EncodedDataSet.OpenRead();
        return (file.Meta.MediaStorageSOPInstanceUID, Convert.ToHexStringLower(System.Security.Cryptography.SHA256.HashData(bytes)));
    }
}
