using System.Security.Cryptography;
using CameraBridge.Configuration;
using CameraBridge.Persistence;
using CameraBridge.Persistence.Sqlite;
using CameraBridge.Pipeline;
using CameraBridge.Pipeline.Releases;
using CameraBridge.Tests.Persistence;
using CameraBridge.Tests.Pipeline.Captures;
using Microsoft.Extensions.Logging;
using Microsoft.Extensions.Time.Testing;
using Xunit;

namespace CameraBridge.Tests.Pipeline.Releases;

/// <summary>A removal that was begun, and the stick that went before it was done: what is concluded from a file that is not there.</summary>
public sealed class BegunReleasesTests : IAsyncLifetime
{
    private readonly DirectoryInfo _home = Directory.CreateTempSubdirectory("releases-");
    private readonly FakeTimeProvider _clock = new(new DateTimeOffset(2026, 11, 25, 8, 0, 0, TimeSpan.Zero));
    private readonly LogLines _log = new();
    private SqlitePipelineDatabase _database = null!;

    private static CancellationToken Cancellation => TestContext.Current.CancellationToken;

    private string Stick => Path.Combine(_home.FullName, "stick");

    private string Away => Path.Combine(_home.FullName, "away");

    public async ValueTask InitializeAsync() =>
        _database = await SqlitePipelineDatabase.OpenAsync(Path.Combine(_home.FullName, "state.db"), _clock, Cancellation);

    public async ValueTask DisposeAsync()
    {
        await _database.DisposeAsync();
        _log.Dispose();
        _home.Delete(recursive: true);
    }

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
        Assert.False(File.Exists(Path.Combine(Stick, "001", "a.jpg")));
    }

    [Fact]
    public async Task What_is_gone_from_the_stick_whose_last_file_it_was_is_not_waited_for_when_its_removal_was_begun()
    {
        await KeepAsync();
        await BeginAsync();
        Directory.Delete(Path.Combine(Stick, "001"), recursive: true);

        Assert.Equal(0, await RunAsync());
    }

    [Fact]
    public async Task What_is_not_on_a_stick_is_waited_for_when_its_removal_was_not_begun()
    {
        await KeepAsync();
        Directory.Delete(Path.Combine(Stick, "001"), recursive: true);

        Assert.Equal(1, await RunAsync());
    }

    /// <summary>One picture on the stick, which the archive keeps.</summary>
    private async Task KeepAsync()
    {
        // FlowSteps' capture has the size and the hash of 1,000 bytes and of nothing; the state is told of the file that lies here.
        string file = Path.Combine(Directory.CreateDirectory(Path.Combine(Stick, "001")).FullName, "a.jpg");
        byte[] bytes = CaptureRig.Picture(seed: 1, size: 1000);
        await File.WriteAllBytesAsync(file, bytes, Cancellation);
        await FlowSteps.QueueAsync(_database, ["001/a.jpg"], _ => [new StoredPiece([8, 0, 5, 0], null, 0, 4)], "archive");
        using (SqliteSession session = SqliteSession.Open(Path.Combine(_home.FullName, "state.db"), _clock))
        {
            session.Execute("update captures set sha256 = $1", Convert.ToHexStringLower(SHA256.HashData(bytes)));
        }

        Work delivery = Assert.Single(await _database.LeaseAsync(Stage.Deliveries, "archive", 1, TimeSpan.FromMinutes(1), Cancellation));
        await _database.CompleteDeliveriesAsync([new DeliveryResult(delivery, DeliveryState.Stored, 0, "taken", null) { ConfirmAt = _clock.GetUtcNow() }], Cancellation);
        Work confirmation = Assert.Single(await _database.LeaseAsync(Stage.Confirmations, "archive", 1, TimeSpan.FromMinutes(1), Cancellation));
        await _database.CompleteConfirmationsAsync([new ConfirmationResult(confirmation, ConfirmationOutcome.Kept, ConfirmationWay.Query, "kept", null, SendAgainMost: 2)], Cancellation);
    }

    /// <summary>As far as a program that is killed between the journal's entry and the removal.</summary>
    private async Task BeginAsync()
    {
        using SourceTree tree = Assert.Single(SourceTree.Open(Source()));
        Work work = await LeaseAsync();
        Assert.Single(await _database.BeginReleasesAsync([(work, tree.Id)], Cancellation));
        await _database.ReleaseAsync([work], Cancellation);
    }

    /// <returns>Pieces of work that are left.</returns>
    private async Task<int> RunAsync()
    {
        _clock.Advance(ReleasesStage.AwayLookInterval);
        SiteConfiguration site = new() { SpoolFolder = _home.FullName, StateFile = Path.Combine(_home.FullName, "state.db"), Sources = [Source()] };
        await new ReleasesStage(site, _database, _clock, _log.CreateLogger<ReleasesStage>()).RunAsync([await LeaseAsync()], Cancellation);
        return (await _database.GetOpenWorkAsync(null, Cancellation)).Where(work => work.Stage == Stage.Releases).Sum(work => work.Due + work.Later + work.Leased);
    }

    private async Task<Work> LeaseAsync() => Assert.Single(await _database.LeaseAsync(Stage.Releases, "stick", 1, TimeSpan.FromMinutes(1), Cancellation));

    private SourceConfiguration Source() =>
        new() { Name = "stick", Folder = Stick, Kind = SourceKind.Stick, Release = ReleasePolicy.Remove, ReleaseAfter = TimeSpan.Zero };
}
