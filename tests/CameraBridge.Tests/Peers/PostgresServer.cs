using System.Globalization;
using System.Security.Cryptography;
using CameraBridge.Configuration;
using Npgsql;
using Testcontainers.PostgreSql;

namespace CameraBridge.Tests.Peers;

/// <summary>
/// A PostgreSQL server for tests. With CAMERABRIDGE_POSTGRES (a connection string of a user who may make databases) it is that one; else a throw-away cluster of
/// the installed programs on a free port of 127.0.0.1; else, where Docker runs, a container. Where none of these is to be had, the test fails.
/// </summary>
public sealed class PostgresServer : IAsyncDisposable
{
    private const string Variable = "CAMERABRIDGE_POSTGRES", User = "camerabridge", ServersUser = "postgres";

    private readonly Cluster? _cluster;
    private readonly PostgreSqlContainer? _container;
    private readonly NpgsqlConnectionStringBuilder _connection;
    private readonly string _passwordFile;
    private readonly List<string> _made = [];

    private PostgresServer(NpgsqlConnectionStringBuilder connection, Cluster? cluster, PostgreSqlContainer? container)
    {
        _connection = connection;
        _cluster = cluster;
        _container = container;
        _passwordFile = Path.Combine(Directory.CreateTempSubdirectory("pg-login-").FullName, "password");
        File.WriteAllText(_passwordFile, connection.Password);
    }

    /// <summary>Where the server is, for connections of the test's own.</summary>
    public int Port => _connection.Port;

    /// <summary>Whether there is a server that a test may share.</summary>
    public static async Task<PostgresServer> StartSharedAsync()
    {
        if (Environment.GetEnvironmentVariable(Variable) is { Length: > 0 } given)
        {
            return new PostgresServer(new NpgsqlConnectionStringBuilder(given), null, null);
        }

        if (Cluster.FindPrograms() is not null)
        {
            return await StartOwnAsync();
        }

        PostgreSqlContainer container = new PostgreSqlBuilder("postgres:15").WithUsername(User).Build();
        await container.StartAsync();
        return new PostgresServer(new NpgsqlConnectionStringBuilder(container.GetConnectionString()), null, container);
    }

    /// <summary>A server of the test's own, which it may stop, start and fill. Needs the programs.</summary>
    /// <param name="settings">"name=value" of postgresql.conf.</param>
    public static async Task<PostgresServer> StartOwnAsync(params string[] settings)
    {
        Cluster cluster = await Cluster.CreateAsync(settings);
        return new PostgresServer(
            new NpgsqlConnectionStringBuilder
            {
                Host = "127.0.0.1",
                Port = cluster.Port,
                Username = User,
                Password = cluster.Password,
                Database = "postgres",
                SslMode = SslMode.Disable,
            },
            cluster,
            null);
    }

    /// <summary>Makes an empty database.</summary>
    internal async Task<StateServerConfiguration> MakeDatabaseAsync(int poolSize = 4)
    {
        string name = $"cb_{Convert.ToHexStringLower(RandomNumberGenerator.GetBytes(8))}";
        await ExecuteAsync($"create database {name}");
        lock (_made)
        {
            _made.Add(name);
        }

        return new StateServerConfiguration
        {
            Host = _connection.Host!,
            Port = _connection.Port,
            Database = name,
            User = _connection.Username!,
            Password = new SecretPlace(_passwordFile, null),
            Tls = StateTls.Off,
            PoolSize = poolSize,
        };
    }

    /// <summary>Drops a database, whoever is connected.</summary>
    internal Task DropAsync(StateServerConfiguration database) => ExecuteAsync($"drop database if exists {database.Database} with (force)");

    /// <summary>Runs a statement as the server's owner.</summary>
    /// <returns>The first value of its first row.</returns>
    [System.Diagnostics.CodeAnalysis.SuppressMessage(
        "Security", "CA2100:Review SQL queries for security vulnerabilities", Justification = "Tests write their own statements.")]
    public async Task<object?> ExecuteAsync(string sql, string? database = null)
    {
        await using NpgsqlConnection connection = await ConnectAsync(database);
        await using var command = new NpgsqlCommand(sql, connection);
        return await command.ExecuteScalarAsync();
    }

    /// <summary>A connection of the server's owner, for whoever asks often.</summary>
    public async Task<NpgsqlConnection> ConnectAsync(string? database = null)
    {
        var settings = new NpgsqlConnectionStringBuilder(_connection.ConnectionString) { Pooling = false };
        settings.Database = database ?? settings.Database;
        var connection = new NpgsqlConnection(settings.ConnectionString);
        try
        {
            await connection.OpenAsync();
            return connection;
        }
        catch
        {
            await connection.DisposeAsync();
            throw;
        }
    }

