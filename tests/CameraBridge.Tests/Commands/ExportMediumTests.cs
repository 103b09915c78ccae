using System.Text;
using CameraBridge.Commands;
using CameraBridge.Tests.Dicom.Part10;
using CameraBridge.Tests.Persistence;
using Xunit;

namespace CameraBridge.Tests.Commands;

/// <summary>Exports onto media that are full, read-only, faulty or pulled out.</summary>
public sealed class ExportMediumTests
{
    private static CancellationToken Cancellation => TestContext.Current.CancellationToken;

    [Fact]
    public async Task A_medium_that_does_not_keep_what_is_written_is_found_out_by_reading_back()
    {
        using ExportSite site = await ExportSite.CreateAsync();
        await site.AddSittingAsync("0001", 3);
        string first = Path.Combine(site.Out, "PA000001", "ST000001", "SE000001", "IM000001");

        (int exitCode, string output, _) = await RunAsync(site, () =>
        {
            byte[] bytes = File.ReadAllBytes(first);
            bytes[^50] ^= 1;
            File.WriteAllBytes(first, bytes);
        });

        Assert.Equal(4, exitCode);
        Assert.Contains("Left out: 0001/IMG_0001.JPG: What was read back is not what was written: the medium is faulty.", output, StringComparison.Ordinal);
        MediaJudged judged = await MediaJudged.ReadAsync(site.Out);
        Assert.Empty(judged.Wrong);
        Assert.Equal(2, judged.Files.Count);
        Assert.False(File.Exists(first));
    }

    [Fact]
    public async Task A_medium_with_too_little_room_is_refused_before_anything_is_written()
    {
        using ExportSite site = await ExportSite.CreateAsync();
        await site.AddSittingAsync("0001");
        using SmallDisk? disk = SmallDisk.TryMount(site.Out, "2m");
        Assert.SkipWhen(disk is null, "Mounting needs the rights of root.");

        TestTerminal run = await site.RunAsync("--source", "stick", "--to", site.Out);

        Assert.Equal(4, run.ExitCode);
        Assert.Contains("bytes free", run.Error, StringComparison.Ordinal);
        Assert.Empty(Directory.EnumerateFileSystemEntries(site.Out));
    }

    [Fact]
    public async Task A_medium_that_fills_up_on_the_way_lists_nothing_of_the_run_and_the_next_one_completes_it()
    {
        using ExportSite site = await ExportSite.CreateAsync();
        await site.AddSittingAsync("0001", 3);
        using SmallDisk? disk = SmallDisk.TryMount(site.Out, "6m");
        Assert.SkipWhen(disk is null, "Mounting needs the rights of root.");
        string filler = Path.Combine(site.Out, "FILLER");

        (int exitCode, _, string errors) = await RunAsync(site, () => Assert.ThrowsAny<IOException>(() => File.WriteAllBytes(filler, new byte[8 << 20])));

        Assert.Equal(4, exitCode);
        Assert.Contains($"The folder {site.Out} cannot be read or written", errors, StringComparison.Ordinal);
        Assert.Empty((await MediaJudged.ReadAsync(site.Out)).Files);
        File.Delete(filler);
        Assert.Equal("", (await site.RunAsync("--source", "stick", "--to", site.Out)).Error);
        Assert.Equal((0, 3), ((await site.ExportAsync()).ExitCode, (await MediaJudged.ReadAsync(site.Out)).Files.Count));
        Assert.Empty((await MediaJudged.ReadAsync(site.Out)).Wrong);
    }

    [Fact]
    public async Task A_medium_that_is_read_only_is_told()
    {
        using ExportSite site = await ExportSite.CreateAsync();
        await site.AddSittingAsync("0001");
        using SmallDisk? disk = SmallDisk.TryMount(site.Out, "6m");
        Assert.SkipWhen(disk is null || !disk.TryMakeReadOnly(), "Mounting needs the rights of root.");

        TestTerminal run = await site.RunAsync("--source", "stick", "--to", site.Out);

        Assert.Equal(4, run.ExitCode);
        Assert.Contains("Read-only file system", run.Error, StringComparison.Ordinal);
    }

    [Fact]
    public async Task A_medium_that_is_pulled_out_on_the_way_is_told()
    {
        using ExportSite site = await ExportSite.CreateAsync();
        await site.AddSittingAsync("0001", 3);

        // The mount point stays, an empty folder of this machine: nothing may be written there.
        (int exitCode, _, string errors) = await RunAsync(site, () =>
        {
            Directory.Move(site.Out, site.Out + "-gone");
            Directory.CreateDirectory(site.Out);
        });

        Assert.Equal(4, exitCode);
        Assert.Contains("The medium was taken away", errors, StringComparison.Ordinal);
        Assert.Empty(Directory.EnumerateFileSystemEntries(site.Out));
        Assert.Empty((await MediaJudged.ReadAsync(site.Out + "-gone")).Files);
    }

    /// <summary>Something happens to the medium when the first file is on it: the progress bar, which is drawn then, calls it.</summary>
    private static async Task<(int ExitCode, string Output, string Errors)> RunAsync(ExportSite site, Action happens)
    {
        using StringWriter output = new();
        using Interruption errors = new(happens);
        int exitCode = await CommandLine.RunAsync(["export", "--source", "stick", "--to", site.Out, "--config", site.Config], new Terminal(output, errors, Interactive: true), Cancellation);
        return (exitCode, output.ToString(), errors.ToString());
    }

    private sealed class Interruption(Action happens) : StringWriter
    {
        private bool _done;

        public override Encoding Encoding => Encoding.UTF8;

        public override void Write(string? value)
        {
            base.Write(value);
            if (!_done)
            {
                _done = true;
                happens();
            }
        }
    }
}
