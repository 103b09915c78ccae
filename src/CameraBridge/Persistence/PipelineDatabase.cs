using CameraBridge.Configuration;
using CameraBridge.Persistence.Postgres;
using CameraBridge.Persistence.Sqlite;

namespace CameraBridge.Persistence;

/// <summary>Opens the state that a site has chosen.</summary>
internal static class PipelineDatabase
{
    /// <exception cref="StateUnavailableException">It cannot be opened, is none of ours, or is newer than this program.</exception>
    public static async Task<IPipelineDatabase> OpenAsync(SiteConfiguration site, TimeProvider clock, CancellationToken cancellation) =>
        site.StateServer is { } server
            ? await PostgresPipelineDatabase.OpenAsync(server, clock, cancellation, spool: new SpoolIdentity(site.SpoolFolder)).ConfigureAwait(false)
            : await SqlitePipelineDatabase.OpenAsync(site.StateFile, clock, cancellation).ConfigureAwait(false);
}
