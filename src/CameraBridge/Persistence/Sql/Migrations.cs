using System.Data.Common;
using System.Globalization;

namespace CameraBridge.Persistence.Sql;

/// <summary>
/// Brings a state to this program's schema: the embedded migrations/NNNN_name.sql in order, each in a transaction of its own with its row in
/// schema_versions. Forward only. Several processes may start at once: the first does it, the others wait and find it done.
/// </summary>
internal static class Migrations
{
    private const string Prefix = "CameraBridge.Persistence.migrations.";

    /// <summary>The schema version this program knows.</summary>
    public static int Newest { get; } = Embedded().Max(migration => migration.Version);

    /// <param name="session">Has no transaction open.</param>
    /// <param name="state">The file or server, for messages.</param>
    /// <param name="now">Written beside each migration.</param>
    /// <exception cref="StateUnavailableException">The state was written by a newer program.</exception>
    public static void Apply(StateSession session, string state, DateTimeOffset now)
    {
        long found = session.TryQueryVersion();
        foreach ((int version, string name, string resource) in Embedded().Where(migration => migration.Version > found).OrderBy(migration => migration.Version))
        {
            session.BeginMigration();
            try
            {
                session.ExecuteScript(session.ToOwnWords("create table if not exists schema_versions (version integer primary key, name text not null, applied_at integer not null) strict;"));
                if (session.TryQueryVersion() < version)
                {
                    session.ExecuteScript(session.ToOwnWords(Read(resource)));
                    session.Execute("insert into schema_versions (version, name, applied_at) values ($1, $2, $3)", version, name, now.UtcTicks);
                }

                session.Commit();
            }
            catch (DbException)
            {
                session.Rollback();
                throw;
            }
        }

        found = session.TryQueryVersion();
        if (found > Newest)
        {
            throw new StateUnavailableException(FormattableString.Invariant(
                $"The state {state} was written by a newer CameraBridge (schema {found}, this program knows {Newest}): install that version again, or restore the backup made before it."));
        }
    }

    private static IEnumerable<(int Version, string Name, string Resource)> Embedded() =>
        typeof(Migrations).Assembly.GetManifestResourceNames()
            .Where(resource => resource.StartsWith(Prefix, StringComparison.Ordinal))
            .Select(resource => (int.Parse(resource.AsSpan(Prefix.Length, 4), NumberStyles.None, CultureInfo.InvariantCulture), resource[Prefix.Length..], resource));

    private static string Read(string resource)
    {
        using Stream stream = typeof(Migrations).Assembly.GetManifestResourceStream(resource)
            ?? throw new InvalidOperationException($"The program was built without {resource}.");
        using var reader = new StreamReader(stream);
        return reader.ReadToEnd();
    }
}
