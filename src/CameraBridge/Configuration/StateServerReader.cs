namespace CameraBridge.Configuration;

/// <summary>The vocabulary of a state on a PostgreSQL server.</summary>
internal static class StateServerReader
{
    private const int MostConnections = 200;

    private static readonly StateServerConfiguration Defaults = new() { Host = "" };

    public static StateServerConfiguration Read(SettingReader reader)
    {
        StateServerConfiguration server = new()
        {
            Host = reader.NeedText("host", "Write the name or address of the machine that PostgreSQL runs on, or the folder of its socket, for example /var/run/postgresql.", Host),
            Port = reader.Number("port", Defaults.Port, 1, 65535),
            Database = reader.Text("database", fallback: Defaults.Database) ?? Defaults.Database,
            User = reader.Text("user", fallback: Defaults.User) ?? Defaults.User,
            Password = WebReader.Secret(reader, "password"),
            Tls = reader.Choice("tls", Defaults.Tls),
            Authorities = WebReader.File(reader, "authorities"),
            PoolSize = reader.Number("pool_size", Defaults.PoolSize, 2, MostConnections),
        };
        reader.Done();
        return server;
    }

    /// <summary>What must hold between the settings.</summary>
    public static void Check(StateServerConfiguration server, SettingLog log)
    {
        if (server.Password is { File: not null, Variable: not null })
        {
            log.ReportAt("state.password_file", new ValueFault("stands beside password_variable", "Leave one of the two."));
        }

        if (server.Authorities is not null && server.Tls != StateTls.Verify)
        {
            log.ReportAt("state.authorities", new ValueFault("is of no use unless certificates are verified", "Write tls: verify, or leave it out."));
        }
    }

    private static ValueFault? Host(string text) => text.StartsWith('/') ? SettingValues.WholePath(text) : ConfigurationReader.HostName(text);
}
