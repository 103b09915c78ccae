using System.Collections.Concurrent;
using CameraBridge.Persistence.Sql;
using Microsoft.Data.Sqlite;

namespace CameraBridge.Persistence.Sqlite;

/// <summary>
/// The state in one SQLite file: write-ahead log, every commit durable (synchronous = full). Within a process writers take turns at a gate; between
/// processes at the file's write lock. Readers see the last commit and wait for nobody.
/// </summary>
internal sealed class SqlitePipelineDatabase : SqlPipelineDatabase
{
    private readonly string _file;
    private readonly TimeProvider _clock;
    private readonly SemaphoreSlim _gate = new(1, 1);
    private readonly ConcurrentBag<SqliteSession> _readers = [];
    private SqliteSession? _writer;
    private long _notedAt;
    private long _setBack;

    private SqlitePipelineDatabase(string file, TimeProvider clock, string owner)
        : base(owner)
    {
        _file = file;
        _clock = clock;
    }

    /// <summary>Opens the state, makes it where there is none, and brings it to this program's schema.</summary>
    /// <param name="file">Path of the file; its folder is made where it is missing. Only this user may read it, since it holds patients' data.</param>
    /// <param name="clock">Source of due times and leases.</param>
    /// <param name="cancellation">Gives up.</param>
    /// <param name="owner">Name that leases are taken under; null for this process.</param>
    /// <exception cref="StateUnavailableException">The file cannot be opened, is none of ours, or is newer than this program.</exception>
    public static async Task<SqlitePipelineDatabase> OpenAsync(string file, TimeProvider clock, CancellationToken cancellation, string? owner = null)
    {
        var database = new SqlitePipelineDatabase(file, clock, owner ?? LeaseOwner.Current);
        try
        {
            CreatePrivately(file);
            await database.LockedAsync(
                session =>
                {
                    session.QueryText("pragma journal_mode = wal");
                    Migrations.Apply(session, file, session.NowAt);
                    return true;
                },
                cancellation).ConfigureAwait(false);
            return database;
        }
        catch (Exception unusable) when (unusable is IOException or UnauthorizedAccessException)
        {
            await database.DisposeAsync().ConfigureAwait(false);
            throw new StateUnavailableException(
                $"The state {file} cannot be opened: see that its folder exists, is mounted for writing, and may be written by the service's user. ({unusable.Message})", unusable);
        }
        catch (Exception)
        {
            await database.DisposeAsync().ConfigureAwait(false);
            throw;
        }
    }

    protected override string SkipLocked => "";

    protected override string NoteSeenStatement => "insert or replace into known_files (source, place, size, modified_at) values ($1, $2, $3, $4)";

    public override async ValueTask DisposeAsync()
    {
        await _gate.WaitAsync().ConfigureAwait(false);
        _writer?.Dispose();
        _writer = null;
        while (_readers.TryTake(out SqliteSession? reader))
        {
            reader.Dispose();
        }

        _gate.Dispose();
    }

    /// <inheritdoc/>
    public override Task<TimeSpan> KeepTimeAsync(CancellationToken cancellation) =>
        LockedAsync(
            session =>
            {
                session.BeginWrite();
                try
                {
                    long now = session.Now;
                    long setBack = SqliteTime.Keep(session, now);
                    session.Commit();
                    _notedAt = now;
                    var told = new TimeSpan(_setBack + setBack);
                    _setBack = 0;
                    return told;
                }
                catch (Exception)
                {
                    session.Rollback();
                    throw;
                }
            },
            cancellation);

    private static void CreatePrivately(string file)
    {
        string path = Path.GetFullPath(file);
        Directory.CreateDirectory(Path.GetDirectoryName(path)!);
        if (!File.Exists(path))
        {
            var options = new FileStreamOptions { Mode = FileMode.OpenOrCreate, Access = FileAccess.Write, Share = FileShare.ReadWrite | FileShare.Delete };
            if (!OperatingSystem.IsWindows())
            {
                options.UnixCreateMode = UnixFileMode.UserRead | UnixFileMode.UserWrite;
            }

            using var made = new FileStream(path, options);
        }
    }

    /// <inheritdoc/>
    protected override Task<T> WriteAsync<T>(Func<StateSession, T> work, CancellationToken cancellation) =>
        LockedAsync(
            session =>
            {
                session.BeginWrite();
                try
                {
                    long now = session.Now;
                    bool notes = Math.Abs(now - _notedAt) >= SqliteTime.NoteInterval.Ticks;
                    long setBack = notes ? SqliteTime.Keep(session, now) : 0;
                    T result = work(session);
                    session.Commit();
                    _notedAt = notes ? now : _notedAt;
                    _setBack += setBack;
                    return result;
                }
                catch (Exception)
                {
                    session.Rollback();
                    throw;
                }
            },
            cancellation);

    private async Task<T> LockedAsync<T>(Func<StateSession, T> work, CancellationToken cancellation)
    {
        await _gate.WaitAsync(cancellation).ConfigureAwait(false);
        try
        {
            _writer ??= SqliteSession.Open(_file, _clock);
            return work(_writer);
        }
        catch (SqliteException error)
        {
            if (SqliteErrors.SpoilsConnection(error))
            {
                _writer?.Dispose();
                _writer = null;
            }

            if (SqliteErrors.Translate(error, _file) is { } told)
            {
                throw told;
            }

            throw;
        }
        finally
        {
            _gate.Release();
        }
    }

    /// <summary>What goes wrong comes through the task, as from any other database.</summary>
    protected override Task<T> ReadAsync<T>(Func<StateSession, T> work, CancellationToken cancellation)
    {
        if (cancellation.IsCancellationRequested)
        {
            return Task.FromCanceled<T>(cancellation);
        }

        SqliteSession? session = null;
        try
        {
            session = _readers.TryTake(out SqliteSession? idle) ? idle : SqliteSession.Open(_file, _clock);
            session.BeginRead();
            T result = work(session);
            session.Commit();
            _readers.Add(session);
            session = null;
            return Task.FromResult(result);
        }
        catch (SqliteException error)
        {
            return Task.FromException<T>(SqliteErrors.Translate(error, _file) ?? (Exception)error);
        }
        finally
        {
            session?.Dispose();
        }
    }
}
