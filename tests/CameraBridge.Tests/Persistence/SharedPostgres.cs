using CameraBridge.Tests.Peers;
using CameraBridge.Tests.Persistence;
using Xunit;

[assembly: AssemblyFixture(typeof(SharedPostgres))]

namespace CameraBridge.Tests.Persistence;

/// <summary>One PostgreSQL server for all tests that only need a database there; started by the first of them.</summary>
public sealed class SharedPostgres : IAsyncDisposable
{
    private readonly Lazy<Task<PostgresServer>> _server = new(PostgresServer.StartSharedAsync);

    public Task<PostgresServer> ServerAsync() => _server.Value;

    public async ValueTask DisposeAsync()
    {
        if (_server.IsValueCreated)
        {
            await (await _server.Value).DisposeAsync();
        }
    }
}
