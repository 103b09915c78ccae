using CameraBridge.Tests.Meta;

namespace CameraBridge.Tests.Peers;

/// <summary>
/// The RIS and archive of npm's dcmjs-dimse (tests/peers/dimse): performed procedure steps, and storage commitment whose reports come in an
/// association without role selection.
/// </summary>
internal static class NodePeer
{
    public const string AETitle = "PEERDIMSE";

    private static readonly TimeSpan Breath = TimeSpan.FromMilliseconds(10);

    /// <param name="reportPort">Where on the loopback reports go to.</param>
    public static Task<PeerProcess> StartAsync(int reportPort = 0)
    {
        string modules = Path.Combine(Repository.Root, "artifacts", "peers", "dimse", "node_modules");
        if (!Directory.Exists(modules))
        {
            throw new DirectoryNotFoundException($"{modules} is not there; tests/run.sh installs it.");
        }

        string script = Path.Combine(Repository.Root, "tests", "peers", "dimse", "peer.js");
        return PeerProcess.StartAsync("node", port => [script, $"{port}", $"{reportPort}"], new Dictionary<string, string> { ["NODE_PATH"] = modules });
    }

    /// <summary>Waits until the peer has said something.</summary>
    public static async Task WaitForAsync(this PeerProcess peer, string words, CancellationToken cancellationToken)
    {
        while (!peer.Output.Contains(words, StringComparison.Ordinal))
        {
            await Task.Delay(Breath, TimeProvider.System, cancellationToken);
        }
    }
}
