using CameraBridge.Configuration;
using CameraBridge.Persistence;
using Microsoft.Extensions.Time.Testing;
using Xunit;

namespace CameraBridge.Tests.Pipeline;

/// <summary>What tests of a stage stand on: a folder of their own, a clock that stands still, and a state in one file.</summary>
/// <param name="now">What the clock shows; null for a morning at eight.</param>
public abstract class StageTests(DateTimeOffset? now = null) : IAsyncDisposable
{
    private readonly DirectoryInfo _folder = Directory.CreateTempSubdirectory("stage-");
    private IPipelineDatabase? _database;

    protected static CancellationToken Cancellation => TestContext.Current.CancellationToken;

    protected FakeTimeProvider Clock { get; } = new(now ?? new DateTimeOffset(2026, 11, 25, 8, 0, 0, TimeSpan.Zero));

    protected string Folder => _folder.FullName;

    /// <summary>The state, after <see cref="OpenAsync"/>.</summary>
    private protected IPipelineDatabase Database => _database ?? throw new InvalidOperationException("The test has not opened its state.");

    public async ValueTask DisposeAsync()
    {
        await (_database?.DisposeAsync() ?? ValueTask.CompletedTask);
        _folder.Delete(recursive: true);
        GC.SuppressFinalize(this);
    }

    /// <summary>A site with nothing but a spool.</summary>
    private protected static SiteConfiguration Site() => new() { SpoolFolder = Path.GetTempPath(), StateFile = "" };

    private protected async Task OpenAsync(SiteConfiguration? site = null) =>
        _database = await PipelineDatabase.OpenAsync((site ?? Site()) with { StateFile = Path.Combine(Folder, "state.db") }, Clock, Cancellation);
}
