using CameraBridge.Configuration;
using CameraBridge.Persistence;
using CameraBridge.Pipeline;
using CameraBridge.Pipeline.Retention;
using CameraBridge.Tests.Persistence;
using Microsoft.Extensions.Logging.Abstractions;
using Xunit;

namespace CameraBridge.Tests.Pipeline.Retention;

/// <summary>Spool files go when every destination has kept their objects long enough, and never before; what is not confirmed stays, whatever its age.</summary>
public sealed class TrimmingTests : StageTests
{
    private static readonly TimeSpan KeepSpool = TimeSpan.FromDays(30), KeepState = TimeSpan.FromDays(365), Moment = TimeSpan.FromMinutes(1);

    private string[] SpoolFiles => [.. Directory.EnumerateFiles(Spool).Select(path => Path.GetFileName(path)!).Order(StringComparer.Ordinal)];

    private string Spool => Path.Combine(Folder, "spool");

    [Fact]
    public async Task What_is_kept_by_every_destination_goes_when_its_time_is_over_and_not_a_moment_before()
    {
        await QueueAsync("1/a.jpg", "1/b.jpg");
        await SettleAsync("archive", "second");

        Clock.Advance(KeepSpool - Moment);
        await TrimAsync();
        Assert.Equal(["1-a.jpg", "1-b.jpg"], SpoolFiles);

        Clock.Advance(Moment * 2);
        await TrimAsync();
        Assert.Empty(SpoolFiles);
    }

    [Fact]
    public async Task What_one_of_two_destinations_has_not_confirmed_stays_however_old_it_is()
    {
        await QueueAsync("1/a.jpg");
        await SettleAsync("archive");

        Clock.Advance(TimeSpan.FromDays(3650));
        await TrimAsync();

        Assert.Equal(["1-a.jpg"], SpoolFiles);
    }

    [Fact]
    public async Task What_is_still_to_be_released_stays()
    {
        await QueueAsync("1/a.jpg");
        await FlowSteps.KeepAsync(Database, "archive", "second");

        Clock.Advance(KeepSpool + Moment);
        await TrimAsync();

        Assert.Equal(["1-a.jpg"], SpoolFiles);
    }

    [Fact]
    public async Task A_file_that_another_picture_of_the_same_content_wrote_anew_stays()
    {
        await QueueAsync("1/a.jpg");
        await SettleAsync("archive", "second");
        Clock.Advance(KeepSpool + Moment);
        File.SetLastWriteTimeUtc(Path.Combine(Spool, "1-a.jpg"), Clock.GetUtcNow().UtcDateTime);

        await TrimAsync();

        Assert.Equal(["1-a.jpg"], SpoolFiles);
    }

    [Fact]
    public async Task Headers_go_long_after_the_files_and_a_stick_that_comes_back_is_known_all_the_same()
    {
        await QueueAsync("1/a.jpg");
        await SettleAsync("archive", "second");
        Clock.Advance(KeepSpool + Moment);
        await TrimAsync();
        Assert.NotEmpty(await PiecesAsync());

        Clock.Advance(KeepState + Moment);
        await TrimAsync();

        Assert.Empty(await PiecesAsync());
        Assert.Equal(1, Assert.Single(await Database.GetReportAsync(null, Cancellation)).Captures.Count(capture => capture.Sha256 == FlowSteps.Capture("1/a.jpg").Sha256));
    }

    private async Task QueueAsync(params string[] places)
    {
        Directory.CreateDirectory(Spool);
        foreach (string place in places)
        {
            string path = Path.Combine(Spool, place.Replace('/', '-'));
            File.WriteAllBytes(path, [1, 2, 3, 4]);
            File.SetLastWriteTimeUtc(path, Clock.GetUtcNow().UtcDateTime);
        }

        await OpenAsync(Site() with { SpoolFolder = Spool });
        await FlowSteps.QueueAsync(
            Database, places, capture => [new StoredPiece([8, 0, 5, 0], null, 0, 4), new StoredPiece(null, capture.SpoolName, 0, 4)], FlowSteps.TransferSyntaxUID, ["archive", "second"]);
    }

    /// <summary>These destinations keep it, and what is to happen to the source has happened.</summary>
    private async Task SettleAsync(params string[] destinations)
    {
        await FlowSteps.KeepAsync(Database, destinations);
        IReadOnlyList<Work> releases = await Database.LeaseAsync(Stage.Releases, "stick", 100, Moment, Cancellation);
        Assert.Empty(await Database.CompleteReleasesAsync([.. releases.Select(work => new ReleaseResult(work, ReleaseState.Left, null))], Cancellation));
    }

    private Task TrimAsync() => new Trimming(
        Site() with { SpoolFolder = Spool, Retention = new RetentionConfiguration { KeepSpool = KeepSpool, KeepState = KeepState } },
        Database,
        Clock,
        NullLogger<Trimming>.Instance).TrimAsync(Cancellation);

    private async Task<IReadOnlyList<StoredPiece>> PiecesAsync() => (await Database.GetObjectAsync(1, Cancellation)).Pieces;
}
