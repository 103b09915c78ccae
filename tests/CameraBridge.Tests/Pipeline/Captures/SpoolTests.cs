using CameraBridge.Pipeline.Captures;
using Xunit;

namespace CameraBridge.Tests.Pipeline.Captures;

public sealed class SpoolTests
{
    [Fact]
    public async Task A_full_spool_disk_is_said_loudly_and_taking_goes_on_when_there_is_room()
    {
        await using CaptureRig rig = await CaptureRig.StartAsync(spoolFolder: "disk/spool");
        rig.Mount(Path.Combine(rig.Home, "disk"), "size=1m");
        rig.Restart();
        string ballast = Path.Combine(rig.Home, "disk", "ballast");
        await File.WriteAllBytesAsync(ballast, new byte[600_000], CaptureRig.Cancellation);
        for (int index = 0; index < 10; index++)
        {
            rig.Write($"001/{index}.jpg", seed: index, size: 60_000);
        }

        await rig.SettleAsync();

        Assert.InRange((await rig.CapturesAsync()).Count, 1, 7);
        Assert.Equal(1, rig.Log.Count(1007));
        string trouble = rig.Status.Trouble!;
        Assert.Contains(Path.Combine(rig.Home, "disk/spool"), trouble, StringComparison.Ordinal);
        Assert.Contains("bytes are free", trouble, StringComparison.Ordinal);
        Assert.Contains("Free or repair that disk", trouble, StringComparison.Ordinal);
        Assert.Empty(rig.TemporaryFiles());

        File.Delete(ballast);
        rig.Clock.Advance(TimeSpan.FromMinutes(1));
        await rig.LookAsync();

        Assert.Equal(10, (await rig.CapturesAsync()).Count);
        Assert.Null(rig.Status.Trouble);
        Assert.Equal(1, rig.Log.Count(1008));
    }

    [Fact]
    public async Task Writing_into_a_disk_that_fills_up_gives_the_sentence_and_leaves_nothing_behind()
    {
        await using CaptureRig rig = await CaptureRig.StartAsync(spoolFolder: "disk/spool");
        rig.Mount(Path.Combine(rig.Home, "disk"), "size=1m");
        using var spool = new Spool(rig.SpoolFolder);
        using Microsoft.Win32.SafeHandles.SafeFileHandle temporary = spool.Create(10, out string path);

        // ENOSPC of the system itself, beyond the room that was asked for.
        var refusal = Assert.Throws<SpoolUnavailableException>(() => spool.Write(temporary, new byte[2 << 20], 0));
        Spool.Discard(temporary, path);

        Assert.Contains("No space left on device", refusal.Message, StringComparison.Ordinal);
        Assert.Empty(rig.TemporaryFiles());
    }

    [Fact]
    public async Task A_pause_after_a_refusal_doubles_up_to_a_limit_and_ends_with_the_first_success()
    {
        await using CaptureRig rig = await CaptureRig.StartAsync();
        SpoolPause pause = rig.Tools.Pause;
        List<double> pauses = [];
        for (int refusal = 0; refusal < 9; refusal++)
        {
            pause.Refused(new SpoolUnavailableException("full"));
            pause.Refused(new SpoolUnavailableException("full for another source as well"));
            pauses.Add((pause.Until!.Value - rig.Clock.GetUtcNow()).TotalSeconds);
            rig.Clock.Advance(pause.Until.Value - rig.Clock.GetUtcNow());
        }

        pause.Took();

        Assert.Equal([5, 10, 20, 40, 80, 160, 300, 300, 300], pauses);
        Assert.Equal((9, 1), (rig.Log.Count(1007), rig.Log.Count(1008)));
        Assert.Null(pause.Trouble);
    }

    [Fact]
    public async Task What_dead_processes_left_unfinished_is_removed_and_nothing_else()
    {
        await using CaptureRig rig = await CaptureRig.StartAsync();
        string incoming = Path.Combine(rig.SpoolFolder, "incoming");
        string dead = Path.Combine(incoming, Guid.NewGuid().ToString("N"));
        string foreign = Path.Combine(incoming, "somebody's");
        string strange = Path.Combine(incoming, Guid.NewGuid().ToString("N"));
        foreach (string folder in (string[])[dead, foreign, strange])
        {
            Directory.CreateDirectory(folder);
            await File.WriteAllTextAsync(Path.Combine(folder, "7.part"), "half a picture", CaptureRig.Cancellation);
        }

        await File.WriteAllTextAsync(Path.Combine(strange, "letter.txt"), "not ours", CaptureRig.Cancellation);
        using var living = new Spool(rig.SpoolFolder);
        using Microsoft.Win32.SafeHandles.SafeFileHandle temporary = living.Create(10, out string path);
        using var second = new Spool(rig.SpoolFolder);
        second.Open();

        Assert.False(Directory.Exists(dead));
        Assert.True(File.Exists(Path.Combine(foreign, "7.part")));
        Assert.Equal(["letter.txt"], Directory.GetFiles(strange).Select(Path.GetFileName));
        Assert.True(File.Exists(path));
        Spool.Discard(temporary, path);
    }

    [Fact]
    public async Task A_file_without_a_row_is_written_over_when_its_source_is_read_again()
    {
        await using CaptureRig rig = await CaptureRig.StartAsync();
        string source = rig.Write("001/a.jpg");
        string sha256 = Convert.ToHexStringLower(System.Security.Cryptography.SHA256.HashData(await File.ReadAllBytesAsync(source, CaptureRig.Cancellation)));

        // As a kill between the renaming and the row leaves it; and damaged since, to show that nobody relies on it.
        string orphan = rig.Tools.Spool.PathOf(Spool.NameOf(sha256));
        Directory.CreateDirectory(Path.GetDirectoryName(orphan)!);
        await File.WriteAllTextAsync(orphan, "damaged", CaptureRig.Cancellation);

        await rig.SettleAsync();

        Assert.Equal(orphan, Assert.Single(rig.SpoolFiles()));
        Assert.Equal(await File.ReadAllBytesAsync(source, CaptureRig.Cancellation), await File.ReadAllBytesAsync(orphan, CaptureRig.Cancellation));
        Assert.Equal(Spool.NameOf(sha256), Assert.Single(await rig.CapturesAsync()).SpoolName);
    }

    [Fact]
    public async Task The_spool_is_open_to_its_owner_only()
    {
        await using CaptureRig rig = await CaptureRig.StartAsync();
        rig.Write("001/a.jpg");
        await rig.SettleAsync();

        Assert.All(
            Directory.GetDirectories(rig.SpoolFolder, "*", SearchOption.AllDirectories).Append(rig.SpoolFolder),
            folder => Assert.Equal(UnixFileMode.UserRead | UnixFileMode.UserWrite | UnixFileMode.UserExecute, File.GetUnixFileMode(folder)));
    }
}
