using CameraBridge.Configuration;
using CameraBridge.Persistence;
using CameraBridge.Pipeline.Releases;
using CameraBridge.Tests.Persistence;
using Microsoft.Extensions.Logging.Abstractions;
using Xunit;

namespace CameraBridge.Tests.Pipeline.Releases;

/// <summary>
/// A source is touched only after every destination of the route keeps the picture, only where the very content lies that was read, and only inside the source's
/// folder, whatever somebody puts there meanwhile (design rule 3).
/// </summary>
public sealed class ReleasesStageTests : PictureOnStick
{
    private string Elsewhere => Directory.CreateDirectory(Path.Combine(Folder, "elsewhere")).FullName;

    [Fact]
    public async Task Nothing_is_removed_while_one_of_two_destinations_has_not_confirmed()
    {
        SourceConfiguration source = await TakeAsync("archive", "second") with { Release = ReleasePolicy.Remove };
        await FlowSteps.KeepAsync(Database, "archive");

        Assert.Empty(await RunAsync(source));
        Assert.True(File.Exists(Taken));

        await FlowSteps.KeepAsync(Database, "second");
        await RunAsync(source);
        Assert.False(Directory.Exists(Path.Combine(Stick, "1")));
        Assert.True(Directory.Exists(Stick));
    }

    [Fact]
    public async Task The_waiting_time_runs_from_the_last_confirmation()
    {
        SourceConfiguration source = await KeptAsync() with { ReleaseAfter = TimeSpan.FromHours(2) };

        await RunAsync(source);
        Clock.Advance(TimeSpan.FromMinutes(119));
        Assert.Empty(await RunAsync(source));
        Assert.True(File.Exists(Taken));
        Clock.Advance(TimeSpan.FromMinutes(1));
        await RunAsync(source);

        Assert.False(File.Exists(Taken));
    }

    [Fact]
    public async Task A_link_that_was_put_at_the_place_of_a_file_is_not_followed()
    {
        SourceConfiguration source = await KeptAsync();
        string outside = Path.Combine(Elsewhere, "a.jpg");
        File.Move(Taken, outside);
        File.CreateSymbolicLink(Taken, outside);

        await RunAsync(source);

        Assert.Equal(Picture, File.ReadAllBytes(outside));
        Assert.True(new FileInfo(Taken).LinkTarget is not null);
        Assert.Equal(0, await OpenWorkAsync());
    }

    [Theory]
    [InlineData(nameof(ReleasePolicy.Remove))]
    [InlineData(nameof(ReleasePolicy.Mark))]
    public async Task A_link_that_was_put_at_the_place_of_a_folder_leads_nowhere(string policy)
    {
        SourceConfiguration source = await KeptAsync() with { Release = Enum.Parse<ReleasePolicy>(policy) };
        Directory.Move(Path.Combine(Stick, "1"), Path.Combine(Elsewhere, "1"));
        Directory.CreateSymbolicLink(Path.Combine(Stick, "1"), Path.Combine(Elsewhere, "1"));

        await RunAsync(source);

        Assert.Equal(["a.jpg"], Directory.EnumerateFiles(Path.Combine(Elsewhere, "1")).Select(Path.GetFileName));
        Assert.Equal(Picture, File.ReadAllBytes(Path.Combine(Elsewhere, "1", "a.jpg")));
    }

    [Fact]
    public async Task A_list_of_kept_files_that_is_a_link_is_not_written_through()
    {
        SourceConfiguration source = await KeptAsync() with { Release = ReleasePolicy.Mark };
        string outside = Path.Combine(Elsewhere, "list.txt");
        File.WriteAllText(outside, "somebody's");
        File.CreateSymbolicLink(Path.Combine(Stick, "1", KeptList.FileName), outside);

        await RunAsync(source);

        Assert.Equal("somebody's", File.ReadAllText(outside));
        Assert.Equal(1, await OpenWorkAsync());
    }

    [Fact]
    public async Task A_file_of_the_same_size_with_other_content_is_left()
    {
        SourceConfiguration source = await KeptAsync();
        byte[] other = [.. Picture.Reverse()];
        File.WriteAllBytes(Taken, other);

        await RunAsync(source);

        Assert.Equal(other, File.ReadAllBytes(Taken));
        Assert.Equal(0, await OpenWorkAsync());
    }

