using System.Diagnostics;
using System.Globalization;
using System.Net;
using System.Net.Sockets;
using System.Text;

namespace CameraBridge.Tests.Peers;

/// <summary>
/// An independent server (dcmtk, Orthanc ...) on a free port of 127.0.0.1: started when a test asks, awaited until it accepts, ended by its
/// process ID when the test is done.
/// </summary>
public sealed class PeerProcess : IAsyncDisposable
{
    private static readonly TimeSpan StartLimit = TimeSpan.FromSeconds(60);
    private static readonly TimeSpan Breath = TimeSpan.FromMilliseconds(20);
    private static readonly Lazy<Task<string>> LoopBind = new(CompileLoopBindAsync);

    private readonly Process process;
    private readonly StringBuilder output = new();

    private readonly NarrowNetwork? network;

    private PeerProcess(Process process, int port, NarrowNetwork? network)
    {
        this.process = process;
        this.network = network;
        Port = port;
        process.OutputDataReceived += (_, line) => Keep(line.Data);
        process.ErrorDataReceived += (_, line) => Keep(line.Data);
    }

    /// <summary>Where it listens on 127.0.0.1.</summary>
    public int Port { get; }

    /// <summary>What it said so far.</summary>
    public string Output
    {
        get
        {
            lock (output)
            {
                return output.ToString();
            }
        }
    }

    /// <summary>Starts a server and waits until it accepts connections.</summary>
    /// <param name="program">Program.</param>
    /// <param name="arguments">Arguments for a port.</param>
    /// <param name="environment">Environment variables on top of ours.</param>
    /// <param name="workingDirectory">Folder to run in.</param>
    /// <param name="network">Runs it on the loopback of this network; null: on the machine's.</param>
    public static async Task<PeerProcess> StartAsync(
        string program,
        Func<int, IEnumerable<string>> arguments,
        IReadOnlyDictionary<string, string>? environment = null,
        string? workingDirectory = null,
        NarrowNetwork? network = null)
    {
        int port = FreePort();
        ProcessStartInfo start = network is null
            ? Describe(program, arguments(port), environment, workingDirectory)
            : Describe(NarrowNetwork.Program, network.Command(program, arguments(port)), environment, workingDirectory);
        start.Environment["LD_PRELOAD"] = await LoopBind.Value;
        Process process = new() { StartInfo = start };
        PeerProcess peer = new(process, port, network);
        try
        {
            process.Start();
            process.BeginOutputReadLine();
            process.BeginErrorReadLine();
            await peer.WaitUntilItAcceptsAsync();
            return peer;
        }
        catch
        {
            await peer.DisposeAsync();
            throw;
        }
    }

    /// <summary>dcmtk's C-STORE receiver.</summary>
    /// <param name="folder">Where it puts objects; null: it throws them away.</param>
    /// <param name="extra">Further options.</param>
    public static Task<PeerProcess> StartReceiverAsync(string? folder, params string[] extra) =>
        StartAsync("storescp", port =>
            [.. folder is null ? (string[])["--ignore"] : ["+B", "-od", folder], "+xa", "-aet", "PEERSTORE", .. extra, $"{port}"]);

    /// <summary>dcmtk's worklist server.</summary>
    /// <param name="database">Folder with a folder for each AE title.</param>
    /// <param name="extra">Further options.</param>
    public static Task<PeerProcess> StartWorklistAsync(string database, params string[] extra) =>
        StartAsync("wlmscpfs", port => ["-v", "-dfp", database, .. extra, $"{port}"]);

    /// <summary>Runs a program to its end.</summary>
    /// <returns>Exit code, and all that it said.</returns>
    public static async Task<(int ExitCode, string Output)> RunAsync(
        string program, IEnumerable<string> arguments, CancellationToken cancellationToken, IReadOnlyDictionary<string, string>? environment = null)
    {
        using Process process = new() { StartInfo = Describe(program, arguments, environment, null) };
        process.Start();
        Task<string> output = process.StandardOutput.ReadToEndAsync(cancellationToken);
        Task<string> error = process.StandardError.ReadToEndAsync(cancellationToken);
        try
        {
            await process.WaitForExitAsync(cancellationToken);
            return (process.ExitCode, await output + await error);
        }
        finally
        {
            if (!process.HasExited)
            {
                process.Kill();
            }
        }
    }

