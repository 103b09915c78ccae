using CameraBridge.Configuration;
using CameraBridge.Persistence;
using CameraBridge.Persistence.Postgres;
using CameraBridge.Tests.Peers;
using Xunit;

namespace CameraBridge.Tests.Persistence;

/// <summary>The contract on PostgreSQL, by a clock that the test moves in place of the server's.</summary>
public sealed class PostgresContractTests(SharedPostgres shared) : DatabaseContract
{
    private StateServerConfiguration? _database;

    internal override async Task<IPipelineDatabase> OpenAsync(string? owner = null)
    {
        _database ??= await (await shared.ServerAsync()).MakeDatabaseAsync();
        return await PostgresPipelineDatabase.OpenAsync(_database, Clock, TestContext.Current.CancellationToken, owner, serverClock: Clock);
    }

    protected override async ValueTask DisposeStateAsync()
    {
        if (_database is not null)
        {
            await (await shared.ServerAsync()).DropAsync(_database);
        }
    }
}
