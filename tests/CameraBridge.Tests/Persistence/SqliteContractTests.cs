using CameraBridge.Persistence;
using CameraBridge.Persistence.Sql;
using CameraBridge.Persistence.Sqlite;
using CameraBridge.Pipeline;
using Microsoft.Data.Sqlite;
using Xunit;

namespace CameraBridge.Tests.Persistence;

/// <summary>The contract on SQLite, and what only a file can do: be newer, damaged, read-only, full, or killed in mid-transaction.</summary>
public sealed class SqliteContractTests : DatabaseContract
{
    private static readonly TimeSpan HoldTime = TimeSpan.FromMinutes(1);

    private readonly DirectoryInfo _folder = Directory.CreateTempSubdirectory("state-");

    private string StateFile => Path.Combine(_folder.FullName, "deep", "state.db");

    private static CancellationToken Cancellation => TestContext.Current.CancellationToken;

    internal override async Task<IPipelineDatabase> OpenAsync(string? owner = null) =>
        await SqlitePipelineDatabase.OpenAsync(StateFile, Clock, Cancellation, owner);

    protected override ValueTask DisposeStateAsync()
    {
        _folder.Delete(recursive: true);
        return ValueTask.CompletedTask;
    }

    [Fact]
    public async Task Every_connection_makes_its_commits_durable_and_waits_for_locks()
    {
        await OpenedAsync();
        using var session = SqliteSession.Open(StateFile, TimeProvider.System);

        Assert.Equal("wal", session.QueryText("pragma journal_mode"));
        Assert.Equal(2, session.QueryNumber("pragma synchronous")); // 2 = FULL, https://www.sqlite.org/pragma.html#pragma_synchronous
        Assert.Equal(10_000, session.QueryNumber("pragma busy_timeout"));
        Assert.Equal(1, session.QueryNumber("pragma foreign_keys"));
    }

    [Fact]
    public async Task Only_the_services_user_may_read_the_state()
    {
        if (OperatingSystem.IsWindows())
        {
            Assert.Skip("Windows has no mode bits");
            return;
        }

        IPipelineDatabase database = await OpenedAsync();
        await AddAsync(database, "1/a.jpg");

        foreach (string file in Directory.GetFiles(Path.GetDirectoryName(StateFile)!))
        {
            Assert.Equal(UnixFileMode.UserRead | UnixFileMode.UserWrite, File.GetUnixFileMode(file));
        }
    }

    [Fact]
    public async Task Eight_openers_at_once_make_one_schema()
    {
        IPipelineDatabase[] databases = await Task.WhenAll(Enumerable.Range(0, 8).Select(_ => Task.Run(() => OpenAsync(), Cancellation)));
        foreach (IPipelineDatabase database in databases)
        {
            await database.DisposeAsync();
        }

        using var session = SqliteSession.Open(StateFile, TimeProvider.System);
        Assert.Equal(Migrations.Newest, session.QueryNumber("select max(version) from schema_versions"));
        Assert.Equal(
            typeof(Migrations).Assembly.GetManifestResourceNames().Count(resource => resource.EndsWith(".sql", StringComparison.Ordinal)),
            session.QueryNumber("select count(*) from schema_versions"));
    }

    [Fact]
    public async Task Who_had_something_sent_again_is_kept_with_what_it_was_before()
    {
        IPipelineDatabase database = await OpenedAsync();
        await QueuedSittingAsync(database, ["1/a.jpg"], "archive");
        foreach (string person in (string[])["R. Example", "S. Example"])
        {
            Work work = Assert.Single(await LeaseAsync(database, Stage.Deliveries, "archive"));
            await database.CompleteDeliveriesAsync([new DeliveryResult(work, DeliveryState.Refused, 0xA900, $"refused before {person}", null)], Cancellation);
            await database.SendAgainAsync(["archive"], null, person, Cancellation);
        }

        using var session = SqliteSession.Open(StateFile, TimeProvider.System);
        Assert.Equal(
            ["R. Example: Refused, refused before R. Example", "S. Example: Refused, refused before S. Example"],
            session.Query("select decided_by || ': ' || state || ', ' || outcome from redeliveries order by id", reader => reader.GetString(0)));
    }

