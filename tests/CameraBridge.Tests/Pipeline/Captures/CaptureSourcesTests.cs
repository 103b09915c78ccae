using CameraBridge.Configuration;
using CameraBridge.Pipeline.Captures;
using Xunit;

namespace CameraBridge.Tests.Pipeline.Captures;

/// <summary>The two ways in: one complete pass, and watching.</summary>
public sealed class CaptureSourcesTests
{
    [Fact]
    public async Task One_pass_takes_what_is_there_at_once_reports_the_rest_and_closes_the_sittings()
    {
        await using CaptureRig rig = await CaptureRig.StartAsync(SourceKind.Stick);
        for (int index = 0; index < 700; index++)
        {
            rig.Write($"{index / 100:d3}/{index}.jpg", seed: index, size: 2000);
        }

        File.WriteAllBytes(Path.Combine(rig.SourceFolder, "000/empty.jpg"), []);
        rig.Write("000/half.jpg.tmp");
        File.WriteAllText(Path.Combine(rig.SourceFolder, "notes.txt"), "no picture");
        using CaptureSources sources = rig.Sources();

        SourceSummary summary = await sources.TakeAllAsync(rig.Source, CaptureRig.Cancellation);

        Assert.Equal((700, 0, true, null), (summary.Taken, summary.Known, summary.Whole, summary.Trouble));
        Assert.Equal(
            [(SkipReason.Foreign, 1), (SkipReason.Empty, 1), (SkipReason.Unfinished, 1)],
            summary.Skipped.Select(skipped => (skipped.Reason, skipped.Count)).Order());
        Assert.Equal("000/half.jpg.tmp", summary.Skipped.Single(skipped => skipped.Reason == SkipReason.Unfinished).Places[0]);
        Assert.Equal(700, (await rig.CapturesAsync()).Count);
        Assert.Equal(700, rig.SpoolFiles().Count);
        Assert.Empty(await rig.Database.OpenContentsAsync("ear", 10, CaptureRig.Cancellation));

        SourceSummary again = await sources.TakeAllAsync(rig.Source, CaptureRig.Cancellation);
        Assert.Equal((0, 700, true), (again.Taken, again.Known, again.Whole));
    }

    [Fact]
    public async Task One_pass_waits_for_a_file_that_was_just_written()
    {
        await using CaptureRig rig = await CaptureRig.StartAsync(SourceKind.Stick);
        File.SetLastWriteTimeUtc(rig.Write("001/a.jpg"), rig.Clock.GetUtcNow().UtcDateTime);
        using CaptureSources sources = rig.Sources();
        DateTimeOffset start = rig.Clock.GetUtcNow();

        SourceSummary summary = await rig.PumpAsync(sources.TakeAllAsync(rig.Source, CaptureRig.Cancellation));

        Assert.Equal(1, summary.Taken);
        Assert.True(rig.Clock.GetUtcNow() - start >= rig.Source.SettleTime);
    }

    [Fact]
    public async Task One_pass_over_a_folder_that_is_not_there_says_so()
    {
        await using CaptureRig rig = await CaptureRig.StartAsync();
        using CaptureSources sources = rig.Sources();

        SourceSummary summary = await sources.TakeAllAsync(rig.Source with { Folder = "/nowhere/at/all" }, CaptureRig.Cancellation);

        Assert.False(summary.Whole);
        Assert.Equal("The folder /nowhere/at/all of source ear is not there; mount it, or correct the path.", summary.Trouble);
    }

    [Fact]
    public async Task One_pass_with_a_full_spool_ends_with_the_sentence_and_takes_the_rest_next_time()
    {
        await using CaptureRig rig = await CaptureRig.StartAsync(SourceKind.Stick, spoolFolder: "disk/spool");
        rig.Mount(Path.Combine(rig.Home, "disk"), "size=1m");
        for (int index = 0; index < 30; index++)
        {
            rig.Write($"001/{index}.jpg", seed: index, size: 60_000);
        }

        using CaptureSources sources = rig.Sources();
        SourceSummary full = await sources.TakeAllAsync(rig.Source, CaptureRig.Cancellation);
        Assert.False(full.Whole);
        Assert.InRange(full.Taken, 1, 17);
        Assert.Contains("takes no more pictures", full.Trouble, StringComparison.Ordinal);

        CaptureRig.Run("mount", "-o", "remount,size=4m", Path.Combine(rig.Home, "disk"));
        SourceSummary rest = await sources.TakeAllAsync(rig.Source, CaptureRig.Cancellation);

        Assert.True(rest.Whole);
        Assert.Equal((30, 30), (full.Taken + rest.Taken, (await rig.CapturesAsync()).Count));
        Assert.Single((await rig.CapturesAsync()).Select(capture => capture.SittingId).Distinct());
    }

    [Fact]
    public async Task Watching_takes_from_each_source_by_itself_until_it_is_ended()
    {
        await using CaptureRig rig = await CaptureRig.StartAsync();
        rig.Write("001/a.jpg");
        SourceConfiguration absent = rig.Source with { Name = "absent", Folder = Path.Combine(rig.Home, "absent"), Kind = SourceKind.Stick };
        using CaptureSources sources = rig.Sources(absent, rig.Source);
        using var end = CancellationTokenSource.CreateLinkedTokenSource(CaptureRig.Cancellation);
        Task running = sources.RunAsync(end.Token);

        await UntilAsync(rig, async () => (await rig.CapturesAsync()).Count == 1);
        CaptureRig.WriteBelow(absent.Folder, "001/b.jpg", seed: 2);
        rig.Write("002/c.jpg", seed: 3);
        await UntilAsync(rig, async () => (await rig.CapturesAsync()).Count == 3);
        await end.CancelAsync();
        await running.WaitAsync(TimeSpan.FromSeconds(30), CaptureRig.Cancellation);

        Assert.Equal(["absent", "ear"], sources.Status.Select(status => status.Source));
        Assert.All(sources.Status, status => Assert.True(status.Present));
    }

    [Fact]
    public async Task A_hint_of_the_system_names_what_was_written()
    {
        await using CaptureRig rig = await CaptureRig.StartAsync();
        rig.Write("001/a.jpg");
        using var hints = new SourceHints();
        Assert.Null(hints.Start(rig.SourceFolder));
        Assert.False(hints.IsPending);

        Task next = hints.Next;
        rig.Write("001/a.jpg", seed: 2);
        await next.WaitAsync(TimeSpan.FromSeconds(30), CaptureRig.Cancellation);

        Assert.True(hints.IsPending);
        Assert.Contains(KnownPlaces.KeyOf("001/a.jpg"), hints.Take());
        Assert.NotNull(hints.Start("/nowhere/at/all"));
        Assert.False(hints.IsWatching);
    }

    private static async Task UntilAsync(CaptureRig rig, Func<Task<bool>> reached)
    {
        async Task<bool> ReachedAsync()
        {
            while (!await reached())
            {
                await Task.Run(Thread.Yield, CaptureRig.Cancellation);
            }

            return true;
        }

        await rig.PumpAsync(ReachedAsync());
    }
}
