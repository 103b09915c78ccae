using System.ComponentModel;
using System.Diagnostics;
using System.Globalization;
using CameraBridge.Persistence;

namespace CameraBridge.Pipeline.Objects.Clips;

/// <summary>What came of a run: nothing to say, or why there is no result, in words without patient data.</summary>
internal sealed record FfmpegResult(bool IsDone, string Words);

/// <summary>
/// The program ffmpeg, where the site has it. It gets a list of arguments and never a shell, reads files and no network, has a time limit, and is killed with
/// whatever it started when that is over or the service stops.
/// </summary>
internal sealed class Ffmpeg
{
    private const string ProgramName = "ffmpeg";
    private const int KeptWords = 300;
    private static readonly TimeSpan VersionLimit = TimeSpan.FromSeconds(20);

    private readonly TimeProvider _clock;
    private readonly Lazy<string> _version;

    private Ffmpeg(string program, TimeProvider clock)
    {
        Program = program;
        _clock = clock;
        _version = new Lazy<string>(ReadVersion);
    }

    public string Program { get; }

    /// <summary>For example "ffmpeg 5.1.9".</summary>
    public string Version => _version.Value;

    /// <summary>The configured program, or the one on the PATH; null when there is none.</summary>
    public static Ffmpeg? Find(string? configured, TimeProvider clock)
    {
        if (configured is not null)
        {
            return File.Exists(configured) ? new Ffmpeg(configured, clock) : null;
        }

        return (Environment.GetEnvironmentVariable("PATH") ?? "").Split(Path.PathSeparator, StringSplitOptions.RemoveEmptyEntries)
            .Select(folder => Path.Combine(folder, ProgramName))
            .FirstOrDefault(File.Exists) is { } found ? new Ffmpeg(found, clock) : null;
    }

    /// <summary>Runs it to its end.</summary>
    /// <param name="arguments">Everything but what all runs have.</param>
    /// <param name="limit">The longest it may take.</param>
    /// <param name="cancellation">Kills it.</param>
    /// <exception cref="OperationCanceledException">It was cancelled.</exception>
    /// <exception cref="StateUnavailableException">It found no room on the disk.</exception>
    public FfmpegResult Run(IEnumerable<string> arguments, TimeSpan limit, CancellationToken cancellation)
    {
        FfmpegResult result = Start(["-hide_banner", "-nostdin", "-loglevel", "error", .. arguments], limit, cancellation, out _);
        cancellation.ThrowIfCancellationRequested();
        return !result.IsDone && result.Words.Contains("No space left on device", StringComparison.Ordinal)
            ? throw new StateUnavailableException("The spool's disk has no room for a converted clip. Free room on that disk; making objects goes on by itself.", new IOException(result.Words))
            : result;
    }

    private string ReadVersion()
    {
        FfmpegResult result = Start(["-hide_banner", "-version"], VersionLimit, CancellationToken.None, out string output);
        string[] words = output.Split(' ', 4);
        return result.IsDone && words is [ProgramName, "version", var version, ..] ? $"{ProgramName} {version}" : ProgramName;
    }

    private FfmpegResult Start(IReadOnlyList<string> arguments, TimeSpan limit, CancellationToken cancellation, out string output)
    {
        output = "";
        var words = new LastWords(KeptWords);
        using var process = new Process
        {
            StartInfo = new ProcessStartInfo(Program, arguments)
            {
                UseShellExecute = false,
                RedirectStandardError = true,
                RedirectStandardOutput = true,
                RedirectStandardInput = true,
            },
        };
        process.ErrorDataReceived += (_, line) => words.Add(line.Data);
        try
        {
            process.Start();
        }
        catch (Win32Exception error)
        {
            return new FfmpegResult(false, $"{Program} cannot be started: {error.Message}.");
        }

        process.StandardInput.Close();
        process.BeginErrorReadLine();
        bool isOver = false;
        using ITimer timer = _clock.CreateTimer(
            _ =>
            {
                isOver = true;
                Kill(process);
            },
            null, limit, Timeout.InfiniteTimeSpan);
        using (cancellation.Register(() => Kill(process)))
        {
            output = process.StandardOutput.ReadToEnd();
            process.WaitForExit();
        }

        return isOver ? new FfmpegResult(false, string.Create(CultureInfo.InvariantCulture, $"It was ended after {limit.TotalMinutes:0.#} minutes, the longest that is allowed."))
            : process.ExitCode == 0 ? new FfmpegResult(true, "")
            : new FfmpegResult(false, string.Create(CultureInfo.InvariantCulture, $"It ended with code {process.ExitCode}: {words.Text}"));
    }

    private static void Kill(Process process)
    {
        try
        {
            process.Kill(entireProcessTree: true);
        }
        catch (Exception gone) when (gone is InvalidOperationException or Win32Exception)
        {
            // It has ended by itself.
        }
    }

    /// <summary>The last lines of what it said; paths, which say nothing to people, are left out.</summary>
    private sealed class LastWords(int longest)
    {
        private readonly Lock _gate = new();
        private string _text = "";

        public string Text
        {
            get
            {
                lock (_gate)
                {
                    return _text.Length == 0 ? "it gave no reason." : _text;
                }
            }
        }

        public void Add(string? line)
        {
            if (string.IsNullOrWhiteSpace(line))
            {
                return;
            }

            IEnumerable<string> words = line.Split(' ').Select(word => word.Contains('/', StringComparison.Ordinal) ? "(file)" : word);
            string plain = new([.. string.Join(' ', words).Where(letter => letter is >= ' ' and <= '~')]);
            lock (_gate)
            {
                _text = _text.Length == 0 ? plain : $"{_text} {plain}";
                _text = _text.Length > longest ? _text[^longest..] : _text;
            }
        }
    }
}
