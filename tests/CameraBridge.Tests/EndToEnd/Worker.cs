using System.Diagnostics;
using System.Globalization;
using System.Text;
using CameraBridge.Tests.Peers;
using Xunit;

namespace CameraBridge.Tests.EndToEnd;

/// <summary>A real <c>camerabridge serve</c>, which a test may kill, freeze and wake.</summary>
internal sealed class Worker : IAsyncDisposable
{
    private static readonly TimeSpan StopLimit = TimeSpan.FromSeconds(30);

    private readonly Process _process;
    private readonly StringBuilder _log = new();

    private Worker(Process process)
    {
        _process = process;
        process.OutputDataReceived += (_, line) => Keep(line.Data);
        process.ErrorDataReceived += (_, line) => Keep(line.Data);
    }

    public int Id => _process.Id;

    /// <summary>Whether this process is the owner of a lease.</summary>
    public bool Owns(string owner) => owner.Split(':')[1] == Id.ToString(CultureInfo.InvariantCulture);

    public string Log
    {
        get
        {
            lock (_log)
            {
                return _log.ToString();
            }
        }
    }

    /// <param name="site">Its configuration.</param>
    /// <param name="environment">Environment variables on top of ours.</param>
    /// <param name="logLevel">What it tells.</param>
    public static Worker Start(TestSite site, IReadOnlyDictionary<string, string>? environment = null, string logLevel = "information")
    {
        ProcessStartInfo start = new(TestSite.Executable, ["serve", "--config", site.ConfigurationFile, "--log-level", logLevel])
        {
            RedirectStandardOutput = true,
            RedirectStandardError = true,
        };
        foreach ((string name, string value) in environment ?? new Dictionary<string, string>())
        {
            start.Environment[name] = value;
        }

        Worker worker = new(new Process { StartInfo = start });
        worker._process.Start();
        worker._process.BeginOutputReadLine();
        worker._process.BeginErrorReadLine();
        return worker;
    }

    /// <summary>SIGKILL.</summary>
    public async Task KillAsync()
    {
        _process.Kill();
        await _process.WaitForExitAsync(TestContext.Current.CancellationToken);
    }

    public Task FreezeAsync() => SignalAsync("STOP");

    public Task WakeAsync() => SignalAsync("CONT");

    /// <summary>SIGTERM, and the exit code.</summary>
    public async Task<int> StopAsync()
    {
        await SignalAsync("TERM");
        using CancellationTokenSource limit = CancellationTokenSource.CreateLinkedTokenSource(TestContext.Current.CancellationToken);
        limit.CancelAfter(StopLimit);
        await _process.WaitForExitAsync(limit.Token);
        return _process.ExitCode;
    }

    public async ValueTask DisposeAsync()
    {
        if (!_process.HasExited)
        {
            _process.Kill();
            await _process.WaitForExitAsync(CancellationToken.None);
        }

        _process.Dispose();
    }

    private Task<string> SignalAsync(string signal) => OutsideProgram.RunAsync("kill", $"-{signal}", Id.ToString(CultureInfo.InvariantCulture));

    private void Keep(string? line)
    {
        if (line is not null)
        {
            lock (_log)
            {
                _log.AppendLine(line);
            }
        }
    }
}
