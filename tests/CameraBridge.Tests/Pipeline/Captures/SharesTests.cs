using CameraBridge.Persistence;
using CameraBridge.Pipeline;
using CameraBridge.Pipeline.Captures;
using Xunit;

namespace CameraBridge.Tests.Pipeline.Captures;

/// <summary>Taking from a folder that stays: real files, a real state, a clock that the test moves.</summary>
public sealed class SharesTests
{
    [Fact]
    public async Task A_file_that_rests_is_taken_once_and_lies_in_the_spool_bit_for_bit()
    {
        await using CaptureRig rig = await CaptureRig.StartAsync();
        string path = rig.Write("001/IMG_0001.JPG", size: 2_500_000);
        DateTime modified = File.GetLastWriteTimeUtc(path);
        await rig.LookAsync();
        Assert.Equal(1, rig.Status.Waiting);
        Assert.Empty(await rig.CapturesAsync());

        await rig.SettleAsync();
        await rig.SettleAsync();

        Capture capture = Assert.Single(await rig.CapturesAsync());
        Assert.Equal(("001/IMG_0001.JPG", "001", 2_500_000L), (capture.Place, capture.Folder, capture.Size));
        Assert.Equal(Convert.ToHexStringLower(System.Security.Cryptography.SHA256.HashData(File.ReadAllBytes(path))), capture.Sha256);
        Assert.Equal(File.ReadAllBytes(path), File.ReadAllBytes(rig.Tools.Spool.PathOf(capture.SpoolName)));
        Assert.True((modified - capture.ModifiedAt.UtcDateTime).Duration() < TimeSpan.FromMilliseconds(1.1));
        Assert.Equal(modified, File.GetLastWriteTimeUtc(path));
        Assert.Equal((1, 1, 0), (rig.Status.Taken, rig.Status.Known, rig.Status.Waiting));
        Assert.Empty(rig.TemporaryFiles());
    }

    [Fact]
    public async Task A_file_that_grows_is_not_taken_before_it_rests()
    {
        await using CaptureRig rig = await CaptureRig.StartAsync();
        rig.Write("a.jpg", size: 1000);
        await rig.LookAsync();
        rig.Clock.Advance(rig.Source.SettleTime);
        rig.Write("a.jpg", size: 2000);

        await rig.LookAsync();
        Assert.Empty(await rig.CapturesAsync());

        rig.Clock.Advance(rig.Source.SettleTime);
        await rig.LookAsync();
        Assert.Equal(2000, Assert.Single(await rig.CapturesAsync()).Size);
    }

    [Fact]
    public async Task A_file_that_is_open_for_writing_waits_but_not_for_ever()
    {
        await using CaptureRig rig = await CaptureRig.StartAsync();
        string closed = rig.Write("closed.jpg");
        string kept = rig.Write("kept-open.jpg", seed: 2);
        await using (File.Open(kept, FileMode.Open, FileAccess.Write, FileShare.ReadWrite))
        {
            await using (File.Open(closed, FileMode.Open, FileAccess.Write, FileShare.ReadWrite))
            {
                await rig.SettleAsync();
                Assert.Empty(await rig.CapturesAsync());
            }

            await rig.SettleAsync();
            Assert.Equal(["closed.jpg"], await rig.PlacesAsync());

            rig.Clock.Advance(rig.Source.LongestSettleTime);
            await rig.LookAsync();
            Assert.Equal(["closed.jpg", "kept-open.jpg"], await rig.PlacesAsync());
        }
    }

