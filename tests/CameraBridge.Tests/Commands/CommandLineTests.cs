using System.CommandLine;
using System.Text.Json;
using CameraBridge.Commands;
using Xunit;

namespace CameraBridge.Tests.Commands;

public sealed class CommandLineTests
{
    public static TheoryData<string> EveryCommand()
    {
        TheoryData<string> data = [""];
        Add(CommandLine.Build(new Terminal(TextWriter.Null, TextWriter.Null, false)), "");
        return data;

        void Add(Command command, string path)
        {
            foreach (Command verb in command.Subcommands)
            {
                data.Add($"{path}{verb.Name}");
                Add(verb, $"{path}{verb.Name} ");
            }
        }
    }

    [Theory]
    [MemberData(nameof(EveryCommand))]
    public async Task Every_commands_help_tells_its_exit_codes(string path)
    {
        TestTerminal run = await TestTerminal.RunAsync(
            TestContext.Current.CancellationToken, [.. path.Split(' ', StringSplitOptions.RemoveEmptyEntries), "--help"]);

        Assert.Equal(0, run.ExitCode);
        Assert.Contains("Exit codes:", run.Out, StringComparison.Ordinal);
        Assert.Contains("  0  all well", run.Out, StringComparison.Ordinal);
        Assert.Contains("  2  the command line or the configuration is wrong", run.Out, StringComparison.Ordinal);
        Assert.Contains("  1  a bug", run.Out, StringComparison.Ordinal);
        Assert.Empty(run.Error);
    }

    [Theory]
    [InlineData("config", "tset")]
    [InlineData("confg")]
    [InlineData("config")]
    [InlineData()]
    [InlineData("config", "test", "--nonsense")]
    public async Task A_command_line_that_is_wrong_exits_2_and_writes_nothing_to_standard_output(params string[] args)
    {
        TestTerminal run = await TestTerminal.RunAsync(TestContext.Current.CancellationToken, args);
        Assert.Equal(2, run.ExitCode);
        Assert.Empty(run.Out);
        Assert.Contains("--help", run.Error, StringComparison.Ordinal);
    }

    [Fact]
    public async Task A_mistyped_command_is_answered_with_what_was_meant()
    {
        TestTerminal run = await TestTerminal.RunAsync(TestContext.Current.CancellationToken, "config", "tset");
        Assert.Equal("'tset' is not known here. Did you mean test? See camerabridge config --help.", run.Error.Trim());
    }

    [Fact]
    public async Task With_json_a_usage_error_is_one_document_on_standard_output()
    {
        TestTerminal run = await TestTerminal.RunAsync(TestContext.Current.CancellationToken, "config", "tset", "--json");
        Assert.Equal(2, run.ExitCode);
        JsonElement error = run.Json().GetProperty("error");
        Assert.Equal("usage", error.GetProperty("code").GetString());
        Assert.Equal(2, error.GetProperty("exit_code").GetInt32());
        Assert.Empty(run.Error);
    }

    // design: "Exit: 0 all well, 2 usage or configuration, 3 something is held, 4 something is undelivered or unconfirmed".
    [Theory]
    [InlineData(false, false, 0)]
    [InlineData(true, false, 3)]
    [InlineData(false, true, 4)]
    [InlineData(true, true, 4)]
    public void Undelivered_is_worse_than_held(bool held, bool undelivered, int code) => Assert.Equal(code, ExitCodes.Of(held, undelivered));
}
