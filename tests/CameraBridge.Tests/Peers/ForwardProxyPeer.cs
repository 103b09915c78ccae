using System.Globalization;

namespace CameraBridge.Tests.Peers;

/// <summary>Debian's tinyproxy: a forward proxy that may ask for user and password, and whose log says what went through it.</summary>
internal sealed class ForwardProxyPeer : IAsyncDisposable
{
    public const string User = "proxyuser";

    private readonly PeerProcess process;
    private readonly string log;

    private ForwardProxyPeer(PeerProcess process, string log)
    {
        this.process = process;
        this.log = log;
        Address = new Uri(string.Create(CultureInfo.InvariantCulture, $"http://127.0.0.1:{process.Port}"));
    }

    public Uri Address { get; }

    /// <summary>What it wrote of its requests.</summary>
    public string Log => File.Exists(log) ? File.ReadAllText(log) : "";

    /// <param name="folder">For its files.</param>
    /// <param name="password">Of <see cref="User"/>, without blanks; null where it asks nobody.</param>
    public static async Task<ForwardProxyPeer> StartAsync(string folder, string? password = null)
    {
        Directory.CreateDirectory(folder);
        string configuration = Path.Combine(folder, "tinyproxy.conf"), log = Path.Combine(folder, "tinyproxy.log");
        string[] Configure(int port)
        {
            File.WriteAllText(configuration, string.Create(CultureInfo.InvariantCulture, $"""
                Port {port}
                Listen 127.0.0.1
                Timeout 60
                LogFile "{log}"
                LogLevel Info
                MaxClients 20
                {(password is null ? "" : $"BasicAuth {User} {password}")}

                """));
            return ["-d", "-c", configuration];
        }

        PeerProcess? process = null;
        try
        {
            process = await PeerProcess.StartAsync("/usr/bin/tinyproxy", Configure);
            ForwardProxyPeer peer = new(process, log);
            process = null;
            return peer;
        }
        finally
        {
            await (process?.DisposeAsync() ?? ValueTask.CompletedTask);
        }
    }

    public ValueTask DisposeAsync() => process.DisposeAsync();
}
