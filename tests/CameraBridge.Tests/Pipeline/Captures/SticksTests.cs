using CameraBridge.Configuration;
using CameraBridge.Persistence;
using CameraBridge.Pipeline;
using Xunit;

namespace CameraBridge.Tests.Pipeline.Captures;

/// <summary>Sticks that come and go. A stick in these tests is a folder that is moved to the watched path, or a small disk that is mounted there.</summary>
public sealed class SticksTests
{
    [Fact]
    public async Task A_stick_that_comes_back_is_known_by_content_and_place()
    {
        await using CaptureRig rig = await CaptureRig.StartAsync(SourceKind.Stick);
        rig.Write("001/a.jpg", seed: 1);
        rig.Write("002/a.jpg", seed: 2);
        await rig.SettleAsync();
        await PullAsync(rig, "stick-a");
        Assert.False(rig.Status.Present);
        await PutAsync(rig, "stick-a");
        rig.Write("002/b.jpg", seed: 3);
        await rig.SettleAsync();

        Assert.Equal(["001/a.jpg", "002/a.jpg", "002/b.jpg"], await rig.PlacesAsync());
        Assert.Equal((3, 3), (rig.Status.Taken, rig.Status.Known));
    }

    [Fact]
    public async Task Another_content_at_the_same_place_with_the_same_size_and_time_is_a_new_capture()
    {
        await using CaptureRig rig = await CaptureRig.StartAsync(SourceKind.Stick);
        DateTime time = DateTime.UtcNow.AddDays(-1);
        File.SetLastWriteTimeUtc(rig.Write("001/IMG_0001.JPG", seed: 1), time);
        await rig.SettleAsync();
        await PullAsync(rig, "stick-a");
        Directory.CreateDirectory(rig.SourceFolder);
        File.SetLastWriteTimeUtc(rig.Write("001/IMG_0001.JPG", seed: 2), time);

        await rig.SettleAsync();

        IReadOnlyList<Capture> captures = await rig.CapturesAsync();
        Assert.Equal(2, captures.Count);
        Assert.Equal(captures[0].Place, captures[1].Place);
        Assert.NotEqual(captures[0].SittingId, captures[1].SittingId);
    }

    [Fact]
    public async Task The_same_holds_when_the_stick_was_changed_while_the_program_was_down()
    {
        await using CaptureRig rig = await CaptureRig.StartAsync(SourceKind.Stick);
        DateTime time = DateTime.UtcNow.AddDays(-1);
        File.SetLastWriteTimeUtc(rig.Write("001/IMG_0001.JPG", seed: 1), time);
        await rig.SettleAsync();
        File.SetLastWriteTimeUtc(rig.Write("001/IMG_0001.JPG", seed: 2), time);
        rig.Restart();

        await rig.SettleAsync();

        IReadOnlyList<Capture> captures = await rig.CapturesAsync();
        Assert.Equal(2, captures.Count);
        Assert.NotEqual(captures[0].SittingId, captures[1].SittingId);
    }

    [Fact]
    public async Task A_program_that_starts_anew_goes_on_with_the_same_sticks_sitting()
    {
        await using CaptureRig rig = await CaptureRig.StartAsync(SourceKind.Stick);
        rig.Write("001/a.jpg", seed: 1);
        await rig.SettleAsync();
        rig.Restart();
        rig.Write("001/b.jpg", seed: 2);
        await rig.SettleAsync();

        Assert.Single((await rig.CapturesAsync()).Select(capture => capture.SittingId).Distinct());
    }

    [Fact]
    public async Task When_a_stick_goes_that_was_taken_whole_its_sittings_close()
    {
        await using CaptureRig rig = await CaptureRig.StartAsync(SourceKind.Stick);
        rig.Write("001/a.jpg");
        await rig.SettleAsync();
        Assert.NotEmpty(await OpenAsync(rig));

        await PullAsync(rig, "stick-a");

        Assert.Empty(await OpenAsync(rig));
        Assert.Equal((1, 0), (rig.Log.Count(1001), rig.Log.Count(1002)));
    }

