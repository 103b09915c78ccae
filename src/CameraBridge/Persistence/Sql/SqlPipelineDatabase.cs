using System.Data.Common;
using System.Globalization;
using System.Text.Json;

namespace CameraBridge.Persistence.Sql;

/// <summary>
/// The state in a database that speaks SQL: all statements stand here once, in words that each such database understands; how its transactions run, its
/// time and its errors are its own.
/// </summary>
/// <param name="owner">Name that leases are taken under.</param>
/// <param name="spool">The spool that this worker reaches; null where there is one only.</param>
internal abstract partial class SqlPipelineDatabase(string owner, SpoolIdentity? spool = null) : IPipelineDatabase
{
    private readonly string _owner = owner;
    private readonly SpoolIdentity? _spool = spool;

    public abstract ValueTask DisposeAsync();

    /// <summary>One transaction that may write. Once begun it is carried through, whatever the token says.</summary>
    protected abstract Task<T> WriteAsync<T>(Func<StateSession, T> work, CancellationToken cancellation);

    /// <summary>Reads of one moment: all statements see the same commit.</summary>
    protected abstract Task<T> ReadAsync<T>(Func<StateSession, T> work, CancellationToken cancellation);

    /// <summary>
    /// A transaction on work alone, by statements that each name the lease or skip what others hold. It may be let through beside others where
    /// <see cref="WriteAsync"/> would have it wait or begin again.
    /// </summary>
    protected virtual Task<T> ClaimAsync<T>(Func<StateSession, T> work, CancellationToken cancellation) => WriteAsync(work, cancellation);

    /// <summary>What makes a query of rows that are to be claimed pass by those that another transaction has in hand; "" where there is no other.</summary>
    protected abstract string SkipLocked { get; }

    /// <summary>Notes a known file ($1 to $4: source, place, size, time), as the latest when it is known already.</summary>
    protected abstract string NoteSeenStatement { get; }

    // --- columns --------------------------------------------------------------------------------------------------------------------

    /// <summary>A list of ids as one value, for "in ids($n)".</summary>
    private static string Ids(IEnumerable<long> ids) => JsonSerializer.Serialize(ids);

    private static DateTimeOffset At(DbDataReader reader, int column) => new(reader.GetInt64(column), TimeSpan.Zero);

    private static string? Text(DbDataReader reader, int column) => reader.IsDBNull(column) ? null : reader.GetString(column);

    private static string Iso(DateTimeOffset moment) => moment.ToString("O", CultureInfo.InvariantCulture);

    private static DateTimeOffset FromIso(string text) => DateTimeOffset.ParseExact(text, "O", CultureInfo.InvariantCulture);

    private static T Word<T>(DbDataReader reader, int column)
        where T : struct, Enum => Enum.Parse<T>(reader.GetString(column));
}
