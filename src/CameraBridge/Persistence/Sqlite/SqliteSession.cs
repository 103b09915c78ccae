using Microsoft.Data.Sqlite;

namespace CameraBridge.Persistence.Sqlite;

/// <summary>
/// One connection with its prepared statements. Every connection waits for others' locks and makes each commit durable; both are settings of a
/// connection, not of the file. Parameters are $1, $2 ... in the order of the values. Not for two threads at a time.
/// </summary>
internal sealed class SqliteSession : IDisposable
{
    /// <summary>Longest wait for another process's write.</summary>
    public static readonly TimeSpan LockLimit = TimeSpan.FromSeconds(10);

    private readonly SqliteConnection _connection;
    private readonly Dictionary<string, SqliteCommand> _prepared = new(StringComparer.Ordinal);

    private SqliteSession(SqliteConnection connection) => _connection = connection;

    /// <exception cref="SqliteException">The file cannot be opened.</exception>
    public static SqliteSession Open(string file)
    {
        var connection = new SqliteConnection(new SqliteConnectionStringBuilder
        {
            DataSource = file,
            Pooling = false,
            ForeignKeys = true,
            DefaultTimeout = (int)LockLimit.TotalSeconds,
        }.ConnectionString);
        var session = new SqliteSession(connection);
        try
        {
            connection.Open();
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

    /// <returns>Rows changed.</returns>
    public int Execute(string sql, params ReadOnlySpan<object?> values) => Prepare(sql, values).ExecuteNonQuery();

    /// <summary>Several statements, not prepared for use again.</summary>
    public void ExecuteScript(string sql)
    {
        using SqliteCommand command = _connection.CreateCommand();
        SetText(command, sql);
        command.ExecuteNonQuery();
    }

    public List<T> Query<T>(string sql, Func<SqliteDataReader, T> row, params ReadOnlySpan<object?> values)
    {
        using SqliteDataReader reader = Prepare(sql, values).ExecuteReader();
        var rows = new List<T>();
        while (reader.Read())
        {
            rows.Add(row(reader));
        }

        return rows;
    }

    /// <returns>The first column of the first row, or null when there is no row or it is null.</returns>
    public long? QueryNumber(string sql, params ReadOnlySpan<object?> values) => Prepare(sql, values).ExecuteScalar() as long?;

    /// <returns>The first column of the first row, or null when there is no row or it is null.</returns>
    public string? QueryText(string sql, params ReadOnlySpan<object?> values) => Prepare(sql, values).ExecuteScalar() as string;

    /// <summary>Ends the transaction, if one is open, without its changes.</summary>
    public void Rollback()
    {
        try
        {
            Execute("rollback");
        }
        catch (SqliteException)
        {
            // Some errors (a full disk, for one) have ended the transaction already; then there is nothing to roll back.
        }
    }

    public void Dispose()
    {
        foreach (SqliteCommand command in _prepared.Values)
        {
            command.Dispose();
        }

        _connection.Dispose();
    }

    private SqliteCommand Prepare(string sql, ReadOnlySpan<object?> values)
    {
        if (!_prepared.TryGetValue(sql, out SqliteCommand? command))
        {
            command = _connection.CreateCommand();
            _prepared.Add(sql, command);
            SetText(command, sql);
            for (int i = 1; i <= values.Length; i++)
            {
                command.Parameters.Add(new SqliteParameter { ParameterName = FormattableString.Invariant($"${i}") });
            }
        }

        for (int i = 0; i < values.Length; i++)
        {
            command.Parameters[i].Value = values[i] ?? DBNull.Value;
        }

        return command;
    }

    // Statements are constants of this folder and embedded migrations; values travel as parameters only.
    [System.Diagnostics.CodeAnalysis.SuppressMessage(
        "Security", "CA2100:Review SQL queries for security vulnerabilities", Justification = "Every caller passes a constant; values are parameters.")]
    private static void SetText(SqliteCommand command, string sql) => command.CommandText = sql;
}