    /// <summary>A port of 127.0.0.1 that nobody has at this moment.</summary>
    public static int FreePort()
    {
        using Socket socket = new(AddressFamily.InterNetwork, SocketType.Stream, ProtocolType.Tcp);
        socket.Bind(new IPEndPoint(IPAddress.Loopback, 0));
        return ((IPEndPoint)socket.LocalEndPoint!).Port;
    }

    /// <summary>True when the program can be found on the path.</summary>
    public static bool IsInstalled(string program) =>
        Path.IsPathRooted(program)
            ? File.Exists(program)
            : (Environment.GetEnvironmentVariable("PATH") ?? "").Split(':').Any(folder => File.Exists(Path.Combine(folder, program)));

    public async ValueTask DisposeAsync()
    {
        try
        {
            if (!process.HasExited)
            {
                process.Kill();
                await process.WaitForExitAsync(CancellationToken.None);
            }
        }
        catch (InvalidOperationException)
        {
            // It was never started.
        }

        process.Dispose();
    }

    private static ProcessStartInfo Describe(
        string program, IEnumerable<string> arguments, IReadOnlyDictionary<string, string>? environment, string? workingDirectory)
    {
        if (!IsInstalled(program))
        {
            throw new FileNotFoundException($"{program} is not installed; tests/run.sh installs it.", program);
        }

        ProcessStartInfo start = new(program, arguments)
        {
            RedirectStandardOutput = true,
            RedirectStandardError = true,
            WorkingDirectory = workingDirectory ?? "",
        };
        foreach ((string name, string value) in environment ?? new Dictionary<string, string>())
        {
            start.Environment[name] = value;
        }

        return start;
    }

    private static async Task<string> CompileLoopBindAsync()
    {
        string folder = Directory.CreateTempSubdirectory("camerabridge-peers-").FullName;
        string library = Path.Combine(folder, "loopbind.so");
        string source = Path.Combine(SourceFolder(), "loopbind.c");
        (int code, string said) = await RunAsync("gcc", ["-shared", "-fPIC", "-O2", "-o", library, source, "-ldl"], CancellationToken.None);
        return code == 0 ? library : throw new InvalidOperationException($"loopbind.c does not compile: {said}");
    }

    private static string SourceFolder()
    {
        for (DirectoryInfo? folder = new(AppContext.BaseDirectory); folder is not null; folder = folder.Parent)
        {
            string peers = Path.Combine(folder.FullName, "tests", "peers");
            if (File.Exists(Path.Combine(peers, "loopbind.c")))
            {
                return peers;
            }
        }

        throw new DirectoryNotFoundException("tests/peers/loopbind.c is not above the folder of the tests.");
    }

    private async Task WaitUntilItAcceptsAsync()
    {
        long start = TimeProvider.System.GetTimestamp();
        while (true)
        {
            try
            {
                await ConnectAsync();
                return;
            }
            catch (SocketException) when (!process.HasExited && TimeProvider.System.GetElapsedTime(start) < StartLimit)
            {
                await Task.Delay(Breath, TimeProvider.System, CancellationToken.None);
            }
            catch (SocketException e)
            {
                throw new InvalidOperationException(
                    string.Create(CultureInfo.InvariantCulture, $"{process.StartInfo.FileName} does not accept on port {Port}: {Output}"), e);
            }
        }
    }

    /// <exception cref="SocketException">It does not accept.</exception>
    private async Task ConnectAsync()
    {
        if (network is not null)
        {
            await network.ConnectAsync(Port);
            return;
        }

        using Socket socket = new(AddressFamily.InterNetwork, SocketType.Stream, ProtocolType.Tcp);
        await socket.ConnectAsync(IPAddress.Loopback, Port);
    }

    private void Keep(string? line)
    {
        if (line is not null)
        {
            lock (output)
            {
                output.AppendLine(line);
            }
        }
    }
}
