using System.Collections.Concurrent;
using System.Diagnostics.CodeAnalysis;
using CameraBridge.Configuration;
using CameraBridge.Persistence.Sql;
using Npgsql;

namespace CameraBridge.Persistence.Postgres;

/// <summary>
/// The state on a PostgreSQL server, which workers on several machines share. Due times and leases are told by the server's clock. A few connections, each used by
/// one transaction at a time; one that went is replaced by the next that is needed.
/// </summary>
internal sealed class PostgresPipelineDatabase : SqlPipelineDatabase
{
    /// <summary>So often a transaction is begun that meets others; from the third time on it waits for its turn.</summary>
    private const int MostAttempts = 30, AttemptsBeforeTurns = 3;

    /// <summary>Longest wait for one of this worker's own connections.</summary>
    private static readonly TimeSpan PoolLimit = TimeSpan.FromSeconds(30);

    private readonly string _name;
    private readonly Func<string> _connectionString;
    private readonly TimeProvider _clock;
    private readonly TimeProvider? _serverClock;
    private readonly SemaphoreSlim _places;
    private readonly ConcurrentStack<PostgresSession> _idle = [];
    private long _begunAgain;

    private PostgresPipelineDatabase(StateServerConfiguration server, TimeProvider clock, string owner, SpoolIdentity? spool, TimeProvider? serverClock)
        : base(owner, spool)
    {
        _name = server.ToString();
        _connectionString = () => PostgresConnection.StringOf(server);
        _clock = clock;
        _serverClock = serverClock;
        _places = new SemaphoreSlim(server.PoolSize, server.PoolSize);

        // Each transaction keeps a thread while it waits for the server; the pool's own would be waited for when many begin at once.
        ThreadPool.GetMinThreads(out int workers, out int ports);
        ThreadPool.SetMinThreads(Math.Max(workers, server.PoolSize + Environment.ProcessorCount), ports);
    }

    /// <summary>Transactions that were refused since they met others, and were begun again.</summary>
    public long BegunAgain => Interlocked.Read(ref _begunAgain);

    protected override string SkipLocked => "for update skip locked";

    protected override string NoteSeenStatement =>
        """
        insert into known_files (source, place, size, modified_at) values ($1, $2, $3, $4)
        on conflict (source, place, size, modified_at) do update set id = default
        """;

    /// <summary>Opens the state, and brings it to this program's schema.</summary>
    /// <param name="server">Where it is.</param>
    /// <param name="clock">This machine's clock.</param>
    /// <param name="cancellation">Gives up.</param>
    /// <param name="owner">Name that leases are taken under; null for this process.</param>
    /// <param name="spool">The spool that this worker reaches; null where all reach the same.</param>
    /// <param name="serverClock">Null for the server's own time; a test's clock instead of it.</param>
    /// <exception cref="StateUnavailableException">It cannot be reached or used, or is newer than this program.</exception>
    public static async Task<PostgresPipelineDatabase> OpenAsync(
        StateServerConfiguration server, TimeProvider clock, CancellationToken cancellation, string? owner = null, SpoolIdentity? spool = null, TimeProvider? serverClock = null)
    {
        var database = new PostgresPipelineDatabase(server, clock, owner ?? LeaseOwner.Current, spool, serverClock);
        try
        {
            await database.RunAsync(
                session =>
                {
                    Migrations.Apply(session, database._name, clock.GetUtcNow());
                    return true;
                },
                cancellation).ConfigureAwait(false);
            return database;
        }
        catch (Exception)
        {
            await database.DisposeAsync().ConfigureAwait(false);
            throw;
        }
    }

    public override ValueTask DisposeAsync()
    {
        DropIdle();
        _places.Dispose();
        return ValueTask.CompletedTask;
    }

    protected override Task<T> WriteAsync<T>(Func<StateSession, T> work, CancellationToken cancellation) =>
        TransactAsync(session => session.BeginWrite(), work, cancellation);

    protected override Task<T> ClaimAsync<T>(Func<StateSession, T> work, CancellationToken cancellation) =>
        TransactAsync(session => session.BeginClaim(), work, cancellation);

    protected override Task<T> ReadAsync<T>(Func<StateSession, T> work, CancellationToken cancellation) =>
        TransactAsync(session => session.BeginRead(), work, cancellation);

    private Task<T> TransactAsync<T>(Action<PostgresSession> begin, Func<StateSession, T> work, CancellationToken cancellation) =>
        RunAsync(session => Transact(session, begin, work), cancellation);

