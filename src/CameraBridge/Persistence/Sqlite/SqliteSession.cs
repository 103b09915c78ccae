using System.Data.Common;
using CameraBridge.Persistence.Sql;
using Microsoft.Data.Sqlite;

namespace CameraBridge.Persistence.Sqlite;

/// <summary>A connection with the file. Every connection waits for others' locks and makes each commit durable; both are settings of a connection, not of the file.</summary>
internal sealed class SqliteSession : StateSession
{
    /// <summary>Longest wait for another process's write.</summary>
    public static readonly TimeSpan LockLimit = TimeSpan.FromSeconds(10);

    private readonly TimeProvider _clock;

    [System.Diagnostics.CodeAnalysis.SuppressMessage("Reliability", "CA2000:Dispose objects before losing scope", Justification = "The session disposes of its connection.")]
    private SqliteSession(string connectionString, TimeProvider clock)
        : base(new SqliteConnection(connectionString)) => _clock = clock;

    /// <summary>The clock of this machine: a file has none of its own, and all its processes run here.</summary>
    public override long Now => _clock.GetUtcNow().UtcTicks;

    /// <exception cref="SqliteException">The file cannot be opened.</exception>
    public static SqliteSession Open(string file, TimeProvider clock)
    {
        var settings = new SqliteConnectionStringBuilder
        {
            DataSource = file,
            Pooling = false,
            ForeignKeys = true,
            DefaultTimeout = (int)LockLimit.TotalSeconds,
        };
        var session = new SqliteSession(settings.ConnectionString, clock);
        try
        {
            session.Connection.Open();
            session.Execute(FormattableString.Invariant($"pragma busy_timeout = {(int)LockLimit.TotalMilliseconds}"));
            session.Execute("pragma synchronous = full");
            return session;
        }
        catch (SqliteException)
        {
            session.Dispose();
            throw;
        }
    }

    public override void BeginWrite() => Execute("begin immediate");

    public override void BeginRead() => Execute("begin");

    public override void BeginMigration() => BeginWrite();

    public override string ToOwnWords(string script) => script;

    protected override bool HasVersions() => QueryNumber("select 1 from sqlite_master where name = 'schema_versions'") is not null;

    protected override DbParameter CreateParameter(int position) => new SqliteParameter { ParameterName = FormattableString.Invariant($"${position}") };

    protected override string ListRows(int position, bool texts) => FormattableString.Invariant($"select value from json_each(${position})");
}
