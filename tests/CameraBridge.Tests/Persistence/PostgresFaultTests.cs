using System.Collections.Concurrent;
using CameraBridge.Configuration;
using CameraBridge.Persistence;
using CameraBridge.Persistence.Postgres;
using CameraBridge.Pipeline;
using CameraBridge.Tests.Peers;
using Npgsql;
using Xunit;

namespace CameraBridge.Tests.Persistence;

/// <summary>Servers that stop, fill up, turn read-only, refuse, or end sessions in the middle: what is told, that nothing is lost, and that it goes on.</summary>
public sealed class PostgresFaultTests : IAsyncLifetime
{
    private static readonly TimeSpan Lease = TimeSpan.FromMinutes(1);

    private PostgresServer _server = null!;
    private StateServerConfiguration _database = null!;
    private string _password = "";

    private static CancellationToken Cancellation => TestContext.Current.CancellationToken;

    public async ValueTask InitializeAsync()
    {
        _server = await PostgresServer.StartOwnAsync("max_connections=12", "fsync=off");
        _database = await _server.MakeDatabaseAsync();
        _password = _database.Password!.Read();
    }

    public ValueTask DisposeAsync() => _server.DisposeAsync();

    [Theory]
    [InlineData(false)]
    [InlineData(true)]
    public async Task A_server_that_is_stopped_is_told_and_found_again(bool atOnce)
    {
        await using PostgresPipelineDatabase database = await OpenAsync();
        await AddAsync(database, 0);
        await _server.StopAsync(atOnce);

        StateUnavailableException told = await ToldAsync(() => AddAsync(database, 1));
        Assert.Contains("is not running, or does not listen there: start it", told.Message, StringComparison.Ordinal);
        await ToldAsync(() => database.LeaseAsync(Stage.Cues, "", 10, Lease, Cancellation));

        await _server.StartAgainAsync();
        await AddAsync(database, 1);
        Assert.Equal(2, (await database.LeaseAsync(Stage.Cues, "", 10, Lease, Cancellation)).Count);
    }

    [Fact]
    public async Task A_restart_between_two_transactions_is_not_even_noticed()
    {
        await using PostgresPipelineDatabase database = await OpenAsync();
        await Task.WhenAll(Enumerable.Range(0, 4).Select(number => AddAsync(database, number)));
        await _server.StopAsync();
        await _server.StartAgainAsync();

        await Task.WhenAll(Enumerable.Range(4, 4).Select(number => AddAsync(database, number)));

        Assert.Equal(8, (await database.CountWorkAsync(Cancellation))[Stage.Cues]);
    }

    [Fact]
    public async Task Sessions_that_are_ended_in_the_middle_lose_nothing_and_do_nothing_twice()
    {
        const int Captures = 300;
        await using PostgresPipelineDatabase first = await OpenAsync("room-1:1:1");
        await using PostgresPipelineDatabase second = await OpenAsync("room-2:1:1");
        using var done = CancellationTokenSource.CreateLinkedTokenSource(Cancellation);
        int ended = 0;
        Task ending = Task.Run(
            async () =>
            {
                while (!done.IsCancellationRequested)
                {
                    ended += Convert.ToInt32(
                        await _server.ExecuteAsync(
                            "select count(pg_terminate_backend(pid)) from pg_stat_activity where application_name = 'camerabridge' and state <> 'idle' and random() < 0.5"),
                        System.Globalization.CultureInfo.InvariantCulture);
                }
            },
            Cancellation);

        // Both take the same captures, and do the work on them, again and again until the state has taken it.
        var read = new ConcurrentBag<long>();
        await Task.WhenAll(new[] { first, second }.Select(database => Task.Run(
            async () =>
            {
                for (int number = 0; number < Captures; number++)
                {
                    await UntilTakenAsync(() => AddAsync(database, number));
                    foreach (Work work in await UntilTakenAsync(() => database.LeaseAsync(Stage.Cues, "", 4, Lease, Cancellation)))
                    {
                        await UntilTakenAsync(() => database.CompleteCuesAsync([new CaptureReading(work, TimeProvider.System.GetUtcNow(), "file", [])], Cancellation));
                        read.Add(work.SubjectId);
                    }
                }
            },
            Cancellation)));
        await done.CancelAsync();
        await ending;

        Assert.True(ended > 20, $"only {ended} sessions were ended");
        IReadOnlyList<SittingReport> reports = await first.GetReportAsync(null, Cancellation);
        Capture[] captures = [.. reports.SelectMany(report => report.Captures)];
        Assert.Equal(Captures, captures.Length);
        Assert.Equal(Captures, captures.Select(capture => capture.Place).Distinct().Count());
        Assert.Equal(captures.Count(capture => capture.State == CaptureState.Taken), (await first.CountWorkAsync(Cancellation))[Stage.Cues]);
        Assert.Equal(read.Count, read.Distinct().Count());
    }

