namespace CameraBridge.Tests.Commands;

/// <summary>The configuration of a site for commands that only look at the state: one destination, which nothing listens for.</summary>
internal static class CommandSite
{
    /// <summary>Writes it to <c>site.yaml</c> in the folder; the state is <c>state.db</c> there.</summary>
    public static Task WriteAsync(string folder, CancellationToken cancellation) => File.WriteAllTextAsync(
        Path.Combine(folder, "site.yaml"),
        $"""
        spool: {folder}/spool
        state: {folder}/state.db
        destinations: [{"{ name: archive, host: 127.0.0.1, port: 1, called_ae_title: ARCHIVE }"}]
        """,
        cancellation);
}
