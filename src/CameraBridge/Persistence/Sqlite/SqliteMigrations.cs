using System.Globalization;
using CameraBridge.Persistence.Sql;

namespace CameraBridge.Persistence.Sqlite;

/// <summary>
/// Brings the file to this program's schema: the embedded migrations/NNNN_name.sql in order, each in a transaction of its own with its row in
/// schema_versions. Forward only. Several processes may start at once: the first to get the write lock does it, the others find it done.
/// </summary>
internal static class SqliteMigrations
{
    private const string Prefix = "CameraBridge.Persistence.migrations.";

    /// <summary>The schema version this program knows.</summary>
    public static int Newest { get; } = Embedded().Max(migration => migration.Version);

    /// <exception cref="StateUnavailableException">The file was written by a newer program.</exception>
    public static void Apply(StateSession session, string file, DateTimeOffset now)
    {
        session.ExecuteScript("create table if not exists schema_versions (version integer primary key, name text not null, applied_at integer not null) strict");
        foreach ((int version, string name, string resource) in Embedded().OrderBy(migration => migration.Version))
        {
            if (Version(session) >= version)
            {
                continue;
            }

            session.Execute("begin immediate");
            try
            {
                if (Version(session) < version)
                {
                    session.ExecuteScript(Read(resource));
                    session.Execute("insert into schema_versions (version, name, applied_at) values ($1, $2, $3)", version, name, now.UtcTicks);
                }

                session.Execute("commit");
            }
            catch (Microsoft.Data.Sqlite.SqliteException)
            {
                session.Rollback();
                throw;
            }
        }

        if (Version(session) is var found && found > Newest)
        {
            throw new StateUnavailableException(FormattableString.Invariant(
                $"The state {file} was written by a newer CameraBridge (schema {found}, this program knows {Newest}): install that version again, or restore the backup made before it."));
        }
    }

    private static long Version(StateSession session) => session.QueryNumber("select max(version) from schema_versions") ?? 0;

    private static IEnumerable<(int Version, string Name, string Resource)> Embedded() =>
        typeof(SqliteMigrations).Assembly.GetManifestResourceNames()
            .Where(resource => resource.StartsWith(Prefix, StringComparison.Ordinal))
            .Select(resource => (int.Parse(resource.AsSpan(Prefix.Length, 4), NumberStyles.None, CultureInfo.InvariantCulture), resource[Prefix.Length..], resource));

    private static string Read(string resource)
    {
        using Stream stream = typeof(SqliteMigrations).Assembly.GetManifestResourceStream(resource)
            ?? throw new InvalidOperationException($"The program was built without {resource}.");
        using var reader = new StreamReader(stream);
        return reader.ReadToEnd();
    }
}