    [Fact]
    public async Task A_stick_that_was_pulled_too_early_goes_on_with_its_sitting_when_it_comes_back()
    {
        await using CaptureRig rig = await CaptureRig.StartAsync(SourceKind.Stick);
        await PullTooEarlyAsync(rig);
        await PutAsync(rig, "stick-a");
        await rig.SettleAsync();

        IReadOnlyList<Capture> captures = await rig.CapturesAsync();
        Assert.Equal(["001/a.jpg", "001/b.jpg"], captures.Select(capture => capture.Place));
        Assert.Single(captures.Select(capture => capture.SittingId).Distinct());
    }

    [Fact]
    public async Task The_empty_mount_point_that_it_left_is_no_other_stick_even_after_a_restart()
    {
        await using CaptureRig rig = await CaptureRig.StartAsync(SourceKind.Stick);
        await PullTooEarlyAsync(rig);
        Directory.CreateDirectory(rig.SourceFolder);
        await rig.SettleAsync();
        rig.Restart();
        await rig.SettleAsync();
        Directory.Delete(rig.SourceFolder);
        await PutAsync(rig, "stick-a");
        await rig.SettleAsync();

        IReadOnlyList<Capture> captures = await rig.CapturesAsync();
        Assert.Equal(["001/a.jpg", "001/b.jpg"], captures.Select(capture => capture.Place));
        Assert.Single(captures.Select(capture => capture.SittingId).Distinct());
    }

    [Fact]
    public async Task Another_stick_never_joins_the_sitting_of_one_that_was_pulled_too_early()
    {
        await using CaptureRig rig = await CaptureRig.StartAsync(SourceKind.Stick);
        await PullTooEarlyAsync(rig);
        rig.Write("001/c.jpg", seed: 9);
        await rig.SettleAsync();

        IReadOnlyList<Capture> captures = await rig.CapturesAsync();
        Assert.Equal(["001/a.jpg", "001/c.jpg"], captures.Select(capture => capture.Place));
        Assert.NotEqual(captures[0].SittingId, captures[1].SittingId);
        Assert.Equal(1, rig.Log.Count(1012));
    }

    [Fact]
    public async Task Two_sticks_at_once_are_never_one_sitting_and_go_one_by_one()
    {
        await using CaptureRig rig = await CaptureRig.StartAsync(SourceKind.Stick, below: "source/*");
        rig.Write("STICK_A/001/IMG_0001.JPG", seed: 1);
        rig.Write("STICK_B/001/IMG_0001.JPG", seed: 2);
        await rig.SettleAsync();
        Assert.Equal(
            [("001/IMG_0001.JPG", "STICK_A/001"), ("001/IMG_0001.JPG", "STICK_B/001")],
            (await rig.CapturesAsync()).Select(capture => (capture.Place, capture.Folder)).Order());

        Directory.Move(Path.Combine(rig.SourceFolder, "STICK_A"), Path.Combine(rig.Home, "stick-a"));
        await rig.SettleAsync();

        Assert.Equal("STICK_B/001", Assert.Single(await OpenAsync(rig)).Folder);
        Assert.Equal("STICK_B", Assert.Single(rig.Watch.Status).Mount);
    }

    [Fact]
    public async Task The_same_stick_under_another_mounts_name_is_known_and_goes_on_with_its_sitting()
    {
        await using CaptureRig rig = await CaptureRig.StartAsync(SourceKind.Stick, below: "source/*");
        rig.Write("sdb1/001/a.jpg", seed: 1);
        await rig.SettleAsync();
        rig.Write("sdb1/001/b.jpg", seed: 2);
        rig.Clock.Advance(rig.Source.RescanInterval);
        await rig.LookAsync();
        Directory.Move(Path.Combine(rig.SourceFolder, "sdb1"), Path.Combine(rig.Home, "away"));
        rig.Clock.Advance(rig.Source.RescanInterval);
        await rig.LookAsync();

        Directory.Move(Path.Combine(rig.Home, "away"), Path.Combine(rig.SourceFolder, "sdc1"));
        await rig.SettleAsync();

        Assert.Equal(
            [("001/a.jpg", "sdb1/001"), ("001/b.jpg", "sdb1/001")],
            (await rig.CapturesAsync()).Select(capture => (capture.Place, capture.Folder)));
        Assert.Single((await rig.CapturesAsync()).Select(capture => capture.SittingId).Distinct());
    }