    /// <summary>One transaction, begun again as long as it is only refused because of others. Nothing of an attempt that is refused stays.</summary>
    private T Transact<T>(PostgresSession session, Action<PostgresSession> begin, Func<StateSession, T> work)
    {
        bool isTurn = false;
        try
        {
            for (int attempt = 1; ; attempt++)
            {
                bool committing = false;
                try
                {
                    begin(session);
                    T result = work(session);
                    committing = true;
                    session.Commit();
                    return result;
                }
                catch (NpgsqlException lost) when (!committing && PostgresErrors.IsLost(lost))
                {
                    // The server has undone what was begun. Whether a commit was carried out whose answer was lost, nobody knows: that is told to the caller.
                    throw new LostException(lost);
                }
                catch (NpgsqlException refused)
                {
                    session.EndTransaction();
                    if (attempt >= MostAttempts || !PostgresErrors.MeetsOthers(refused))
                    {
                        throw;
                    }

                    if (!session.IsUsable)
                    {
                        throw new LostException(refused);
                    }
                }
                catch (Exception)
                {
                    session.EndTransaction();
                    throw;
                }

                Interlocked.Increment(ref _begunAgain);
                if (attempt >= AttemptsBeforeTurns && !isTurn)
                {
                    isTurn = true;
                    TakeTurn(session);
                }
            }
        }
        finally
        {
            if (isTurn)
            {
                session.EndTurn();
            }
        }
    }

    private static void TakeTurn(PostgresSession session)
    {
        try
        {
            session.TakeTurn();
        }
        catch (NpgsqlException lost) when (PostgresErrors.IsLost(lost))
        {
            throw new LostException(lost);
        }
    }

    /// <summary>Runs on a connection of the pool. One that was lost before anything was committed is replaced once: after a restart all that are idle are dead.</summary>
    private async Task<T> RunAsync<T>(Func<PostgresSession, T> work, CancellationToken cancellation)
    {
        if (!await _places.WaitAsync(PoolLimit, cancellation).ConfigureAwait(false))
        {
            throw new StateUnavailableException(FormattableString.Invariant(
                $"The state on {_name} is waited for by more than this worker's pool of connections can serve ({PoolLimit.TotalSeconds:0} s): raise pool_size; the work goes on by itself."));
        }

        try
        {
            return await Task.Run(() => RunOnPool(work), CancellationToken.None).ConfigureAwait(false);
        }
        finally
        {
            _places.Release();
        }
    }

    private T RunOnPool<T>(Func<PostgresSession, T> work)
    {
        try
        {
            try
            {
                return RunOnce(work);
            }
            catch (LostException)
            {
                DropIdle();
                return RunOnce(work);
            }
        }
        catch (LostException lost)
        {
            throw PostgresErrors.Translate(lost.InnerException!, _name) ?? lost.InnerException!;
        }
        catch (Exception error) when (error is NpgsqlException or TimeoutException)
        {
            if (PostgresErrors.Translate(error, _name) is { } told)
            {
                throw told;
            }

            throw;
        }
    }

    [SuppressMessage("Reliability", "CA2000:Dispose objects before losing scope", Justification = "A session that is sound goes back to the idle ones; any other is disposed of.")]
    private T RunOnce<T>(Func<PostgresSession, T> work)
    {
        PostgresSession session = _idle.TryPop(out PostgresSession? idle) ? idle : OpenSession();
        bool keep = false;
        try
        {
            T result = work(session);
            keep = true;
            return result;
        }
        catch (NpgsqlException error)
        {
            keep = !PostgresErrors.SpoilsConnection(error);
            throw;
        }
        finally
        {
            if (keep && session.IsUsable)
            {
                _idle.Push(session);
            }
            else
            {
                session.Dispose();
            }
        }
    }

    private PostgresSession OpenSession()
    {
        try
        {
            return PostgresSession.Open(_connectionString(), _clock, _serverClock);
        }
        catch (Exception unreadable) when (unreadable is IOException or UnauthorizedAccessException)
        {
            throw new StateUnavailableException(
                $"The state on {_name} cannot be opened, since the password cannot be read: {unreadable.Message.TrimEnd('.')}. Correct password_file or password_variable, and see that the service's user may read it.",
                unreadable);
        }
    }

    private void DropIdle()
    {
        while (_idle.TryPop(out PostgresSession? session))
        {
            session.Dispose();
        }
    }

    /// <summary>The connection went before anything was committed.</summary>
    private sealed class LostException(NpgsqlException lost) : Exception(lost.Message, lost);
}