    [Fact]
    public async Task The_sitting_of_a_folder_stays_open_while_a_file_in_it_is_still_being_written()
    {
        await using CaptureRig rig = await CaptureRig.StartAsync();
        rig.Write("1/still.jpg");
        rig.Write("2/another.jpg", seed: 3);
        string clip = rig.Write("1/clip.jpg", seed: 2);
        using var stop = CancellationTokenSource.CreateLinkedTokenSource(CaptureRig.Cancellation);
        using var looked = new SemaphoreSlim(0);
        Task keeping;
        await using (File.Open(clip, FileMode.Open, FileAccess.Write, FileShare.ReadWrite))
        {
            await rig.SettleAsync();
            IReadOnlyList<Work> cues = await rig.Database.LeaseAsync(Stage.Cues, "", 10, TimeSpan.FromHours(1), CaptureRig.Cancellation);
            await rig.Database.CompleteCuesAsync([.. cues.Select(work => new CaptureReading(work, rig.Clock.GetUtcNow(), "file", []))], CaptureRig.Cancellation);
            keeping = rig.Watch.KeepOpenAsync(() => looked.Release() >= 0, TimeSpan.FromMinutes(1), stop.Token);
            int closed = 0;
            for (TimeSpan waited = TimeSpan.Zero; waited < rig.Source.QuietTime * 2; waited += rig.Source.QuietTime / 3)
            {
                // With this look the one before it has done its work.
                rig.Clock.Advance(rig.Source.QuietTime / 3);
                await looked.WaitAsync(CaptureRig.Cancellation);
                await rig.LookAsync();
                closed += (await rig.Database.LeaseAsync(Stage.Sittings, "", 10, TimeSpan.FromHours(1), CaptureRig.Cancellation)).Count;
            }

            Assert.Equal(1, closed);
        }

        await rig.SettleAsync();
        IReadOnlyList<Capture> captures = await rig.CapturesAsync();
        Assert.Equal(["1/clip.jpg", "1/still.jpg"], captures.Where(capture => capture.Folder == "1").Select(capture => capture.Place).Order(StringComparer.Ordinal));
        Assert.Equal(2, captures.Select(capture => capture.SittingId).Distinct().Count());
        await stop.CancelAsync();
        await Assert.ThrowsAnyAsync<OperationCanceledException>(() => keeping);
    }

    [Fact]
    public async Task The_same_name_with_other_content_is_a_new_capture()
    {
        await using CaptureRig rig = await CaptureRig.StartAsync();
        rig.Write("001/a.jpg", seed: 1);
        await rig.SettleAsync();
        rig.Write("001/a.jpg", seed: 2, size: 3001);
        await rig.SettleAsync();

        Assert.Equal(["001/a.jpg", "001/a.jpg"], await rig.PlacesAsync());
        Assert.Equal(2, rig.SpoolFiles().Count);
    }

    [Fact]
    public async Task After_a_restart_size_and_time_tell_that_a_file_is_known_and_content_where_they_differ()
    {
        await using CaptureRig rig = await CaptureRig.StartAsync();
        rig.Write("001/same.jpg", seed: 1);
        string touched = rig.Write("001/touched.jpg", seed: 2);
        string changed = rig.Write("001/changed.jpg", seed: 3);
        await rig.SettleAsync();
        rig.Restart();
        File.SetLastWriteTimeUtc(touched, DateTime.UtcNow.AddHours(-1));
        rig.Write("001/changed.jpg", seed: 4);
        File.SetLastWriteTimeUtc(changed, DateTime.UtcNow.AddHours(-2));

        await rig.SettleAsync();

        Assert.Equal(4, (await rig.CapturesAsync()).Count);
        Assert.Equal((1, 3), (rig.Status.Taken, rig.Status.Known));
        List<KnownFile> known = [];
        await foreach (KnownFile file in rig.Database.KnownFilesAsync("ear", CaptureRig.Cancellation))
        {
            known.Add(file);
        }

        Assert.Equal(File.GetLastWriteTimeUtc(touched), known.Last(file => file.Place == "001/touched.jpg").ModifiedAt.UtcDateTime, TimeSpan.FromMilliseconds(1.1));
    }

