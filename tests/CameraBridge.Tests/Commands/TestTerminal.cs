using System.Text.Json;
using CameraBridge.Commands;

namespace CameraBridge.Tests.Commands;

/// <summary>Runs a command in this process and keeps what it wrote.</summary>
internal sealed record TestTerminal(int ExitCode, string Out, string Error)
{
    public static async Task<TestTerminal> RunAsync(CancellationToken cancellation, params string[] args)
    {
        using StringWriter output = new();
        using StringWriter error = new();
        int exitCode = await CommandLine.RunAsync(args, new Terminal(output, error, Interactive: false), cancellation);
        return new TestTerminal(exitCode, output.ToString(), error.ToString());
    }

    /// <summary>Standard output as exactly one JSON document.</summary>
    public JsonElement Json()
    {
        using JsonDocument document = JsonDocument.Parse(Out);
        return document.RootElement.Clone();
    }
}
