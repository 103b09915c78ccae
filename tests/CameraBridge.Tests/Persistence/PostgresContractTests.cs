using CameraBridge.Configuration;
using CameraBridge.Persistence;
using CameraBridge.Persistence.Postgres;
using CameraBridge.Persistence.Sql;
using CameraBridge.Pipeline;
using Microsoft.Extensions.Time.Testing;
using Xunit;

namespace CameraBridge.Tests.Persistence;

/// <summary>
/// The contract on PostgreSQL, by a clock that the test moves in place of the server's; and what only a server has: its own time, several workers' spools, openers at once.
/// </summary>
public sealed class PostgresContractTests(SharedPostgres shared) : DatabaseContract
{
    private readonly SemaphoreSlim _making = new(1, 1);
    private readonly DirectoryInfo _spools = Directory.CreateTempSubdirectory("spools-");
    private StateServerConfiguration? _database;

    private static CancellationToken Cancellation => TestContext.Current.CancellationToken;

    internal override async Task<IPipelineDatabase> OpenAsync(string? owner = null) =>
        await PostgresPipelineDatabase.OpenAsync(await DatabaseAsync(), Clock, Cancellation, owner, serverClock: Clock);

    protected override async ValueTask DisposeStateAsync()
    {
        _spools.Delete(recursive: true);
        _making.Dispose();
        if (_database is not null)
        {
            await (await shared.ServerAsync()).DropAsync(_database);
        }
    }

    [Fact]
    public async Task Eight_openers_at_once_make_one_schema()
    {
        StateServerConfiguration server = await DatabaseAsync();
        IPipelineDatabase[] databases = await Task.WhenAll(Enumerable.Range(0, 8).Select(opener => Task.Run(() => OpenAsync($"{opener}:1:1"), Cancellation)));

        Assert.Equal((long)Migrations.Newest, await MaxAsync(server, "version"));
        Assert.Single(await AddAsync(databases[7], "1/a.jpg"));
        Assert.Single(await LeaseAsync(databases[0], Stage.Cues));
        foreach (IPipelineDatabase database in databases)
        {
            await database.DisposeAsync();
        }
    }

    [Fact]
    public async Task A_state_written_by_a_newer_program_is_refused()
    {
        await (await OpenAsync()).DisposeAsync();
        StateServerConfiguration server = await DatabaseAsync();
        await (await shared.ServerAsync()).ExecuteAsync("insert into schema_versions (version, name, applied_at) values (9999, 'later', 0)", server.Database);

        StateUnavailableException refused = await Assert.ThrowsAsync<StateUnavailableException>(() => OpenAsync());

        Assert.Contains($"{server} was written by a newer CameraBridge (schema 9999", refused.Message, StringComparison.Ordinal);
    }

    [Fact]
    public async Task Due_times_are_the_servers_whatever_the_workers_clocks_say()
    {
        var ahead = new FakeTimeProvider(TimeProvider.System.GetUtcNow() + TimeSpan.FromHours(3));
        var behind = new FakeTimeProvider(TimeProvider.System.GetUtcNow() - TimeSpan.FromHours(3));
        StateServerConfiguration server = await DatabaseAsync();
        await using PostgresPipelineDatabase early = await PostgresPipelineDatabase.OpenAsync(server, ahead, Cancellation, "early:1:1");
        await using PostgresPipelineDatabase late = await PostgresPipelineDatabase.OpenAsync(server, behind, Cancellation, "late:1:1");
        await AddAsync(early, "1/a.jpg", "1/b.jpg");

        // What is due a moment ago by the one's clock is due for the other, and what is due in an hour is not.
        IReadOnlyList<Work> work = await LeaseAsync(early, Stage.Cues);
        await early.PostponeAsync([work[0]], ahead.GetUtcNow() - TimeSpan.FromSeconds(1), counts: true, Cancellation);
        await early.PostponeAsync([work[1]], ahead.GetUtcNow() + TimeSpan.FromHours(1), counts: true, Cancellation);

        Assert.Equal(work[0].Id, Assert.Single(await LeaseAsync(late, Stage.Cues)).Id);
        await late.PostponeAsync([.. work], behind.GetUtcNow() + TimeSpan.FromHours(2), counts: true, Cancellation);
        TimeSpan wait = (await early.NextDueAsync(Stage.Cues, "", Cancellation))!.Value - ahead.GetUtcNow();
        Assert.InRange(wait, TimeSpan.Zero, TimeSpan.FromHours(1));
    }