    [Fact]
    public async Task A_stick_that_is_away_is_waited_for_and_another_one_in_its_place_is_left_alone()
    {
        SourceConfiguration source = await KeptAsync() with { Kind = SourceKind.Stick, Folder = Path.Combine(Mounts, "*") };
        string pocket = Path.Combine(Folder, "pocket");
        Directory.Move(Stick, pocket);
        byte[] other = [.. Picture.Reverse()];
        Directory.CreateDirectory(Path.Combine(Mounts, "other", "1"));
        string sameName = Path.Combine(Mounts, "other", "1", "a.jpg");
        File.WriteAllBytes(sameName, other);

        await RunAsync(source);
        Assert.Equal((1, true), (await OpenWorkAsync(), File.Exists(sameName)));

        Directory.Move(pocket, Path.Combine(Mounts, "stick"));
        Clock.Advance(ReleasesStage.AwayLookInterval);
        await RunAsync(source);

        Assert.False(File.Exists(Taken));
        Assert.Equal(other, File.ReadAllBytes(sameName));
        Assert.Equal(0, await OpenWorkAsync());
    }

    [Theory]
    [InlineData(nameof(ReleasePolicy.Remove))]
    [InlineData(nameof(ReleasePolicy.Mark))]
    public async Task A_stick_that_can_only_be_read_keeps_its_files_and_is_tried_again_when_it_can_be_written(string policy)
    {
        using SmallDisk disk = SmallDisk.TryMount(Stick, "1m") ?? throw new InvalidOperationException("mounting a tmpfs needs the rights of root");
        SourceConfiguration source = await KeptAsync() with { Release = Enum.Parse<ReleasePolicy>(policy) };
        Assert.True(disk.TryMakeReadOnly());

        await RunAsync(source);
        Assert.Equal((1, true), (await OpenWorkAsync(), File.Exists(Taken)));

        Assert.True(disk.TryMakeWritable());
        Clock.Advance(TimeSpan.FromMinutes(5));
        await RunAsync(source);
        Assert.Equal((0, policy == nameof(ReleasePolicy.Mark)), (await OpenWorkAsync(), File.Exists(Taken)));
    }

    [Fact]
    public async Task A_removal_stands_in_the_journal_before_and_after()
    {
        SourceConfiguration source = await KeptAsync();
        IReadOnlyList<Work> leased = await LeaseAsync();

        Assert.Single(await Database.BeginReleasesAsync([.. leased.Select(work => (work, "tree"))], Cancellation));
        Assert.Equal("tree", Assert.Single(await Database.GetReleasesAsync(leased, Cancellation)).BegunIn);

        // The program ends here, after the removal.
        File.Delete(Taken);
        Clock.Advance(TimeSpan.FromMinutes(6));
        await RunAsync(source);

        Assert.Equal(0, await OpenWorkAsync());
    }

    private async Task<SourceConfiguration> KeptAsync()
    {
        SourceConfiguration source = await TakeAsync("archive", "second");
        await FlowSteps.KeepAsync(Database, "archive", "second");
        return source with { Release = ReleasePolicy.Remove };
    }

    private async Task<IReadOnlyList<Work>> LeaseAsync() => await Database.LeaseAsync(Stage.Releases, "stick", 10, TimeSpan.FromMinutes(5), Cancellation);

    /// <returns>The work that was due.</returns>
    private async Task<IReadOnlyList<Work>> RunAsync(SourceConfiguration source)
    {
        ReleasesStage stage = new(
            Site() with { Sources = [source] }, Database, Clock, NullLogger<ReleasesStage>.Instance);
        IReadOnlyList<Work> due = await LeaseAsync();
        if (due.Count > 0)
        {
            await stage.RunAsync(due, Cancellation);
        }

        return due;
    }

    private async Task<int> OpenWorkAsync() => (await Database.CountWorkAsync(Cancellation)).GetValueOrDefault(Stage.Releases);
}
