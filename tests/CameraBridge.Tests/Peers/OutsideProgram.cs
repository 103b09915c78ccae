using System.Diagnostics;
using Xunit;

namespace CameraBridge.Tests.Peers;

/// <summary>Programs that somebody else wrote, which the tests judge by. tests/run.sh installs them; where one is missing, CI fails and others skip.</summary>
internal static class OutsideProgram
{
    private static readonly TimeSpan RunLimit = TimeSpan.FromMinutes(5);

    public const string Python = "/usr/bin/python3";

    /// <summary>Runs to the end and gives what it printed.</summary>
    public static async Task<string> RunAsync(string program, params IEnumerable<string> arguments)
    {
        Require(program);
        var start = new ProcessStartInfo(program, arguments) { RedirectStandardOutput = true, RedirectStandardError = true, UseShellExecute = false };
        // dcmtk brings its own locale-free output; Python must not fall back to ASCII.
        start.Environment["PYTHONIOENCODING"] = "utf-8";
        using var process = new Process { StartInfo = start };
        process.Start();
        using var limit = new CancellationTokenSource(RunLimit);
        Task<string> output = process.StandardOutput.ReadToEndAsync(limit.Token);
        Task<string> errors = process.StandardError.ReadToEndAsync(limit.Token);
        await process.WaitForExitAsync(limit.Token);
        Assert.True(process.ExitCode == 0, $"{program} ended with {process.ExitCode}: {await errors}");
        return await output;
    }

    /// <summary>Skips the test, or in CI fails it, where the program is not installed.</summary>
    public static void Require(string program)
    {
        bool isThere = program.Contains('/', StringComparison.Ordinal)
            ? File.Exists(program)
            : (Environment.GetEnvironmentVariable("PATH") ?? "").Split(':').Any(folder => File.Exists(Path.Combine(folder, program)));
        RequireThat(isThere, program);
    }

    /// <summary>The same for something else that comes with a package.</summary>
    public static void RequireThat(bool isThere, string what)
    {
        if (!isThere)
        {
            Assert.False(Environment.GetEnvironmentVariable("CI") == "true", $"{what} is not installed, and CI must have it.");
            Assert.Skip($"{what} is not installed; tests/run.sh installs it.");
        }
    }
}
