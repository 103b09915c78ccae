using System.Data;
using System.Data.Common;
using System.Text.RegularExpressions;
using CameraBridge.Persistence.Sql;
using Npgsql;

namespace CameraBridge.Persistence.Postgres;

/// <summary>A connection with the server. Its waits have limits on the server, so that neither a lost worker nor a frozen one holds up the others.</summary>
internal sealed partial class PostgresSession : StateSession
{
    /// <summary>Longest that a statement runs.</summary>
    public static readonly TimeSpan StatementLimit = TimeSpan.FromSeconds(30);

    /// <summary>Longest wait for rows that another transaction has in hand.</summary>
    public static readonly TimeSpan LockLimit = TimeSpan.FromSeconds(10);

    /// <summary>A transaction whose worker says nothing for so long (it is frozen, or its machine is gone) is ended by the server.</summary>
    public static readonly TimeSpan SilenceLimit = TimeSpan.FromSeconds(15);

    /// <summary>Longest wait for other workers' migrations.</summary>
    private static readonly TimeSpan MigrationLimit = TimeSpan.FromMinutes(5);

    /// <summary>Any two numbers that no other program uses for its advisory locks.</summary>
    private const long MigrationLock = 0x43616d4272696467, TurnLock = MigrationLock + 1;

    /// <summary>Ticks at 1970-01-01, from where the server counts.</summary>
    private static readonly long Epoch = DateTimeOffset.UnixEpoch.UtcTicks;

    private const string ServerTime = "select (extract(epoch from clock_timestamp()) * 1000000)::bigint";

    private readonly TimeProvider _clock;
    private readonly TimeProvider? _serverClock;
    private long _now;
    private long _ahead;

    [System.Diagnostics.CodeAnalysis.SuppressMessage("Reliability", "CA2000:Dispose objects before losing scope", Justification = "The session disposes of its connection.")]
    private PostgresSession(string connectionString, TimeProvider clock, TimeProvider? serverClock)
        : base(new NpgsqlConnection(connectionString))
    {
        _clock = clock;
        _serverClock = serverClock;
    }

    /// <summary>The server's time, read once at the beginning of the transaction.</summary>
    public override long Now => _now;

    /// <summary>Whether it can be used for another transaction.</summary>
    public bool IsUsable => Connection.State == ConnectionState.Open;

    /// <param name="connectionString">Where to.</param>
    /// <param name="clock">This machine's clock.</param>
    /// <param name="serverClock">Null for the server's own; a test's instead of it.</param>
    /// <exception cref="NpgsqlException">The server cannot be reached, or refuses.</exception>
    public static PostgresSession Open(string connectionString, TimeProvider clock, TimeProvider? serverClock)
    {
        var session = new PostgresSession(connectionString, clock, serverClock);
        try
        {
            session.Connection.Open();

            // Whole tables that are scanned would be locked whole by the serializable check; and no commit may be acknowledged before it is durable, whatever the server's default.
            session.ExecuteScript(FormattableString.Invariant(
                $"""
                set statement_timeout = {StatementLimit.TotalMilliseconds};
                set lock_timeout = {LockLimit.TotalMilliseconds};
                set idle_in_transaction_session_timeout = {SilenceLimit.TotalMilliseconds};
                set tcp_keepalives_idle = 15;
                set tcp_keepalives_interval = 5;
                set tcp_keepalives_count = 3;
                set enable_seqscan = off;
                set jit = off;
                select set_config('synchronous_commit', 'on', false) where current_setting('synchronous_commit') = 'off'
                """));
            return session;
        }
        catch (Exception)
        {
            session.Dispose();
            throw;
        }
    }

    /// <summary>
    /// Serializable: the statements are written as if one transaction wrote at a time, and the server sees to it that what comes out could have come of that. One
    /// that does not fit in is refused (40001) and begun again.
    /// </summary>
    public override void BeginWrite() => Begin("begin isolation level serializable");

    public override void BeginRead() => Begin("begin isolation level repeatable read read only");

    /// <summary>For statements that each decide by the rows they lock.</summary>
    public void BeginClaim() => Begin("begin isolation level read committed");

