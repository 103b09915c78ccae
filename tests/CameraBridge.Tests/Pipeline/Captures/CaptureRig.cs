using System.Diagnostics;
using CameraBridge.Configuration;
using CameraBridge.Persistence;
using CameraBridge.Persistence.Sqlite;
using CameraBridge.Pipeline;
using CameraBridge.Pipeline.Captures;
using Microsoft.Extensions.Logging;
using Microsoft.Extensions.Time.Testing;
using Xunit;

namespace CameraBridge.Tests.Pipeline.Captures;

/// <summary>A source folder, a spool and a state in a temporary folder, with a clock that only the test moves, one day ahead of the files' times.</summary>
internal sealed class CaptureRig : IAsyncDisposable
{
    private readonly DirectoryInfo _home = Directory.CreateTempSubdirectory("captures-");
    private readonly List<SourceWatch> _watches = [];
    private readonly List<string> _mounted = [];
    private SqlitePipelineDatabase? _database;
    private Spool? _spool;

    public static CancellationToken Cancellation => TestContext.Current.CancellationToken;

    public FakeTimeProvider Clock { get; } = new(DateTimeOffset.UtcNow.AddDays(1));

    public LogLines Log { get; } = new();

    public string Home => _home.FullName;

    public string SourceFolder => Path.Combine(Home, "source");

    public string SpoolFolder { get; set; } = "";

    public IPipelineDatabase Database { get; set; } = null!;

    public CaptureTools Tools { get; private set; } = null!;

    public SourceConfiguration Source { get; private set; } = null!;

    public static async Task<CaptureRig> StartAsync(SourceKind kind = SourceKind.Share, string spoolFolder = "spool", string below = "source")
    {
        var rig = new CaptureRig();
        Directory.CreateDirectory(rig.SourceFolder);
        rig.SpoolFolder = Path.Combine(rig.Home, spoolFolder);
        rig.Source = new SourceConfiguration { Name = "ear", Folder = Path.Combine(rig.Home, below), Kind = kind };
        rig.Database = rig._database = await SqlitePipelineDatabase.OpenAsync(Path.Combine(rig.Home, "state.db"), rig.Clock, Cancellation);
        rig.Restart();
        return rig;
    }

    /// <summary>As if the program had been started anew on the same state and spool.</summary>
    public void Restart()
    {
        _spool?.Dispose();
        foreach (SourceWatch watch in _watches)
        {
            watch.Dispose();
        }

        _watches.Clear();
        _spool = new Spool(SpoolFolder);
        var logger = Log.CreateLogger("captures");
        Tools = new CaptureTools(_spool, new SpoolPause(Clock, logger), new Intake(_spool, Database, new WorkSignal(), Clock), Database, Clock, logger);
        _watches.Add(new SourceWatch(Source, Tools));
    }

    public SourceWatch Watch => _watches[0];

    public async Task LookAsync() => await Watch.LookAsync(once: false, Cancellation);

    /// <summary>One look that sees what is new, and one after the settle time that takes it.</summary>
    public async Task SettleAsync()
    {
        Clock.Advance(Source.RescanInterval);
        await LookAsync();
        Clock.Advance(Source.SettleTime);
        await LookAsync();
    }

    public CaptureSources Sources(params SourceConfiguration[] sources) => new(
        new SiteConfiguration { SpoolFolder = SpoolFolder, StateFile = Path.Combine(Home, "state.db"), Sources = sources }, Database, new WorkSignal(), Clock, Log);

    public SourceStatus Status => Watch.Status[0];

    public int Skipped(SkipReason reason) => Status.Skipped.FirstOrDefault(skipped => skipped.Reason == reason)?.Count ?? 0;

    /// <summary>Writes a file that begins like a JPEG; other seeds, other bytes.</summary>
    public string Write(string place, int seed = 1, int size = 3000) => WriteBelow(SourceFolder, place, seed, size);

    public static string WriteBelow(string folder, string place, int seed = 1, int size = 3000)
    {
        string path = Path.Combine(folder, place);
        Directory.CreateDirectory(Path.GetDirectoryName(path)!);
        File.WriteAllBytes(path, Picture(seed, size));
        return path;
    }