    [Fact]
    public async Task A_state_written_by_a_newer_program_is_refused()
    {
        await (await OpenAsync()).DisposeAsync();
        using (var session = SqliteSession.Open(StateFile, TimeProvider.System))
        {
            session.Execute("insert into schema_versions (version, name, applied_at) values (9999, 'later', 0)");
        }

        StateUnavailableException refused = await Assert.ThrowsAsync<StateUnavailableException>(() => OpenAsync());

        Assert.Contains(StateFile, refused.Message, StringComparison.Ordinal);
        Assert.Contains("newer CameraBridge (schema 9999", refused.Message, StringComparison.Ordinal);
    }

    [Fact]
    public async Task A_transaction_cut_off_by_a_crash_leaves_nothing_behind()
    {
        IPipelineDatabase database = await OpenedAsync();
        await AddAsync(database, "1/a.jpg");
        using (var crashed = SqliteSession.Open(StateFile, TimeProvider.System))
        {
            crashed.Execute("begin immediate");
            crashed.Execute("delete from work");
            crashed.Execute("delete from captures");
        }

        Assert.Single(await LeaseAsync(database, Stage.Cues));
    }

    [Fact]
    public async Task A_file_that_is_no_database_is_told_with_the_file_and_the_next_step()
    {
        Directory.CreateDirectory(Path.GetDirectoryName(StateFile)!);
        await File.WriteAllTextAsync(StateFile, new string('x', 8192), Cancellation);

        StateUnavailableException told = await Assert.ThrowsAsync<StateUnavailableException>(() => OpenAsync());

        Assert.Contains(StateFile, told.Message, StringComparison.Ordinal);
        Assert.Contains("see that the configuration names the right file", told.Message, StringComparison.Ordinal);
    }

    [Fact]
    public async Task A_folder_that_cannot_be_made_is_told_with_the_next_step()
    {
        await File.WriteAllTextAsync(Path.Combine(_folder.FullName, "deep"), "a file where the folder should be", Cancellation);

        StateUnavailableException told = await Assert.ThrowsAsync<StateUnavailableException>(() => OpenAsync());

        Assert.Contains("see that its folder exists", told.Message, StringComparison.Ordinal);
    }

    [Fact]
    public async Task A_full_state_is_told_loses_nothing_and_goes_on_when_there_is_room()
    {
        using SmallDisk? disk = SmallDisk.TryMount(Path.GetDirectoryName(StateFile)!, "2m");
        Assert.SkipWhen(disk is null, "mounting a tmpfs needs the rights of root");
        IPipelineDatabase database = await OpenedAsync();
        await AddAsync(database, "1/a.jpg");
        string ballast = Path.Combine(Path.GetDirectoryName(StateFile)!, "ballast");
        await File.WriteAllBytesAsync(ballast, new byte[1_500_000], Cancellation);

        StateUnavailableException told = await Assert.ThrowsAsync<StateUnavailableException>(
            () => AddAsync(database, [.. Enumerable.Range(0, 2000).Select(i => $"2/{i}.jpg")]));
        Assert.Contains("is on a disk that is full: free space there", told.Message, StringComparison.Ordinal);
        Assert.Contains(StateFile, told.Message, StringComparison.Ordinal);
        Assert.Equal(1, (await database.CountWorkAsync(Cancellation))[Stage.Cues]);

        File.Delete(ballast);
        Assert.DoesNotContain(0, await AddAsync(database, [.. Enumerable.Range(0, 200).Select(i => $"2/{i}.jpg")]));
        await database.DisposeAsync();
        Forget(database);
    }

    [Fact]
    public async Task A_state_on_a_disk_mounted_read_only_is_told_with_the_next_step()
    {
        using SmallDisk? disk = SmallDisk.TryMount(Path.GetDirectoryName(StateFile)!, "2m");
        Assert.SkipWhen(disk is null, "mounting a tmpfs needs the rights of root");
        await (await OpenAsync()).DisposeAsync();
        Assert.True(disk.TryMakeReadOnly());

        StateUnavailableException told = await Assert.ThrowsAsync<StateUnavailableException>(async () =>
        {
            IPipelineDatabase database = await OpenedAsync();
            await AddAsync(database, "1/a.jpg");
        });

        Assert.Contains(StateFile, told.Message, StringComparison.Ordinal);
        Assert.Contains("see that its folder exists, is mounted for writing", told.Message, StringComparison.Ordinal);
    }