    [Fact]
    public async Task Everything_that_is_no_capture_is_said_once_and_stops_nothing()
    {
        await using CaptureRig rig = await CaptureRig.StartAsync();
        rig.Write("001/good.jpg");
        rig.Write("001/.hidden.jpg");
        rig.Write(".Trashes/a.jpg");
        rig.Write("System Volume Information/a.jpg");
        rig.Write("001/camerabridge-released.txt");
        File.WriteAllText(Path.Combine(rig.SourceFolder, "001/notes.txt"), "a sound picture is no picture");
        File.WriteAllText(Path.Combine(rig.SourceFolder, "001/camerabridge.json"), """{ "version": 1 }""");
        File.WriteAllText(Path.Combine(rig.SourceFolder, "001/torn.jpg"), "no JPEG, yet its name says so");
        rig.Write("001/NO_EXTENSION", seed: 5);
        rig.Write("001/half.jpg.part", seed: 6);
        File.WriteAllBytes(Path.Combine(rig.SourceFolder, "001/empty.jpg"), []);
        File.CreateSymbolicLink(Path.Combine(rig.SourceFolder, "001/link.jpg"), Path.Combine(rig.SourceFolder, "001/good.jpg"));
        File.CreateSymbolicLink(Path.Combine(rig.SourceFolder, "loop"), rig.SourceFolder);
        CaptureRig.Run("mkfifo", Path.Combine(rig.SourceFolder, "001/pipe.jpg"));
        CaptureRig.Run("mknod", Path.Combine(rig.SourceFolder, "001/null.jpg"), "c", "1", "3");

        await rig.SettleAsync();
        rig.Clock.Advance(rig.Source.LongestSettleTime + rig.Source.LongestSettleTime);
        await rig.LookAsync();
        await rig.SettleAsync();
        await rig.SettleAsync();

        Assert.Equal(["001/NO_EXTENSION", "001/camerabridge.json", "001/good.jpg", "001/torn.jpg"], await rig.PlacesAsync());
        Assert.Equal(
            (2, 1, 1, 2, 2, 1, 1, 1),
            (rig.Skipped(SkipReason.Hidden), rig.Skipped(SkipReason.System), rig.Skipped(SkipReason.Marker), rig.Skipped(SkipReason.SymbolicLink),
                rig.Skipped(SkipReason.Special), rig.Skipped(SkipReason.Foreign), rig.Skipped(SkipReason.Empty), rig.Skipped(SkipReason.Unfinished)));
        Assert.Equal(0, rig.Status.Waiting);
        Assert.Equal(8, rig.Log.Count(1004) + rig.Log.Count(1005));
        Assert.DoesNotContain(rig.Log.Lines, line => line.Text.Contains("001", StringComparison.Ordinal) || line.Text.Contains(".jpg", StringComparison.Ordinal));
    }

    [Fact]
    public async Task An_empty_file_that_gets_its_content_late_is_taken_all_the_same()
    {
        await using CaptureRig rig = await CaptureRig.StartAsync();
        string path = Path.Combine(rig.SourceFolder, "late.jpg");
        File.WriteAllBytes(path, []);
        await rig.SettleAsync();
        rig.Clock.Advance(rig.Source.LongestSettleTime * 3);
        await rig.LookAsync();
        Assert.Equal(1, rig.Skipped(SkipReason.Empty));

        rig.Write("late.jpg");
        await rig.SettleAsync();

        Assert.Equal(["late.jpg"], await rig.PlacesAsync());
        Assert.Equal(0, rig.Skipped(SkipReason.Empty));
    }

    [Fact]
    public async Task Names_of_any_bytes_are_taken()
    {
        await using CaptureRig rig = await CaptureRig.StartAsync();
        rig.Write("good.jpg");
        // A folder and a file in ISO 8859-1 (FC = u with diaeresis), a line break, a leading dash, a backslash, 255 bytes.
        CaptureRig.Run(
            "bash",
            "-c",
            """
            cd "$0" && d=$(printf 'M\xfcller') && mkdir "$d" && for n in "$(printf '\xfc.jpg')" "$(printf 'a\nb.jpg')" "-rf.jpg" 'a\x41.jpg' "$(printf 'x%.0s' $(seq 251)).jpg"
            do cp good.jpg "$d/$n"; done
            """,
            rig.SourceFolder);

        await rig.SettleAsync();

        Assert.Equal(
            new[] { "good.jpg", @"M\xFCller/\xFC.jpg", @"M\xFCller/a\x0Ab.jpg", @"M\xFCller/-rf.jpg", @"M\xFCller/a\x5Cx41.jpg", $@"M\xFCller/{new string('x', 251)}.jpg" }
                .Order(StringComparer.Ordinal),
            await rig.PlacesAsync());

        // The second scan knows them all, the restarted program too.
        rig.Restart();
        await rig.SettleAsync();
        Assert.Equal((0, 6), (rig.Status.Taken, rig.Status.Known));
    }

    [Fact]
    public async Task A_file_that_cannot_be_read_is_reported_tried_again_and_stops_no_other()
    {
        // A file of the kernel's own that is listed with 4,096 bytes and refuses to be read (EINVAL: the loopback interface has no speed).
        await using CaptureRig rig = await CaptureRig.StartAsync();
        using var spool = new Spool(rig.SpoolFolder);
        using var copy = new CaptureCopy("/sys/devices/virtual/net/lo", spool, new Heartbeat(rig.Clock));
        var file = new SettlingFile("speed", rig.Clock.GetUtcNow()) { Overdue = true };

        CopyResult result = copy.Take(file, [], CaptureRig.Cancellation);

        Assert.Equal(CopyOutcome.Failed, result.Outcome);
        Assert.False(string.IsNullOrEmpty(result.Words));
        Assert.Empty(rig.TemporaryFiles());
        var memory = new ScanMemory(new SettlingFiles(TimeSpan.FromSeconds(3), TimeSpan.FromMinutes(10)));
        var verdicts = new IntakeVerdicts(memory, once: false, rig.Clock);
        for (int attempt = 0; attempt < 3; attempt++)
        {
            Assert.Equal(SkipReason.None, file.Reported);
            verdicts.Judge(new IntakeResult(file, result, IsNew: false));
        }

        Assert.Equal(SkipReason.Unreadable, file.Reported);
    }