    [Fact]
    public async Task Whatever_byte_the_line_breaks_at_a_capture_is_there_once_when_it_was_tried_again()
    {
        await using PostgresPipelineDatabase direct = await OpenAsync();
        long whole = 0;
        await using (var counting = new CuttingRelay(_server.Port, _ => long.MaxValue))
        await using (PostgresPipelineDatabase through = await OpenAsync(port: counting.Port))
        {
            await AddAsync(through, 0);
        }

        // From the first byte of a session until beyond its commit; a broken session is replaced once by another, which breaks at the same byte.
        int broken = 0;
        for (int number = 1; whole < 3; number++)
        {
            int limit = number * 97;
            await using var relay = new CuttingRelay(_server.Port, _ => limit);
            try
            {
                await using PostgresPipelineDatabase through = await OpenAsync(port: relay.Port);
                await AddAsync(through, number);
                whole++;
            }
            catch (StateUnavailableException told)
            {
                Assert.DoesNotContain(_password, told.ToString(), StringComparison.Ordinal);
                broken++;
            }

            await AddAsync(direct, number);
            Assert.Equal(number + 1, (await direct.CountWorkAsync(Cancellation))[Stage.Cues]);
        }

        Assert.True(broken > 20, $"only {broken} lines broke");
    }

    [Fact]
    public async Task A_server_that_became_read_only_is_told_and_left_for_one_that_is_not()
    {
        await using PostgresPipelineDatabase database = await OpenAsync();
        await AddAsync(database, 0);
        await SetAsync("default_transaction_read_only", "on");

        StateUnavailableException told = await ToldAsync(() => AddAsync(database, 1));
        Assert.Contains("is read-only: it is a copy that follows another server", told.Message, StringComparison.Ordinal);
        Assert.Contains("25006", told.Message, StringComparison.Ordinal);

        await SetAsync("default_transaction_read_only", "off");
        await AddAsync(database, 1);
    }

    [Fact]
    public async Task A_server_without_a_connection_left_is_told_and_used_again_when_there_is_one()
    {
        await using PostgresPipelineDatabase database = await OpenAsync();
        await _server.ExecuteAsync("select pg_terminate_backend(pid) from pg_stat_activity where application_name = 'camerabridge'");
        var others = new List<NpgsqlConnection>();
        try
        {
            while (others.Count < 100)
            {
                var other = new NpgsqlConnection(PostgresConnection.StringOf(_database));
                others.Add(other);
                await other.OpenAsync(Cancellation);
            }
        }
        catch (PostgresException full)
        {
            Assert.Equal("53300", full.SqlState);
        }

        StateUnavailableException told = await ToldAsync(() => AddAsync(database, 1));
        Assert.Contains("has no connection left: raise max_connections", told.Message, StringComparison.Ordinal);

        foreach (NpgsqlConnection other in others)
        {
            await other.DisposeAsync();
        }

        await UntilTakenAsync(() => AddAsync(database, 1));
    }