    [Fact]
    public async Task What_waits_is_due_no_later_than_before_when_the_clock_was_set_back()
    {
        IPipelineDatabase database = await OpenedAsync();
        await AddAsync(database, "1/a.jpg");
        IReadOnlyList<Work> work = await LeaseAsync(database, Stage.Cues);
        await database.PostponeAsync(work, Clock.GetUtcNow().AddMinutes(1), counts: true, Cancellation);
        Assert.Null(await database.HoldSourceAsync("stick", HoldTime, Cancellation));

        Clock.AdjustTime(Clock.GetUtcNow().AddHours(-1));

        Assert.Equal(TimeSpan.FromHours(1), await database.KeepTimeAsync(Cancellation));
        Assert.Equal(TimeSpan.Zero, await database.KeepTimeAsync(Cancellation));
        Assert.Empty(await LeaseAsync(database, Stage.Cues));
        IPipelineDatabase other = await OpenedAsync("other:1:1");
        Assert.NotNull(await other.HoldSourceAsync("stick", HoldTime, Cancellation));
        Clock.Advance(HoldTime);
        Assert.Single(await LeaseAsync(database, Stage.Cues));
        Assert.Null(await other.HoldSourceAsync("stick", HoldTime, Cancellation));
    }

    [Fact]
    public async Task A_clock_that_was_corrected_by_seconds_or_set_ahead_is_left_to_itself()
    {
        IPipelineDatabase database = await OpenedAsync();
        await database.KeepTimeAsync(Cancellation);
        Clock.AdjustTime(Clock.GetUtcNow().AddSeconds(-5));
        Assert.Equal(TimeSpan.Zero, await database.KeepTimeAsync(Cancellation));
        Clock.AdjustTime(Clock.GetUtcNow().AddHours(1));
        Assert.Equal(TimeSpan.Zero, await database.KeepTimeAsync(Cancellation));

        // Small steps add up.
        Clock.AdjustTime(Clock.GetUtcNow().AddSeconds(-6));
        Assert.Equal(TimeSpan.Zero, await database.KeepTimeAsync(Cancellation));
        Clock.AdjustTime(Clock.GetUtcNow().AddSeconds(-6));
        Assert.Equal(TimeSpan.FromSeconds(12), await database.KeepTimeAsync(Cancellation));
    }

    [Fact]
    public async Task A_damaged_state_is_told_with_the_next_step()
    {
        IPipelineDatabase database = await OpenAsync();
        await AddAsync(database, [.. Enumerable.Range(0, 2000).Select(i => $"1/{i}.jpg")]);
        await database.DisposeAsync();
        await using (FileStream file = File.OpenWrite(StateFile))
        {
            // The first page is left whole, so that the file still opens.
            file.Position = 4096;
            await file.WriteAsync(new byte[file.Length - 4096], Cancellation);
        }

        StateUnavailableException told = await Assert.ThrowsAsync<StateUnavailableException>(async () =>
            await (await OpenedAsync()).GetReportAsync(null, Cancellation));

        Assert.Contains("is damaged: stop the service, keep a copy of the file", told.Message, StringComparison.Ordinal);
    }

    [Theory]
    [InlineData(5, "locked by another process for more than 10 s")]
    [InlineData(8, "read-only")]
    [InlineData(10, "disk error")]
    [InlineData(11, "damaged")]
    [InlineData(13, "disk that is full")]
    [InlineData(14, "cannot be opened")]
    public void Each_trouble_of_the_file_has_its_sentence(int resultCode, string words)
    {
        StateUnavailableException told = SqliteErrors.Translate(new SqliteException("as SQLite says", resultCode), "/var/lib/state.db")!;

        Assert.StartsWith("The state /var/lib/state.db ", told.Message, StringComparison.Ordinal);
        Assert.Contains(words, told.Message, StringComparison.Ordinal);
    }

    /// <summary>SQLITE_READONLY (8): a connection that was opened while the file could not be written stays read-only when it can (sqlite3_open_v2, SQLITE_OPEN_READWRITE).</summary>
    [Fact]
    public void A_connection_that_is_read_only_is_not_used_again() => Assert.True(SqliteErrors.SpoilsConnection(new SqliteException("attempt to write a readonly database", 8)));

    [Fact]
    public void A_mistake_of_the_program_is_no_trouble_of_the_file() =>
        Assert.Null(SqliteErrors.Translate(new SqliteException("constraint", 19), "state.db")); // 19 = SQLITE_CONSTRAINT

    [Fact]
    public void This_process_is_alive_and_a_lease_owner_of_another_shape_is_not_judged()
    {
        Assert.False(LeaseOwner.IsKnownDead(LeaseOwner.Current));
        Assert.False(LeaseOwner.IsKnownDead("whatever"));
        Assert.True(LeaseOwner.IsKnownDead(LeaseOwner.Current + "1"));
    }
}
