namespace CameraBridge.Commands;

/// <summary>Where a command writes: results to <c>Out</c>, progress and errors to <c>Error</c>.</summary>
/// <param name="Out">Standard output.</param>
/// <param name="Error">Standard error.</param>
/// <param name="Interactive">Standard error is a terminal that a person looks at: progress may be drawn there.</param>
internal sealed record Terminal(TextWriter Out, TextWriter Error, bool Interactive)
{
    public static Terminal Process() =>
        new(Console.Out, Console.Error, !Console.IsErrorRedirected && Environment.GetEnvironmentVariable("TERM") is not (null or "" or "dumb"));
}

/// <summary>A command cannot do what was asked. The message names the thing and the next step, and no patient.</summary>
internal sealed class CommandException(int exitCode, string code, string message) : Exception(message)
{
    public int ExitCode { get; } = exitCode;

    /// <summary>A stable word for programs.</summary>
    public string Code { get; } = code;
}
