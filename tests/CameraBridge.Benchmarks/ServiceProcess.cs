using System.Diagnostics;
using System.Text;

namespace CameraBridge.Benchmarks;

/// <summary>The service as an administrator runs it, with what it says, its memory, and the time until it was ready.</summary>
internal sealed class ServiceProcess : IAsyncDisposable
{
    private static readonly TimeSpan Look = TimeSpan.FromMilliseconds(20);

    private readonly Process _process;
    private readonly StringBuilder _said = new();
    private readonly Stopwatch _watch = Stopwatch.StartNew();
    private long _readyMs = -1;

    private ServiceProcess(Process process)
    {
        _process = process;
        process.OutputDataReceived += (_, line) => Keep(line.Data);
        process.ErrorDataReceived += (_, line) => Keep(line.Data);
        process.BeginOutputReadLine();
        process.BeginErrorReadLine();
    }

    public long PeakBytes
    {
        get
        {
            _process.Refresh();
            return _process.PeakWorkingSet64;
        }
    }

    /// <summary>Starts it, on one core alone if <paramref name="core"/> says so (util-linux's taskset, so that the runtime counts one from its start).</summary>
    public static ServiceProcess Start(string program, string configuration, int? core = null)
    {
        string[] serve = ["serve", "--config", configuration];
        (string file, string[] arguments) = core is { } number ? ("taskset", ["--cpu-list", $"{number}", program, .. serve]) : (program, serve);
        return new(Process.Start(new ProcessStartInfo(file, arguments) { RedirectStandardOutput = true, RedirectStandardError = true })!);
    }

    /// <returns>Seconds from its start until it was ready.</returns>
    public async Task<double> ReadyAsync()
    {
        await UntilAsync(() => Task.FromResult(Volatile.Read(ref _readyMs) >= 0), TimeSpan.FromMinutes(2));
        return _readyMs / 1000.0;
    }

    /// <summary>Looks again and again until it is so.</summary>
    /// <exception cref="InvalidOperationException">The service ended.</exception>
    /// <exception cref="TimeoutException">It took longer than the limit.</exception>
    public async Task UntilAsync(Func<Task<bool>> isSo, TimeSpan limit)
    {
        long start = Stopwatch.GetTimestamp();
        using PeriodicTimer timer = new(Look);
        while (!await isSo())
        {
            if (_process.HasExited || Stopwatch.GetElapsedTime(start) > limit)
            {
                throw _process.HasExited ? new InvalidOperationException($"the service ended: {Said()}") : new TimeoutException($"not within {limit}: {Said()}");
            }

            await timer.WaitForNextTickAsync();
        }
    }

    public async Task KillAsync()
    {
        if (!_process.HasExited)
        {
            _process.Kill();
        }

        await _process.WaitForExitAsync();
    }

    public async ValueTask DisposeAsync()
    {
        await KillAsync();
        _process.Dispose();
    }

    private string Said()
    {
        lock (_said)
        {
            return _said.Length > 4000 ? _said.ToString(_said.Length - 4000, 4000) : _said.ToString();
        }
    }

    private void Keep(string? line)
    {
        if (line is null)
        {
            return;
        }

        if (line.Contains("is ready", StringComparison.Ordinal))
        {
            Interlocked.CompareExchange(ref _readyMs, _watch.ElapsedMilliseconds, -1);
        }

        lock (_said)
        {
            _said.AppendLine(line);
        }
    }
}
