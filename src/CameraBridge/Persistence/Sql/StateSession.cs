using System.Data.Common;
using System.Text.RegularExpressions;

namespace CameraBridge.Persistence.Sql;

/// <summary>
/// One connection with its prepared statements. Parameters are $1, $2 ... in the order of the values; "in ids($1)" and "in texts($1)" look into a list that
/// travels as one JSON value, so that a statement is prepared once whatever the number. Not for two threads at a time.
/// </summary>
internal abstract partial class StateSession(DbConnection connection) : IDisposable
{
    private readonly Dictionary<string, DbCommand> _prepared = new(StringComparer.Ordinal);

    /// <summary>The database's time, in ticks of UTC: what is due and what has lapsed is told by one clock, whoever asks.</summary>
    public abstract long Now { get; }

    /// <summary><see cref="Now"/> as a moment.</summary>
    public DateTimeOffset NowAt => new(Now, TimeSpan.Zero);

    protected DbConnection Connection => connection;

    /// <summary>Begins a transaction that may write.</summary>
    public abstract void BeginWrite();

    /// <summary>Begins a transaction whose statements all see the same commit, and that only reads.</summary>
    public abstract void BeginRead();

    /// <summary>Begins a transaction that may change the schema: one at a time, whoever else starts at this moment.</summary>
    public abstract void BeginMigration();

    /// <summary>A script of the migrations in this database's words.</summary>
    public abstract string ToOwnWords(string script);

    public void Commit() => Execute("commit");

    /// <returns>The number of the last migration; 0 for a state that is empty.</returns>
    public long TryQueryVersion() => HasVersions() ? QueryNumber("select max(version) from schema_versions") ?? 0 : 0;

    /// <summary>
    /// A moment that this machine's clock told, by the database's clock: what is due in five seconds is due then also where the two clocks differ. Null is now.
    /// </summary>
    public virtual long ToStateTime(DateTimeOffset? moment) => moment?.UtcTicks ?? Now;

    /// <summary>The other way round.</summary>
    public virtual DateTimeOffset ToOwnTime(long ticks) => new(ticks, TimeSpan.Zero);

    /// <returns>Rows changed.</returns>
    public int Execute(string sql, params ReadOnlySpan<object?> values) => Prepare(sql, values).ExecuteNonQuery();

    /// <summary>Several statements, not prepared for use again.</summary>
    public void ExecuteScript(string sql)
    {
        using DbCommand command = connection.CreateCommand();
        SetText(command, sql);
        command.ExecuteNonQuery();
    }

    public List<T> Query<T>(string sql, Func<DbDataReader, T> row, params ReadOnlySpan<object?> values)
    {
        using DbDataReader reader = Prepare(sql, values).ExecuteReader();
        var rows = new List<T>();
        while (reader.Read())
        {
            rows.Add(row(reader));
        }

        return rows;
    }

    /// <returns>The first column of the first row, or null when there is no row or it is null.</returns>
    public long? QueryNumber(string sql, params ReadOnlySpan<object?> values) => Prepare(sql, values).ExecuteScalar() switch
    {
        long number => number,
        int number => number,
        _ => null,
    };

    /// <returns>The first column of the first row, or null when there is no row or it is null.</returns>
    public string? QueryText(string sql, params ReadOnlySpan<object?> values) => Prepare(sql, values).ExecuteScalar() as string;

    /// <summary>Ends the transaction, if one is open, without its changes.</summary>
    public void Rollback()
    {
        try
        {
            Execute("rollback");
        }
        catch (DbException)
        {
            // Some errors (a full disk, a lost connection) have ended the transaction already; then there is nothing to roll back.
        }
    }

    public void Dispose()
    {
        Dispose(disposing: true);
        GC.SuppressFinalize(this);
    }

    protected virtual void Dispose(bool disposing)
    {
        foreach (DbCommand command in _prepared.Values)
        {
            command.Dispose();
        }

        connection.Dispose();
    }

    /// <summary>A parameter of this database, number <paramref name="position"/> from 1.</summary>
    protected abstract DbParameter CreateParameter(int position);

    /// <summary>The rows of a list of ids, or of texts, that parameter $<paramref name="position"/> holds as JSON.</summary>
    protected abstract string ListRows(int position, bool texts);

    /// <summary>Whether the table schema_versions is there.</summary>
    protected abstract bool HasVersions();

    /// <summary>The statement as this database is to have it for these values.</summary>
    protected virtual string ToOwnWords(string sql, ReadOnlySpan<object?> values) => sql;

    /// <summary>The value as this database can hold it.</summary>
    protected virtual object ToOwnValue(object value) => value;

    private DbCommand Prepare(string sql, ReadOnlySpan<object?> values)
    {
        sql = ToOwnWords(sql, values);
        if (!_prepared.TryGetValue(sql, out DbCommand? command))
        {
            command = connection.CreateCommand();
            _prepared.Add(sql, command);
            SetText(command, InList().Replace(sql, found =>
                $"in ({ListRows(found.Groups["position"].ValueSpan[0] - '0', found.Groups["kind"].ValueSpan is "texts")})"));
            for (int i = 1; i <= values.Length; i++)
            {
                command.Parameters.Add(CreateParameter(i));
            }
        }

        for (int i = 0; i < values.Length; i++)
        {
            command.Parameters[i].Value = values[i] is { } value ? ToOwnValue(value) : DBNull.Value;
        }

        return command;
    }

    [GeneratedRegex(@"\bin (?<kind>ids|texts)\(\$(?<position>[1-9])\)", RegexOptions.ExplicitCapture)]
    private static partial Regex InList();

    // Statements are constants of this folder and embedded migrations; values travel as parameters only.
    [System.Diagnostics.CodeAnalysis.SuppressMessage(
        "Security", "CA2100:Review SQL queries for security vulnerabilities", Justification = "Every caller passes a constant; values are parameters.")]
    private static void SetText(DbCommand command, string sql) => command.CommandText = sql;
}