    /// <summary>Stops the server: at once, as by a failure, or after its sessions were told.</summary>
    public Task StopAsync(bool atOnce = false) => Own.StopAsync(atOnce);

    public Task StartAgainAsync() => Own.StartAsync();

    public async ValueTask DisposeAsync()
    {
        if (_cluster is not null)
        {
            await _cluster.DisposeAsync();
        }
        else if (_container is not null)
        {
            await _container.DisposeAsync();
        }
        else
        {
            foreach (string name in _made)
            {
                await ExecuteAsync($"drop database if exists {name} with (force)");
            }
        }

        Directory.Delete(Path.GetDirectoryName(_passwordFile)!, recursive: true);
    }

    private Cluster Own => _cluster ?? throw new InvalidOperationException("This server is not the test's own.");

    /// <summary>A cluster of the installed programs, run by the user postgres where the tests are root's, since the server refuses root.</summary>
    private sealed class Cluster : IAsyncDisposable
    {
        private readonly string _programs;
        private readonly string _folder;

        private Cluster(string programs, string folder)
        {
            _programs = programs;
            _folder = folder;
        }

        public int Port { get; } = PeerProcess.FreePort();

        public string Password { get; } = Convert.ToHexStringLower(RandomNumberGenerator.GetBytes(12));

        private string Data => Path.Combine(_folder, "data");

        /// <summary>The folder of the programs of the newest version that is installed; null when none is.</summary>
        public static string? FindPrograms() =>
            Directory.Exists("/usr/lib/postgresql")
                ? Directory.EnumerateDirectories("/usr/lib/postgresql")
                    .OrderByDescending(version => int.TryParse(Path.GetFileName(version), NumberStyles.None, CultureInfo.InvariantCulture, out int number) ? number : 0)
                    .Select(version => Path.Combine(version, "bin"))
                    .FirstOrDefault(programs => File.Exists(Path.Combine(programs, "initdb")))
                : null;

        public static async Task<Cluster> CreateAsync(string[] settings)
        {
            string programs = FindPrograms() ?? throw new FileNotFoundException("PostgreSQL's programs are not installed; tests/run.sh installs them.", "initdb");
            var cluster = new Cluster(programs, Directory.CreateTempSubdirectory("pg-").FullName);
            try
            {
                string passwordFile = Path.Combine(cluster._folder, "owner");
                await File.WriteAllTextAsync(passwordFile, cluster.Password);
                if (Environment.IsPrivilegedProcess)
                {
                    await cluster.RunPlainAsync("chown", ["-R", ServersUser, cluster._folder]);
                }

                await cluster.RunAsync("initdb", "--no-sync", "-U", User, "-A", "scram-sha-256", $"--pwfile={passwordFile}", "-D", cluster.Data);
                await File.AppendAllLinesAsync(
                    Path.Combine(cluster.Data, "postgresql.conf"),
                    [
                        FormattableString.Invariant($"port = {cluster.Port}"), "listen_addresses = '127.0.0.1'", $"unix_socket_directories = '{cluster._folder}'",
                        .. settings.Select(setting => setting.Replace("=", " = ", StringComparison.Ordinal)),
                    ]);
                await cluster.StartAsync();
                return cluster;
            }
            catch
            {
                await cluster.DisposeAsync();
                throw;
            }
        }

        public Task StartAsync() => RunAsync("pg_ctl", "-s", "-w", "-t", "60", "-D", Data, "-l", Path.Combine(_folder, "log"), "start");

        public Task StopAsync(bool atOnce) => RunAsync("pg_ctl", "-s", "-w", "-D", Data, "-m", atOnce ? "immediate" : "fast", "stop");

        public async ValueTask DisposeAsync()
        {
            if (File.Exists(Path.Combine(Data, "postmaster.pid")))
            {
                await StopAsync(atOnce: true);
            }

            Directory.Delete(_folder, recursive: true);
        }

        private Task RunAsync(string program, params string[] arguments)
        {
            string path = Path.Combine(_programs, program);
            return Environment.IsPrivilegedProcess ? RunPlainAsync("runuser", ["-u", ServersUser, "--", path, .. arguments]) : RunPlainAsync(path, arguments);
        }

        private async Task RunPlainAsync(string program, string[] arguments)
        {
            // The server that pg_ctl leaves behind keeps its output open: it goes to a file, which ends nobody's waiting.
            string output = Path.Combine(_folder, "output");
            string line = string.Join(' ', arguments.Prepend(program).Select(word => $"'{word}'"));
            (int code, _) = await PeerProcess.RunAsync("/bin/sh", ["-c", $"cd / && {line} > '{output}' 2>&1"], CancellationToken.None);
            if (code != 0)
            {
                throw new InvalidOperationException($"{program} ended with {code}: {await File.ReadAllTextAsync(output)}");
            }
        }
    }
}
