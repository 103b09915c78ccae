using CameraBridge.Configuration;
using CameraBridge.Persistence;
using CameraBridge.Pipeline.Releases;
using CameraBridge.Tests.Persistence;
using Microsoft.Extensions.Logging.Abstractions;
using Xunit;

namespace CameraBridge.Tests.Pipeline.Releases;

/// <summary>A removal that was begun, and the stick that went before it was done: what is concluded from a file that is not there.</summary>
public sealed class BegunReleasesTests : PictureOnStick
{
    private string Away => Path.Combine(Folder, "away");

    [Fact]
    public async Task What_is_not_on_an_empty_mount_point_is_waited_for_though_its_removal_was_begun()
    {
        await KeepAsync();
        await BeginAsync();
        Directory.Move(Stick, Away);
        Directory.CreateDirectory(Stick);

        Assert.Equal(1, await RunAsync());

        Directory.Delete(Stick);
        Directory.Move(Away, Stick);
        Assert.Equal(0, await RunAsync());
        Assert.False(File.Exists(Taken));
    }

    [Fact]
    public async Task What_is_gone_from_the_stick_whose_last_file_it_was_is_not_waited_for_when_its_removal_was_begun()
    {
        await KeepAsync();
        await BeginAsync();
        Directory.Delete(Path.GetDirectoryName(Taken)!, recursive: true);

        Assert.Equal(0, await RunAsync());
    }

    [Fact]
    public async Task What_is_not_on_a_stick_is_waited_for_when_its_removal_was_not_begun()
    {
        await KeepAsync();
        Directory.Delete(Path.GetDirectoryName(Taken)!, recursive: true);

        Assert.Equal(1, await RunAsync());
    }

    private async Task KeepAsync()
    {
        _ = await TakeAsync("archive");
        await FlowSteps.KeepAsync(Database, "archive");
    }

    /// <summary>As far as a program that is killed between the journal's entry and the removal.</summary>
    private async Task BeginAsync()
    {
        using SourceTree tree = Assert.Single(SourceTree.Open(Source()));
        Work work = await LeaseAsync();
        Assert.Single(await Database.BeginReleasesAsync([(work, tree.Id)], Cancellation));
        await Database.ReleaseAsync([work], Cancellation);
    }

    /// <returns>Pieces of work that are left.</returns>
    private async Task<int> RunAsync()
    {
        Clock.Advance(ReleasesStage.AwayLookInterval);
        await new ReleasesStage(Site() with { Sources = [Source()] }, Database, Clock, NullLogger<ReleasesStage>.Instance).RunAsync([await LeaseAsync()], Cancellation);
        return (await Database.GetOpenWorkAsync(null, Cancellation)).Where(work => work.Stage == Stage.Releases).Sum(work => work.Due + work.Later + work.Leased);
    }

    private async Task<Work> LeaseAsync() => Assert.Single(await Database.LeaseAsync(Stage.Releases, "stick", 1, TimeSpan.FromMinutes(1), Cancellation));

    private SourceConfiguration Source() =>
        new() { Name = "stick", Folder = Stick, Kind = SourceKind.Stick, Release = ReleasePolicy.Remove, ReleaseAfter = TimeSpan.Zero };
}