    [Fact]
    public async Task A_full_disk_is_told_and_the_work_goes_on_when_there_is_room()
    {
        string folder = Directory.CreateTempSubdirectory("pg-small-").FullName;
        using SmallDisk? disk = SmallDisk.TryMount(folder, "24m");
        Assert.SkipWhen(disk is null, "mounting a tmpfs needs the rights of root");
        await PeerProcess.RunAsync("chown", ["postgres", folder], Cancellation);
        await _server.ExecuteAsync($"create tablespace small location '{folder}'");
        await _server.ExecuteAsync($"alter database {_database.Database} set tablespace small");
        await using PostgresPipelineDatabase database = await OpenAsync();
        await AddAsync(database, 0);
        string ballast = Path.Combine(folder, "ballast");
        await File.WriteAllBytesAsync(ballast, new byte[Math.Max(0, new DriveInfo(folder).AvailableFreeSpace - 100_000)], Cancellation);

        StateUnavailableException told = await ToldAsync(() => database.AddCapturesAsync([.. Enumerable.Range(1, 5000).Select(Capture)], Lease, Cancellation));
        Assert.Contains("is on a disk that is full: free space on the server", told.Message, StringComparison.Ordinal);
        Assert.Equal(1, (await database.CountWorkAsync(Cancellation))[Stage.Cues]);

        File.Delete(ballast);
        Assert.DoesNotContain(0, await database.AddCapturesAsync([.. Enumerable.Range(1, 500).Select(Capture)], Lease, Cancellation));
        await _server.DropAsync(_database);
        await _server.ExecuteAsync("drop tablespace small");
    }

    [Fact]
    public async Task Rows_that_somebody_else_keeps_locked_are_told_and_others_work_is_leased_meanwhile()
    {
        await using PostgresPipelineDatabase database = await OpenAsync();
        await AddAsync(database, 0);
        await AddAsync(database, 1);
        Work first = Assert.Single(await database.LeaseAsync(Stage.Cues, "", 1, Lease, Cancellation));
        await using var holder = new NpgsqlConnection(PostgresConnection.StringOf(_database));
        await holder.OpenAsync(Cancellation);
        await using (var command = new NpgsqlCommand("begin; select * from work for update", holder))
        {
            await command.ExecuteNonQueryAsync(Cancellation);
        }

        // What another transaction has in hand is passed by, not waited for.
        Assert.Empty(await database.LeaseAsync(Stage.Cues, "", 1, Lease, Cancellation));
        StateUnavailableException told = await ToldAsync(() => database.CompleteCuesAsync([new CaptureReading(first, TimeProvider.System.GetUtcNow(), "file", [])], Cancellation));
        Assert.Contains("kept rows locked for more than 10 s: see pg_stat_activity", told.Message, StringComparison.Ordinal);

        await holder.CloseAsync();
        Assert.Empty(await UntilTakenAsync(() => database.CompleteCuesAsync([new CaptureReading(first, TimeProvider.System.GetUtcNow(), "file", [])], Cancellation)));
    }

    [Fact]
    public async Task A_login_that_is_refused_and_a_database_that_is_missing_are_told_without_the_password()
    {
        string wrong = Path.GetTempFileName();
        await File.WriteAllTextAsync(wrong, "not-the-password", Cancellation);
        StateUnavailableException refused = await ToldAsync(() => OpenAsync(_database with { Password = new SecretPlace(wrong, null) }));
        Assert.Contains("refuses the login: see user and password file", refused.Message, StringComparison.Ordinal);
        Assert.DoesNotContain("not-the-password", refused.ToString(), StringComparison.Ordinal);
        File.Delete(wrong);

        StateUnavailableException unread = await ToldAsync(() => OpenAsync(_database with { Password = new SecretPlace(wrong, null) }));
        Assert.Contains("the password cannot be read", unread.Message, StringComparison.Ordinal);
        StateUnavailableException missing = await ToldAsync(() => OpenAsync(_database with { Database = "nowhere" }));
        Assert.Contains("has no such database", missing.Message, StringComparison.Ordinal);
        StateUnavailableException unknown = await ToldAsync(() => OpenAsync(_database with { Host = "no-such-host.invalid" }));
        Assert.Contains("has a name that nobody knows", unknown.Message, StringComparison.Ordinal);
        StateUnavailableException plain = await ToldAsync(() => OpenAsync(_database with { Tls = StateTls.Verify }));
        Assert.StartsWith($"The state on {_database} ", plain.Message, StringComparison.Ordinal);
    }

