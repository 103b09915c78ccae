using Microsoft.Data.Sqlite;

namespace CameraBridge.Persistence.Sqlite;

/// <summary>Tells what the database cannot do now from what is a mistake of the program (result codes: https://www.sqlite.org/rescode.html).</summary>
internal static class SqliteErrors
{
    /// <returns>What to tell the operator, or null when the error is none of the file's.</returns>
    public static StateUnavailableException? Translate(SqliteException error, string file)
    {
        string? sentence = error.SqliteErrorCode switch
        {
            13 => "is on a disk that is full: free space there; the work goes on by itself",
            8 => "is read-only: give the service's user the right to write the file and its folder, or mount the disk for writing",
            3 or 23 => "may not be used by this user: give the service's user the right to read and write the file and its folder",
            14 => "cannot be opened: see that its folder exists, is mounted for writing, and may be written by the service's user",
            5 or 6 => FormattableString.Invariant(
                $"has been locked by another process for more than {SqliteSession.LockLimit.TotalSeconds:0} s: see which one has it open (lsof), and that it is not on a network share"),
            11 => "is damaged: stop the service, keep a copy of the file with its -wal and -shm files, and restore the last backup or recover it (sqlite3 .recover)",
            26 => "is no CameraBridge state: see that the configuration names the right file",
            10 => "cannot be read or written because of a disk error: see the system log, and the disk's health",
            7 => "cannot be used since memory is short: free memory; the work goes on by itself",
            _ => null,
        };
        return sentence is null ? null : new StateUnavailableException(FormattableString.Invariant($"The state {file} {sentence}. ({error.Message})"), error);
    }

    /// <summary>
    /// Whether the connection should not be used again. One that says read-only may have been opened while the file could not be written, and stays so for good.
    /// </summary>
    public static bool SpoilsConnection(SqliteException error) => error.SqliteErrorCode is 8 or 10 or 11 or 14 or 26;
}