    public static byte[] Picture(int seed, int size)
    {
        byte[] bytes = new byte[size];
        new Random(seed).NextBytes(bytes);
        ((ReadOnlySpan<byte>)[0xFF, 0xD8, 0xFF]).CopyTo(bytes);
        return bytes;
    }

    public async Task<IReadOnlyList<Capture>> CapturesAsync() =>
        [.. (await Database.GetReportAsync(null, Cancellation)).SelectMany(report => report.Captures).OrderBy(capture => capture.Id)];

    public async Task<IReadOnlyList<string>> PlacesAsync() => [.. (await CapturesAsync()).Select(capture => capture.Place).Order(StringComparer.Ordinal)];

    /// <summary>Every file of the spool that has a capture's name.</summary>
    public IReadOnlyList<string> SpoolFiles() => !Directory.Exists(SpoolFolder) ? [] : [.. Directory.EnumerateFiles(SpoolFolder, "*", SearchOption.AllDirectories)
        .Where(file => Path.GetFileName(file).Length == 64)];

    public IReadOnlyList<string> TemporaryFiles() => !Directory.Exists(SpoolFolder) ? [] : [.. Directory.EnumerateFiles(SpoolFolder, "*.part", SearchOption.AllDirectories)];

    /// <summary>Mounts a small disk of its own; taken down with the rig.</summary>
    public void Mount(string folder, string options)
    {
        Directory.CreateDirectory(folder);
        Run("mount", "-t", "tmpfs", "-o", options, "camerabridge-test", folder);
        _mounted.Add(folder);
    }

    public void Unmount(string folder)
    {
        Run("umount", folder);
        _mounted.Remove(folder);
    }

    public static void Run(string program, params string[] arguments)
    {
        using Process process = Process.Start(new ProcessStartInfo(program, arguments) { RedirectStandardError = true })!;
        string errors = process.StandardError.ReadToEnd();
        process.WaitForExit();
        Assert.True(process.ExitCode == 0, $"{program} {string.Join(' ', arguments)}: {errors}");
    }

    /// <summary>Moves the clock second by second until the task has ended.</summary>
    public async Task<T> PumpAsync<T>(Task<T> task)
    {
        long start = Stopwatch.GetTimestamp();
        while (!task.IsCompleted && Stopwatch.GetElapsedTime(start) < TimeSpan.FromSeconds(60))
        {
            Clock.Advance(TimeSpan.FromSeconds(1));
            await Task.WhenAny(task, Task.Run(Thread.Yield, Cancellation));
        }

        Assert.True(task.IsCompleted, "It did not end within a minute.");
        return await task;
    }

    public async ValueTask DisposeAsync()
    {
        foreach (SourceWatch watch in _watches)
        {
            watch.Dispose();
        }

        _spool?.Dispose();
        await _database!.DisposeAsync();
        foreach (string folder in _mounted)
        {
            Run("umount", "-l", folder);
        }

        // Not by the framework, which cannot name every file that these tests make.
        Run("rm", "-rf", Home);
    }
}

/// <summary>Keeps what was logged.</summary>
internal sealed class LogLines : ILoggerFactory, ILogger
{
    private readonly List<(int Id, string Text)> _lines = [];

    public IReadOnlyList<(int Id, string Text)> Lines
    {
        get
        {
            lock (_lines)
            {
                return [.. _lines];
            }
        }
    }

    public int Count(int id) => Lines.Count(line => line.Id == id);

    public ILogger CreateLogger(string categoryName) => this;

    public void AddProvider(ILoggerProvider provider) => throw new NotSupportedException();

    public IDisposable? BeginScope<TState>(TState state)
        where TState : notnull => null;

    public bool IsEnabled(LogLevel logLevel) => true;

    public void Log<TState>(LogLevel logLevel, EventId eventId, TState state, Exception? exception, Func<TState, Exception?, string> formatter)
    {
        lock (_lines)
        {
            _lines.Add((eventId.Id, formatter(state, exception)));
        }
    }

    public void Dispose()
    {
    }
}

/// <summary>The system's clock, which does something when it is asked for the n-th time: so a test acts in the middle of a scan or a copy.</summary>
internal sealed class ActingClock(int onCall, Action act) : TimeProvider
{
    private int _calls;

    public override DateTimeOffset GetUtcNow()
    {
        if (Interlocked.Increment(ref _calls) == onCall)
        {
            act();
        }

        return base.GetUtcNow();
    }
}