    [Fact]
    public async Task A_user_without_the_right_to_make_tables_is_told_what_to_grant()
    {
        await _server.ExecuteAsync("create role weak login password 'weak'");
        string file = Path.GetTempFileName();
        await File.WriteAllTextAsync(file, "weak", Cancellation);

        StateUnavailableException told = await ToldAsync(() => OpenAsync(_database with { User = "weak", Password = new SecretPlace(file, null) }));

        Assert.Contains("make the user the owner of the database", told.Message, StringComparison.Ordinal);
        File.Delete(file);
    }

    [Theory]
    [InlineData("53200", "too little memory")]
    [InlineData("57P01", "stops or restarts")]
    [InlineData("57P03", "is starting up")]
    [InlineData("57014", "took longer than 30 s")]
    [InlineData("25P03", "silent for too long")]
    [InlineData("40001", "written by so many at once")]
    [InlineData("58030", "disk error")]
    [InlineData("XX001", "is damaged")]
    [InlineData("08006", "lost the connection")]
    public void Each_trouble_of_the_server_has_its_sentence(string code, string words)
    {
        StateUnavailableException told = PostgresErrors.Translate(new PostgresException("as it says", "ERROR", "ERROR", code, detail: "Key (PatientID)=(P1)"), "PostgreSQL db:5432/cb")!;

        Assert.StartsWith("The state on PostgreSQL db:5432/cb ", told.Message, StringComparison.Ordinal);
        Assert.Contains(words, told.Message, StringComparison.Ordinal);
        Assert.DoesNotContain("P1", told.Message, StringComparison.Ordinal);
    }

    [Fact]
    public void A_mistake_of_the_program_is_no_trouble_of_the_server() =>
        Assert.Null(PostgresErrors.Translate(new PostgresException("constraint", "ERROR", "ERROR", "23503"), "server")); // foreign_key_violation

    private async Task<StateUnavailableException> ToldAsync(Func<Task> work)
    {
        StateUnavailableException told = await Assert.ThrowsAsync<StateUnavailableException>(work);
        Assert.Contains("The state on PostgreSQL ", told.Message, StringComparison.Ordinal);
        Assert.DoesNotContain(_password, told.ToString(), StringComparison.Ordinal);
        return told;
    }

    private static async Task<T> UntilTakenAsync<T>(Func<Task<T>> work)
    {
        while (true)
        {
            try
            {
                return await work();
            }
            catch (StateUnavailableException)
            {
                Cancellation.ThrowIfCancellationRequested();
            }
        }
    }

    private async Task SetAsync(string name, string value)
    {
        await _server.ExecuteAsync($"alter database {_database.Database} set {name} = {value}");
        await _server.ExecuteAsync("select pg_terminate_backend(pid) from pg_stat_activity where application_name = 'camerabridge'");
    }

    private Task<PostgresPipelineDatabase> OpenAsync(string? owner = null, int? port = null) => OpenAsync(_database with { Port = port ?? _database.Port }, owner);

    private static Task<PostgresPipelineDatabase> OpenAsync(StateServerConfiguration server, string? owner = null) =>
        PostgresPipelineDatabase.OpenAsync(server, TimeProvider.System, Cancellation, owner);

    private static Task<IReadOnlyList<long>> AddAsync(PostgresPipelineDatabase database, int number) => database.AddCapturesAsync([Capture(number)], Lease, Cancellation);

    private static Capture Capture(int number) =>
        FlowSteps.Capture(FormattableString.Invariant($"{number / 50}/{number:0000}.jpg")) with { Sha256 = FormattableString.Invariant($"{number:x64}") };
}
