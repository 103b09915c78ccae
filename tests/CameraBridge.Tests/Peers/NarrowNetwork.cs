using System.Globalization;
using System.Net.Sockets;
using System.Text.Json;

namespace CameraBridge.Tests.Peers;

/// <summary>
/// A network namespace of Linux with nothing in it but its own loopback, made narrow by the kernel's token bucket filter and lossy by its packet filter. Programs that
/// run in it meet each other there and nobody else. Needs the rights of root.
/// </summary>
public sealed class NarrowNetwork : IAsyncDisposable
{
    /// <summary>Runs programs in it.</summary>
    public const string Program = "ip";

    // Ethernet's, so that a lost packet is one of many and not the whole object.
    private const int LargestPacket = 1500;

    private const string Rules =
        """
        table inet link {
          counter lost { }
          counter cut { }
          chain fate { type filter hook input priority 0; }
        }
        """;

    private readonly string name;

    private NarrowNetwork(string name) => this.name = name;

    /// <summary>Makes a network.</summary>
    /// <param name="bitsPerSecond">All that may pass in one second, whichever way it goes.</param>
    public static async Task<NarrowNetwork> CreateAsync(long bitsPerSecond)
    {
        NarrowNetwork network = new(string.Create(CultureInfo.InvariantCulture, $"cb{Environment.ProcessId}-{Guid.NewGuid().ToString("N")[..6]}"));
        await RunAsync(Program, "netns", "add", network.name);
        try
        {
            await RunAsync(Program, "-n", network.name, "link", "set", "lo", "up", "mtu", $"{LargestPacket}");
            await RunAsync("tc", "-n", network.name, "qdisc", "add", "dev", "lo", "root", "tbf", "rate", $"{bitsPerSecond}bit", "burst", "16k", "latency", "1s");
            await network.FilterAsync(Rules);
            return network;
        }
        catch
        {
            await network.DisposeAsync();
            throw;
        }
    }

    /// <summary>Arguments of <see cref="Program"/> that run something in this network.</summary>
    public IEnumerable<string> Command(string program, IEnumerable<string> arguments) => ["netns", "exec", name, program, .. arguments];

    /// <summary>Loses some of the packets to and from a port.</summary>
    public Task LoseAsync(int port, int percent) => FilterAsync(string.Create(
        CultureInfo.InvariantCulture,
        $$"""
        add rule inet link fate tcp dport {{port}} numgen random mod 100 < {{percent}} counter name lost drop
        add rule inet link fate tcp sport {{port}} numgen random mod 100 < {{percent}} counter name lost drop
        """));

    /// <summary>Answers whatever goes to a port by a reset, so that connections break.</summary>
    public Task CutAsync(int port) => FilterAsync(string.Create(CultureInfo.InvariantCulture, $"insert rule inet link fate tcp dport {port} counter name cut reject with tcp reset"));

    /// <summary>Nothing is lost or cut any more.</summary>
    public Task MendAsync() => FilterAsync("flush chain inet link fate");

    /// <returns>Packets that were lost, and that were answered by a reset.</returns>
    public async Task<(long Lost, long Cut)> CountAsync()
    {
        using JsonDocument said = JsonDocument.Parse(await InsideAsync("nft", "-j", "list", "counters", "table", "inet", "link"));
        Dictionary<string, long> packets = said.RootElement.GetProperty("nftables").EnumerateArray().Where(one => one.TryGetProperty("counter", out _))
            .Select(one => one.GetProperty("counter")).ToDictionary(counter => counter.GetProperty("name").GetString()!, counter => counter.GetProperty("packets").GetInt64());
        return (packets["lost"], packets["cut"]);
    }

    /// <summary>Connects to a port and lets go of it again.</summary>
    /// <exception cref="SocketException">Nobody accepts there.</exception>
    public async Task ConnectAsync(int port)
    {
        (int code, _) = await PeerProcess.RunAsync(
            Program, Command("bash", ["-c", string.Create(CultureInfo.InvariantCulture, $"exec 3<>/dev/tcp/127.0.0.1/{port}")]), CancellationToken.None);
        if (code != 0)
        {
            throw new SocketException((int)SocketError.ConnectionRefused);
        }
    }

    public async ValueTask DisposeAsync() => await RunAsync(Program, "netns", "delete", name);

    private Task<string> InsideAsync(string program, params IEnumerable<string> arguments) => RunAsync(Program, Command(program, arguments));

    private Task<string> FilterAsync(string rules) => InsideAsync("nft", rules.Split('\n').Length > 1 ? ["-f", WriteRules(rules)] : [rules]);

    private static async Task<string> RunAsync(string program, params IEnumerable<string> arguments)
    {
        (int code, string said) = await PeerProcess.RunAsync(program, arguments, CancellationToken.None);
        return code == 0 ? said : throw new InvalidOperationException($"{program} ended with {code}: {said}");
    }

    private string WriteRules(string rules)
    {
        string file = Path.Combine(Path.GetTempPath(), $"{name}.nft");
        File.WriteAllText(file, rules + "\n");
        return file;
    }
}