    [Fact]
    public async Task Work_that_needs_pictures_is_taken_only_by_those_who_reach_their_spool()
    {
        IPipelineDatabase here = await WithSpoolAsync("room-1/b/n:1:1", "here");
        IPipelineDatabase there = await WithSpoolAsync("room-2/b/n:1:1", "there");
        IPipelineDatabase also = await WithSpoolAsync("room-3/b/n:1:1", "here");
        long sitting = await ClosedSittingAsync(here, "1/a.jpg", "1/b.jpg");

        // A match needs no picture.
        Assert.True(await there.CompleteMatchAsync(Assert.Single(await LeaseAsync(there, Stage.Matches)), MatchOf(sitting), Cancellation));
        Assert.Empty(await LeaseAsync(there, Stage.Objects));
        Assert.Null(await there.NextDueAsync(Stage.Objects, "", Cancellation));
        IReadOnlyList<Capture> captures = await also.GetCapturesOfSittingAsync(sitting, Cancellation);
        Work objects = Assert.Single(await LeaseAsync(also, Stage.Objects));
        Assert.True(await also.CompleteObjectsAsync(objects, [.. captures.Select(ObjectOf)], [], [], Cancellation));

        Assert.Empty(await LeaseAsync(there, Stage.Deliveries, "archive"));
        Assert.Equal([(2, true)], (await there.GetOpenWorkAsync(null, Cancellation)).Select(open => (open.Due, open.IsElsewhere)));
        SpoolStanding waits = Assert.Single(await there.GetSpoolsAsync(Cancellation));
        Assert.Equal(("room-1", Path.Combine(_spools.FullName, "here"), 2, 0, false), (waits.Worker, waits.Folder, waits.Open, waits.InHands, waits.IsOwn));
        Assert.NotNull(waits.DueSince);

        Assert.Equal(2, (await LeaseAsync(also, Stage.Deliveries, "archive")).Count);
        Assert.True(Assert.Single(await also.GetSpoolsAsync(Cancellation)).IsOwn);
    }

    [Fact]
    public async Task A_delivery_that_a_person_sends_again_waits_for_its_own_spool()
    {
        IPipelineDatabase here = await WithSpoolAsync("room-1/b/n:1:1", "here");
        IPipelineDatabase there = await WithSpoolAsync("room-2/b/n:1:1", "there");
        await QueuedSittingAsync(here, ["1/a.jpg"], "archive");
        Work work = Assert.Single(await LeaseAsync(here, Stage.Deliveries, "archive"));
        await here.CompleteDeliveriesAsync([new DeliveryResult(work, DeliveryState.Refused, 0xA900, "no", null)], Cancellation);

        Assert.Single(await there.SendAgainAsync(["archive"], null, "R. Example", Cancellation));

        Assert.Empty(await LeaseAsync(there, Stage.Deliveries, "archive"));
        Assert.Single(await LeaseAsync(here, Stage.Deliveries, "archive"));
    }

    [Fact]
    public async Task A_folder_taken_by_two_workers_in_turn_is_two_sittings_one_in_each_spool()
    {
        IPipelineDatabase first = await WithSpoolAsync("room-1/b/n:1:1", "here");
        IPipelineDatabase second = await WithSpoolAsync("room-2/b/n:1:1", "there");
        long a = Assert.Single(await AddAsync(first, "1/a.jpg"));
        long b = Assert.Single(await AddAsync(second, "1/b.jpg"));
        Assert.Equal(0, Assert.Single(await AddAsync(second, "1/a.jpg")));

        Assert.Equal([a], (await LeaseAsync(first, Stage.Cues)).Select(work => work.SubjectId));
        Assert.Equal([b], (await LeaseAsync(second, Stage.Cues)).Select(work => work.SubjectId));
        IReadOnlyList<SittingReport> sittings = await second.GetReportAsync(null, Cancellation);
        Assert.Equal(2, sittings.Count);
        Assert.Equal(sittings[0].Sitting.Id, sittings[1].Sitting.FollowsSittingId);
    }

    [Fact]
    public async Task A_code_with_a_character_that_the_server_does_not_know_is_kept_without_it()
    {
        IPipelineDatabase database = await OpenedAsync();
        await AddAsync(database, "1/a.jpg");
        await ReadCuesAsync(database, ("1/a.jpg", "P\0X"));

        Assert.Equal("P\uFFFDX", Assert.Single(await database.GetCuesOfSittingAsync(1, Cancellation)).PatientID);
    }

    private async Task<IPipelineDatabase> WithSpoolAsync(string owner, string spool)
    {
        PostgresPipelineDatabase database = await PostgresPipelineDatabase.OpenAsync(
            await DatabaseAsync(), Clock, Cancellation, owner, new SpoolIdentity(Path.Combine(_spools.FullName, spool)), Clock);
        return Opened(database);
    }

    private async Task<object?> MaxAsync(StateServerConfiguration server, string column) =>
        await (await shared.ServerAsync()).ExecuteAsync($"select max({column}) from schema_versions", server.Database);

    private async Task<StateServerConfiguration> DatabaseAsync()
    {
        await _making.WaitAsync(Cancellation);
        try
        {
            return _database ??= await (await shared.ServerAsync()).MakeDatabaseAsync();
        }
        finally
        {
            _making.Release();
        }
    }
}
