using System.Net.Sockets;
using System.Security.Authentication;
using Npgsql;

namespace CameraBridge.Persistence.Postgres;

/// <summary>
/// Tells what the server cannot do now from what is a mistake of the program (codes: PostgreSQL 15, Appendix A, "PostgreSQL Error Codes"). Sentences name the
/// server and never the password; a server's own words are repeated without its details, which could be a patient's.
/// </summary>
internal static class PostgresErrors
{
    /// <returns>What to tell the operator, or null when the error is none of the server's.</returns>
    public static StateUnavailableException? Translate(Exception error, string state)
    {
        string? sentence = error switch
        {
            PostgresException told => OfServer(told),
            NpgsqlException lost => OfConnection(lost),
            TimeoutException => "does not answer in time: see the server's load and the network; the work goes on by itself",
            InvalidOperationException or ObjectDisposedException => null,
            _ => null,
        };
        string words = error is PostgresException server ? $"{server.SqlState}: {server.MessageText}" : Innermost(error).Message;
        return sentence is null ? null : new StateUnavailableException($"The state on {state} {sentence}. ({words.TrimEnd('.')})", error);
    }

    /// <summary>Whether the transaction had no effect and another attempt may have: it met another one, or lost its connection.</summary>
    public static bool MeetsOthers(Exception error) => error is PostgresException
    {
        SqlState: PostgresErrorCodes.SerializationFailure or PostgresErrorCodes.DeadlockDetected or PostgresErrorCodes.UniqueViolation,
    };

    /// <summary>Whether the connection is of no use any more: also one that leads to a server that became a read-only copy.</summary>
    public static bool SpoilsConnection(Exception error) =>
        error is not PostgresException told
        || told.SqlState is PostgresErrorCodes.ReadOnlySqlTransaction
        || told.SqlState.StartsWith("57P", StringComparison.Ordinal)
        || told.SqlState.StartsWith("08", StringComparison.Ordinal)
        || told.SqlState is "25P03" or "25P02";

    /// <summary>Whether the connection went: by the server's word, or without.</summary>
    public static bool IsLost(Exception error) =>
        error is PostgresException told
            ? told.SqlState is "57P01" or "57P02" or "57P05" or "25P03" || told.SqlState.StartsWith("08", StringComparison.Ordinal)
            : error is NpgsqlException { InnerException: IOException or SocketException or EndOfStreamException };

    private static string? OfServer(PostgresException told) => told.SqlState switch
    {
        "53100" => "is on a disk that is full: free space on the server; the work goes on by itself",
        "53200" or "53400" => "has too little memory or too few resources: see the server's log; the work goes on by itself",
        "53300" => "has no connection left: raise max_connections there, or lower pool_size of its workers; the work goes on by itself",
        "25006" => "is read-only: it is a copy that follows another server, or was set so; name the server that takes writes, or wait for the fail-over; the work goes on by itself",
        "28P01" or "28000" => "refuses the login: see user and password file in the configuration, and the server's pg_hba.conf",
        "3D000" => "has no such database: have it made (createdb), or correct its name in the configuration",
        "42501" => "may not be used by this user: make the user the owner of the database, or give it the rights to create and change tables there",
        "57P01" or "57P02" => "ended the connection since it stops or restarts; the work goes on by itself when it is back",
        "57P03" => "is starting up or recovering; the work goes on by itself when it is ready",
        "57P04" => "had its database removed: restore it, or correct its name in the configuration",
        "57P05" or "25P03" => "ended a connection that had been silent for too long; the work goes on by itself",
        "57014" => FormattableString.Invariant($"took longer than {PostgresSession.StatementLimit.TotalSeconds:0} s for a statement: see the server's load; the work goes on by itself"),
        "55P03" => FormattableString.Invariant($"kept rows locked for more than {PostgresSession.LockLimit.TotalSeconds:0} s: see pg_stat_activity for who holds them; the work goes on by itself"),
        "40001" or "40P01" => "is written by so many at once that this one did not get through; the work goes on by itself",
        "58030" or "58000" => "has a disk error: see the server's log and its disk's health",
        "XX001" or "XX002" => "is damaged: stop the workers and restore the last backup; see the server's log",
        _ when told.SqlState.StartsWith("08", StringComparison.Ordinal) => "lost the connection; the work goes on by itself when it is back",
        _ => null,
    };

    private static string? OfConnection(NpgsqlException lost) => Innermost(lost) switch
    {
        SocketException { SocketErrorCode: SocketError.ConnectionRefused } => "is not running, or does not listen there: start it, or correct host and port; the work goes on by itself",
        SocketException { SocketErrorCode: SocketError.HostNotFound or SocketError.NoData or SocketError.TryAgain } => "has a name that nobody knows: correct the host, or see the name server",
        AuthenticationException => "does not show a certificate that is trusted here: see tls and authorities in the configuration",
        TimeoutException => "does not answer in time: see the server, its load and the network; the work goes on by itself",
        _ => "cannot be reached, or ended the connection: see the server and the network; the work goes on by itself",
    };

    private static Exception Innermost(Exception error)
    {
        while (error.InnerException is { } inner)
        {
            error = inner;
        }

        return error;
    }
}
