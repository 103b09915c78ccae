using CameraBridge.Configuration;
using Npgsql;

namespace CameraBridge.Persistence.Postgres;

/// <summary>A site's settings as the driver wants them.</summary>
internal static class PostgresConnection
{
    /// <summary>Longest that a connection takes to come about.</summary>
    private const int ConnectSeconds = 10;

    /// <exception cref="IOException">The password cannot be read.</exception>
    /// <exception cref="UnauthorizedAccessException">The password's file may not be read.</exception>
    public static string StringOf(StateServerConfiguration server)
    {
        var settings = new NpgsqlConnectionStringBuilder
        {
            Host = server.Host,
            Port = server.Port,
            Database = server.Database,
            Username = server.User,
            Password = server.Password?.Read(),
            ApplicationName = "camerabridge",
            SslMode = server.Tls switch
            {
                StateTls.Off => SslMode.Disable,
                StateTls.Require => SslMode.Require,
                _ => SslMode.VerifyFull,
            },
            RootCertificate = server.Authorities,
            Timeout = ConnectSeconds,

            // Longer than the server's own limit, so that its word comes first; a server that is gone is left then.
            CommandTimeout = (int)PostgresSession.StatementLimit.TotalSeconds + ConnectSeconds,
            Pooling = false,
            TcpKeepAlive = true,
            MaxAutoPrepare = 250,
            AutoPrepareMinUsages = 2,
            PersistSecurityInfo = false,

            // Details name the values of a row.
            IncludeErrorDetail = false,
        };
        return settings.ConnectionString;
    }
}
