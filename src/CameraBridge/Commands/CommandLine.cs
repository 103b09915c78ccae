using System.CommandLine;
using System.CommandLine.Help;
using System.CommandLine.Invocation;
using System.Diagnostics.CodeAnalysis;
using CameraBridge.Commands.Exports;
using CameraBridge.Configuration;
using CameraBridge.Diagnostics;
using CameraBridge.Persistence;

namespace CameraBridge.Commands;

/// <summary>From the words typed to an exit code: which verb, and what an error looks like.</summary>
internal static class CommandLine
{
    /// <summary>Time that a command has to end decently after SIGINT or SIGTERM.</summary>
    private static readonly TimeSpan TerminationLimit = TimeSpan.FromSeconds(20);

    public static RootCommand Build(Terminal terminal)
    {
        RootCommand root = new("CameraBridge takes pictures from clinical cameras to the archive, under the right patient and order.")
        {
            CommonOptions.Json,
            ServeCommand.Build(),
            OnceCommand.Build(terminal),
            CheckCommand.Build(terminal),
            HeldCommand.Build(terminal),
            DeliveriesCommand.Build(terminal),
            ExportCommand.Build(terminal),
            StatusCommand.Build(terminal),
            PlanCommand.Build(terminal),
            ConfigCommand.Build(terminal),
            CardsCommand.Build(terminal),
            ValidateCommand.Build(terminal),
            ConformanceCommand.Build(terminal),
            PracticeCommand.Build(terminal),
        };
        AddExitCodes(root);
        return root;
    }

    /// <param name="args">Without the program's name.</param>
    /// <param name="terminal">Where to write.</param>
    /// <param name="cancellation">Ends the command early, as SIGTERM does.</param>
    /// <returns>One of <see cref="ExitCodes"/>.</returns>
    [SuppressMessage(
        "Design",
        "CA1031:Do not catch general exception types",
        Justification = "The outermost frame: an unforeseen error must end with exit code 1 and, with --json, with a JSON document.")]
    public static async Task<int> RunAsync(string[] args, Terminal terminal, CancellationToken cancellation)
    {
        ParseResult parsed = Build(terminal).Parse(args);
        bool json = parsed.GetValue(CommonOptions.Json);
        if (parsed.Errors.Count > 0 && parsed.Action is not HelpWithCodes)
        {
            return Fail(terminal, json, ExitCodes.UsageOrConfiguration, "usage", $"{UsageFault(parsed)} See camerabridge {PathOf(parsed.CommandResult.Command)}--help.");
        }

        try
        {
            InvocationConfiguration invocation = new()
            {
                Output = terminal.Out,
                Error = terminal.Error,
                EnableDefaultExceptionHandler = false,
                ProcessTerminationTimeout = TerminationLimit,
            };
            return await parsed.InvokeAsync(invocation, cancellation).ConfigureAwait(false);
        }
        catch (ConfigurationException fault)
        {
            if (json)
            {
                JsonReply.WriteError(terminal.Out, ExitCodes.UsageOrConfiguration, "configuration", fault.Message, fault.Problems);
                return ExitCodes.UsageOrConfiguration;
            }

            return Fail(terminal, json, ExitCodes.UsageOrConfiguration, "configuration", fault.Message);
        }
        catch (CommandException fault)
        {
            return Fail(terminal, json, fault.ExitCode, fault.Code, fault.Message);
        }
        catch (StateUnavailableException fault)
        {
            return Fail(terminal, json, ExitCodes.Undelivered, "state", fault.Message);
        }
        catch (OperationCanceledException)
        {
            return Fail(terminal, json, ExitCodes.Undelivered, "interrupted", "Stopped before the end. Nothing is lost: run it again and it carries on where it was.");
        }
        catch (Exception fault)
        {
            // The message of an unforeseen error may hold anything, a patient's data too; its kind and place do not.
            return Fail(terminal, json, ExitCodes.Bug, "bug", $"An unforeseen error. Please report it with these lines:{Environment.NewLine}{UnforeseenError.Describe(fault)}");
        }
    }

    private static int Fail(Terminal terminal, bool json, int exitCode, string code, string message)
    {
        if (json)
        {
            JsonReply.WriteError(terminal.Out, exitCode, code, message);
        }
        else
        {
            terminal.Error.WriteLine(message);
        }

        return exitCode;
    }

    /// <summary>A word that is unknown explains the others that are missing, so it is told alone, with what was probably meant.</summary>
    private static string UsageFault(ParseResult parsed)
    {
        if (parsed.UnmatchedTokens.Count == 0)
        {
            return string.Join(" ", parsed.Errors.Select(error => error.Message));
        }

        Command command = parsed.CommandResult.Command;
        string unknown = parsed.UnmatchedTokens[0];
        string? nearest = NearestWord.Of(unknown, [.. command.Subcommands.Select(verb => verb.Name), .. command.Options.Select(option => option.Name)]);
        return $"'{unknown}' is not known here.{(nearest is null ? "" : $" Did you mean {nearest}?")}";
    }

    private static string PathOf(Command command) =>
        command is RootCommand ? "" : string.Concat(command.Parents.OfType<Command>().Select(PathOf)) + command.Name + " ";

    private static void AddExitCodes(RootCommand root)
    {
        HelpOption help = root.Options.OfType<HelpOption>().Single();
        help.Action = new HelpWithCodes((HelpAction)help.Action!);
    }

    /// <summary>The usual help, with the exit codes of the command below it.</summary>
    private sealed class HelpWithCodes(HelpAction usual) : SynchronousCommandLineAction
    {
        public override bool ClearsParseErrors => true;

        public override int Invoke(ParseResult parseResult)
        {
            usual.Invoke(parseResult);
            TextWriter writer = parseResult.InvocationConfiguration.Output;
            IReadOnlyList<int> codes = parseResult.CommandResult.Command is Verb verb ? verb.Codes : [0, 2, 3, 4, 5, 1];
            writer.WriteLine("Exit codes:");
            foreach (int code in codes)
            {
                writer.WriteLine(FormattableString.Invariant($"  {code}  {ExitCodes.Words(code)}"));
            }

            return ExitCodes.AllWell;
        }
    }
}