    [Fact]
    public async Task A_file_that_changes_while_it_is_read_is_not_taken()
    {
        await using CaptureRig rig = await CaptureRig.StartAsync();
        string path = rig.Write("a.jpg", size: 5 << 20);
        using var spool = new Spool(rig.SpoolFolder);

        // The heart beats before each megabyte is read: the third finds the file cut short.
        var clock = new ActingClock(onCall: 4, () => File.WriteAllBytes(path, CaptureRig.Picture(1, 1 << 20)));
        using var copy = new CaptureCopy(rig.SourceFolder, spool, new Heartbeat(clock));
        CopyResult result = copy.Take(new SettlingFile("a.jpg", rig.Clock.GetUtcNow()) { Overdue = true }, [], CaptureRig.Cancellation);

        Assert.Equal(CopyOutcome.Changed, result.Outcome);
        Assert.Empty(rig.TemporaryFiles());
        Assert.Empty(rig.SpoolFiles());
    }

    [Fact]
    public async Task A_share_that_is_not_mounted_forgets_nothing()
    {
        await using CaptureRig rig = await CaptureRig.StartAsync();
        rig.Write("001/a.jpg");
        await rig.SettleAsync();
        string away = Path.Combine(rig.Home, "away");
        Directory.Move(rig.SourceFolder, away);
        Directory.CreateDirectory(rig.SourceFolder);
        await rig.SettleAsync();
        Assert.Contains("mount the share", rig.Status.Trouble, StringComparison.Ordinal);
        Assert.Equal(1, rig.Log.Count(1014));

        Directory.Delete(rig.SourceFolder);
        Directory.Move(away, rig.SourceFolder);
        await rig.SettleAsync();

        Assert.Null(rig.Status.Trouble);
        Assert.Equal((1, 1, 0), (rig.Status.Taken, rig.Status.Known, rig.Status.Waiting));
    }

    [Fact]
    public async Task Nothing_is_kept_in_the_scanners_memory_of_files_that_are_gone()
    {
        await using CaptureRig rig = await CaptureRig.StartAsync();
        string path = rig.Write("001/a.jpg");
        rig.Write("001/b.jpg", seed: 2);
        await rig.SettleAsync();
        File.Delete(path);
        await rig.SettleAsync();

        Assert.Equal(1, rig.Status.Known);
    }

    [Fact]
    public async Task While_the_state_is_away_nothing_is_lost_or_taken_twice()
    {
        await using CaptureRig rig = await CaptureRig.StartAsync();
        IPipelineDatabase real = rig.Database;
        rig.Database = FailingDatabase.Around(real, "AddCapturesAsync", failures: 1);
        rig.Restart();
        rig.Write("001/a.jpg");
        await rig.LookAsync();
        rig.Clock.Advance(rig.Source.SettleTime);
        await Assert.ThrowsAsync<StateUnavailableException>(rig.LookAsync);
        Assert.Single(rig.SpoolFiles());

        await rig.LookAsync();

        Assert.Single(await rig.CapturesAsync());
        Assert.Single(rig.SpoolFiles());
    }

    [Fact]
    public async Task More_new_files_than_are_held_at_a_time_are_taken_one_load_after_the_other()
    {
        await using CaptureRig rig = await CaptureRig.StartAsync();
        for (int index = 0; index < 25; index++)
        {
            rig.Write($"{index % 3}/{index}.jpg", seed: index);
        }

        using var mount = new SourceMount(rig.Source, rig.SourceFolder, "", _ => true, rig.Tools, mostSettling: 10);
        DateTimeOffset start = rig.Clock.GetUtcNow();
        while (!mount.IsDone)
        {
            DateTimeOffset next = await mount.LookAsync(once: true, CaptureRig.Cancellation);
            Assert.True(mount.IsDone || next <= rig.Clock.GetUtcNow());
        }

        Assert.Equal(25, (await rig.CapturesAsync()).Count);
        Assert.Equal(25, mount.Status.Known);
        Assert.Equal(start, rig.Clock.GetUtcNow());
    }
}
