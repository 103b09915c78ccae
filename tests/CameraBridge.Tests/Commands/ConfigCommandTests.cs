using System.Text.Json;
using CameraBridge.Tests.Meta;
using Xunit;

namespace CameraBridge.Tests.Commands;

public sealed class ConfigCommandTests
{
    private static readonly string Example = Path.Combine(Repository.Root, "deploy", "camerabridge.example.yaml");

    [Fact]
    public async Task Test_accepts_the_example_with_exit_code_0()
    {
        TestTerminal run = await TestTerminal.RunAsync(TestContext.Current.CancellationToken, "config", "test", "--config", Example);
        Assert.Equal(0, run.ExitCode);
        Assert.Contains("no mistakes", run.Out, StringComparison.Ordinal);
    }

    [Fact]
    public async Task Test_tells_every_mistake_on_its_own_line_with_exit_code_2()
    {
        string file = Path.Combine(Directory.CreateTempSubdirectory("cb-config-").FullName, "site.yaml");
        await File.WriteAllTextAsync(file, "spool: here\nstate: there\n", TestContext.Current.CancellationToken);

        TestTerminal run = await TestTerminal.RunAsync(TestContext.Current.CancellationToken, "config", "test", "--config", file);
        Assert.Equal(2, run.ExitCode);
        string[] lines = run.Error.Split('\n', StringSplitOptions.RemoveEmptyEntries);
        Assert.Equal(3, lines.Length);
        Assert.StartsWith($"{file}:1:1: destinations: is missing.", lines[0], StringComparison.Ordinal);
        Assert.StartsWith($"{file}:1:8: spool: here: is not an absolute path.", lines[1], StringComparison.Ordinal);

        TestTerminal json = await TestTerminal.RunAsync(TestContext.Current.CancellationToken, "config", "test", "--json", "--config", file);
        JsonElement problem = json.Json().GetProperty("error").GetProperty("problems")[1];
        Assert.Equal((1, 8, "spool"), (problem.GetProperty("line").GetInt32(), problem.GetProperty("column").GetInt32(), problem.GetProperty("key").GetString()));
        Directory.Delete(Path.GetDirectoryName(file)!, recursive: true);
    }

    [Fact]
    public async Task Show_tells_where_each_setting_comes_from()
    {
        TestTerminal run = await TestTerminal.RunAsync(TestContext.Current.CancellationToken, "config", "show", "--json", "--config", Example);
        JsonElement[] settings = [.. run.Json().GetProperty("settings").EnumerateArray()];
        JsonElement settle = settings.Single(setting => setting.GetProperty("key").GetString() == "sources[1].settle_time");
        Assert.Equal(("3 s", "file"), (settle.GetProperty("value").GetString(), settle.GetProperty("origin").GetString()));
        JsonElement rescan = settings.Single(setting => setting.GetProperty("key").GetString() == "sources[1].rescan_interval");
        Assert.Equal(("10 s", "default"), (rescan.GetProperty("value").GetString(), rescan.GetProperty("origin").GetString()));
    }
}
