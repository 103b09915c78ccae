using CameraBridge.Configuration;
using CameraBridge.Persistence.Postgres;
using Npgsql;
using Xunit;

namespace CameraBridge.Tests.Configuration;

/// <summary>The state on a server, as it is written into the configuration.</summary>
public sealed class StateServerTests
{
    private const string Rest = "spool: /var/spool/cb\ndestinations: [{name: pacs, host: pacs, port: 104, called_ae_title: PACS}]\n";

    [Fact]
    public void A_file_stays_a_file()
    {
        SiteConfiguration site = Read("state: /var/lib/cb/state.db\n");

        Assert.Equal("/var/lib/cb/state.db", site.StateFile);
        Assert.Null(site.StateServer);
        Assert.Equal("/var/lib/cb/state.db", site.StateName);
    }

    [Fact]
    public void A_server_has_defaults_and_verifies_by_default()
    {
        StateServerConfiguration server = Read("state:\n  host: db.hospital.example\n").StateServer!;

        Assert.Equal(("db.hospital.example", 5432, "camerabridge", "camerabridge", StateTls.Verify, 10), (server.Host, server.Port, server.Database, server.User, server.Tls, server.PoolSize));
        Assert.Equal("PostgreSQL db.hospital.example:5432/camerabridge", server.ToString());
        Assert.Equal(SslMode.VerifyFull, new NpgsqlConnectionStringBuilder(PostgresConnection.StringOf(server)).SslMode);
    }

    [Fact]
    public void The_password_comes_from_its_place_and_is_shown_nowhere()
    {
        string file = Path.GetTempFileName();
        File.WriteAllText(file, "secret;Host=elsewhere\n");
        try
        {
            ConfigurationFile read = ConfigurationFile.Parse($"state:\n  host: 127.0.0.1\n  password_file: {file}\n  tls: off\n  pool_size: 3\n{Rest}", "site.yaml");
            StateServerConfiguration server = read.Site!.StateServer!;

            var settings = new NpgsqlConnectionStringBuilder(PostgresConnection.StringOf(server));
            Assert.Equal(("secret;Host=elsewhere", "127.0.0.1", SslMode.Disable), (settings.Password, settings.Host, settings.SslMode));
            Assert.DoesNotContain(read.Settings, setting => setting.Value.Contains("secret", StringComparison.Ordinal));
            Assert.Contains(read.Settings, setting => setting.Key == "state.password_file" && setting.Value == file);
            Assert.DoesNotContain("secret", server.ToString(), StringComparison.Ordinal);
        }
        finally
        {
            File.Delete(file);
        }
    }

    [Theory]
    [InlineData("Host=db;Username=x;Password=hunter2")]
    [InlineData("postgres://x:hunter2@db/camerabridge")]
    public void An_address_that_other_programs_take_is_told_from_a_file_and_its_password_is_not_repeated(string address)
    {
        ConfigurationFile read = ConfigurationFile.Parse($"state: \"{address}\"\n{Rest}", "site.yaml");

        string problem = Assert.Single(read.Problems).ToString();
        Assert.Contains("(not shown): is no file but looks like the address of a server", problem, StringComparison.Ordinal);
        Assert.DoesNotContain("hunter2", problem, StringComparison.Ordinal);
    }

    [Theory]
    [InlineData("state:\n  port: 5432\n", "state.host", "is missing")]
    [InlineData("state:\n  host: db\n  pasword_file: /x\n", "state.pasword_file", "is no setting here")]
    [InlineData("state:\n  host: db\n  tls: maybe\n", "state.tls", "is none of the choices")]
    [InlineData("state:\n  host: 'http://db'\n", "state.host", "is no name of a machine")]
    [InlineData("state:\n  host: db\n  pool_size: 1\n", "state.pool_size", "")]
    [InlineData("state:\n  host: db\n  password_file: /x\n  password_variable: X\n", "state.password_file", "stands beside password_variable")]
    [InlineData("state:\n  host: db\n  tls: require\n  authorities: /x\n", "state.authorities", "is of no use")]
    [InlineData("", "state", "is missing")]
    public void Every_mistake_is_told_at_its_place(string state, string key, string words)
    {
        ConfigurationFile read = ConfigurationFile.Parse(state + Rest, "site.yaml");

        ConfigurationProblem problem = Assert.Single(read.Problems);
        Assert.Equal(key, problem.Key);
        Assert.Contains(words, problem.What, StringComparison.Ordinal);
    }

    private static SiteConfiguration Read(string state)
    {
        ConfigurationFile read = ConfigurationFile.Parse(state + Rest, "site.yaml");
        Assert.Empty(read.Problems);
        return read.Site!;
    }
}