    [Fact]
    public async Task A_real_disk_that_is_swapped_between_two_looks_is_noticed()
    {
        await using CaptureRig rig = await CaptureRig.StartAsync(SourceKind.Stick);
        DateTime time = DateTime.UtcNow.AddDays(-1);
        rig.Mount(rig.SourceFolder, "size=2m");
        File.SetLastWriteTimeUtc(rig.Write("001/a.jpg", seed: 1), time);
        await rig.SettleAsync();
        rig.Unmount(rig.SourceFolder);
        rig.Mount(rig.SourceFolder, "size=2m");
        File.SetLastWriteTimeUtc(rig.Write("001/a.jpg", seed: 2), time);
        await rig.SettleAsync();
        Assert.Equal(2, (await rig.CapturesAsync()).Count);

        rig.Unmount(rig.SourceFolder);
        await rig.SettleAsync();
        Assert.False(rig.Status.Present);
    }

    [Fact]
    public async Task A_read_only_stick_is_taken_like_any_other_and_left_as_it_is()
    {
        await using CaptureRig rig = await CaptureRig.StartAsync(SourceKind.Stick);
        rig.Mount(rig.SourceFolder, "size=2m");
        rig.Write("001/a.jpg");
        CaptureRig.Run("mount", "-o", "remount,ro", rig.SourceFolder);

        await rig.SettleAsync();

        Assert.Equal(["001/a.jpg"], await rig.PlacesAsync());
        Assert.Equal(0, rig.Log.Lines.Count(line => line.Id is 1005 or 1006));
    }

    [Fact]
    public async Task A_stick_that_goes_in_the_middle_of_a_look_counts_as_pulled_too_early()
    {
        await using CaptureRig rig = await CaptureRig.StartAsync(SourceKind.Stick);
        rig.Write("001/a.jpg");
        await rig.LookAsync();
        rig.Clock.Advance(rig.Source.SettleTime);
        Directory.Move(Path.Combine(rig.SourceFolder, "001"), Path.Combine(rig.Home, "001"));
        await rig.LookAsync(); // due, but not to be opened any more
        Directory.Delete(rig.SourceFolder);
        rig.Clock.Advance(rig.Source.SettleTime);
        await rig.LookAsync();

        Assert.Equal((0, 1), (rig.Log.Count(1001), rig.Log.Count(1002)));
        Assert.Empty(await rig.CapturesAsync());
    }

    private static async Task PullTooEarlyAsync(CaptureRig rig)
    {
        rig.Write("001/a.jpg", seed: 1);
        await rig.SettleAsync();
        rig.Write("001/b.jpg", seed: 2);
        rig.Clock.Advance(rig.Source.RescanInterval);
        await rig.LookAsync();
        await PullAsync(rig, "stick-a");
        Assert.NotEmpty(await OpenAsync(rig));
        Assert.Equal(1, rig.Log.Count(1002));
    }

    private static async Task PullAsync(CaptureRig rig, string name)
    {
        Directory.Move(rig.SourceFolder, Path.Combine(rig.Home, name));
        rig.Clock.Advance(rig.Source.RescanInterval);
        await rig.LookAsync();
    }

    private static async Task PutAsync(CaptureRig rig, string name)
    {
        Directory.Move(Path.Combine(rig.Home, name), rig.SourceFolder);
        rig.Clock.Advance(rig.Source.RescanInterval);
        await rig.LookAsync();
    }

    private static Task<IReadOnlyList<KnownContent>> OpenAsync(CaptureRig rig) => rig.Database.OpenContentsAsync("ear", 100, CaptureRig.Cancellation);
}