    public override void BeginMigration()
    {
        Begin("begin isolation level read committed");
        ExecuteScript(FormattableString.Invariant($"set local lock_timeout = {MigrationLimit.TotalMilliseconds}; set local statement_timeout = {MigrationLimit.TotalMilliseconds}"));
        Execute("select pg_advisory_xact_lock($1)", MigrationLock);
    }

    /// <summary>Waits until it is this session's turn among those whose transactions keep being refused.</summary>
    public void TakeTurn() => Execute("select pg_advisory_lock($1)", TurnLock);

    /// <summary>Lets the next one. A connection that went has done so by going.</summary>
    public void EndTurn() => WhileThere(() => Execute("select pg_advisory_unlock($1)", TurnLock));

    /// <summary>Ends a transaction that came to nothing, if the connection is still there.</summary>
    public void EndTransaction() => WhileThere(Rollback);

    public override long ToStateTime(DateTimeOffset? moment) => moment is { } at ? at.UtcTicks + _ahead : Now;

    public override DateTimeOffset ToOwnTime(long ticks) => new(ticks - _ahead, TimeSpan.Zero);

    /// <summary>The few words of SQLite's in which the migrations are written.</summary>
    public override string ToOwnWords(string script)
    {
        script = AutoIncrement().Replace(script, "bigint generated by default as identity primary key");
        script = IntegerWord().Replace(script, "bigint");
        script = BlobWord().Replace(script, "bytea");
        return TableOptions().Replace(script, ");");
    }

    /// <summary>A parameter that is only asked whether it is null has no type that the server could tell: the answer is written instead.</summary>
    protected override string ToOwnWords(string sql, ReadOnlySpan<object?> values)
    {
        if (!sql.Contains(" is null", StringComparison.Ordinal))
        {
            return sql;
        }

        ulong nulls = 0;
        for (int i = 0; i < values.Length; i++)
        {
            nulls |= values[i] is null ? 1UL << i : 0;
        }

        return ParameterIsNull().Replace(sql, found => (nulls >> (found.Groups["position"].ValueSpan[0] - '1') & 1) == 1 ? "true" : "false");
    }

    /// <summary>Its texts know no character 0, which a code in a picture may hold.</summary>
    protected override object ToOwnValue(object value) =>
        value is string text && text.Contains('\0', StringComparison.Ordinal) ? text.Replace('\0', '\uFFFD') : value;

    protected override bool HasVersions() => QueryNumber("select 1 where to_regclass('schema_versions') is not null") is not null;

    protected override DbParameter CreateParameter(int position) => new NpgsqlParameter();

    protected override string ListRows(int position, bool texts) => texts
        ? FormattableString.Invariant($"select value from json_array_elements_text(${position}::json)")
        : FormattableString.Invariant($"select value::bigint from json_array_elements_text(${position}::json)");

    private void WhileThere(Action work)
    {
        try
        {
            if (IsUsable)
            {
                work();
            }
        }
        catch (Exception gone) when (gone is NpgsqlException or InvalidOperationException)
        {
            // It went in this moment: the server has ended everything that hung on it.
            Connection.Close();
        }
    }

    private void Begin(string words)
    {
        // One journey to the server for both.
        long micros = QueryNumber($"{words}; {ServerTime}")!.Value;
        DateTimeOffset own = _clock.GetUtcNow();
        _now = _serverClock?.GetUtcNow().UtcTicks ?? Epoch + (micros * TimeSpan.TicksPerMicrosecond);
        _ahead = _now - own.UtcTicks;
    }

    [GeneratedRegex(@"\$(?<position>[1-9]) is null", RegexOptions.ExplicitCapture)]
    private static partial Regex ParameterIsNull();

    [GeneratedRegex(@"\binteger\s+primary\s+key\s+autoincrement\b")]
    private static partial Regex AutoIncrement();

    [GeneratedRegex(@"\binteger\b")]
    private static partial Regex IntegerWord();

    [GeneratedRegex(@"\bblob\b")]
    private static partial Regex BlobWord();

    [GeneratedRegex(@"\)\s*strict\s*(,\s*without\s+rowid\s*)?;", RegexOptions.ExplicitCapture)]
    private static partial Regex TableOptions();
}
