using System.Text.Json;
using CameraBridge.Pipeline.Sittings.Cues.Cards;
using Xunit;

namespace CameraBridge.Tests.Commands;

/// <summary>The command that prints cards: which, into which files, and what it says where it cannot.</summary>
public sealed class CardsCommandTests : IDisposable
{
    private readonly DirectoryInfo _folder = Directory.CreateTempSubdirectory("cards-command-");

    private static CancellationToken Cancellation => TestContext.Current.CancellationToken;

    private string Output => Path.Combine(_folder.FullName, "new", "cards");

    public void Dispose() => _folder.Delete(recursive: true);

    [Fact]
    public async Task It_writes_one_PDF_of_all_cards_and_says_how_to_print_it()
    {
        TestTerminal run = await RunAsync("--language", "es", "--paper", "letter");

        Assert.Equal(("", 0), (run.Error, run.ExitCode));
        Assert.Equal("%PDF"u8.ToArray(), (await File.ReadAllBytesAsync(Path.Combine(Output, "cards-letter-es.pdf"), Cancellation))[..4]);
        Assert.Contains("100 %", run.Out, StringComparison.Ordinal);
    }

    [Fact]
    public async Task Only_some_cards_are_chosen_by_kind_or_name_as_pictures()
    {
        TestTerminal run = await RunAsync("--format", "png", "--only", "side", "optic-ear", "--json");

        Assert.Equal(["side-right", "side-left", "side-both", "optic-ear"], run.Json().GetProperty("cards").EnumerateArray().Select(card => card.GetString()!));
        Assert.Equal(
            ["optic-ear.png", "side-both.png", "side-left.png", "side-right.png"], Directory.GetFiles(Output).Select(file => Path.GetFileName(file)!).Order(StringComparer.Ordinal));
    }

    [Fact]
    public async Task The_sites_own_optics_come_out_of_its_configuration()
    {
        string config = Path.Combine(_folder.FullName, "camerabridge.yaml");
        await File.WriteAllTextAsync(config, $$"""
            spool: {{_folder.FullName}}/spool
            state: {{_folder.FullName}}/state.db
            sources:
              - name: room
                folder: {{_folder.FullName}}/room
            optics:
              - name: dermatoscope-2
                like: skin-contact
            destinations:
              - name: archive
                host: 127.0.0.1
                port: 104
                called_ae_title: ARCHIVE
            """, Cancellation);

        TestTerminal run = await RunAsync("--config", config, "--format", "png", "--only", "optic-dermatoscope-2");

        Assert.Equal(("", 0), (run.Error, run.ExitCode));
        Assert.True(File.Exists(Path.Combine(Output, "optic-dermatoscope-2.png")));
    }

    [Theory]
    [InlineData("sides", "Did you mean side?")]
    [InlineData("xyzzyx", "Kinds are side")]
    public async Task A_card_that_there_is_not_is_told_with_what_was_probably_meant(string name, string words)
    {
        TestTerminal run = await RunAsync("--only", name);

        Assert.Equal(2, run.ExitCode);
        Assert.Contains(words, run.Error, StringComparison.Ordinal);
    }

    [Fact]
    public async Task A_folder_that_cannot_be_written_is_told_with_the_next_step()
    {
        await File.WriteAllTextAsync(Path.Combine(_folder.FullName, "new"), "a file", Cancellation);

        TestTerminal run = await RunAsync("--only", "side");

        Assert.Equal(2, run.ExitCode);
        Assert.Contains("--output", run.Error, StringComparison.Ordinal);
    }

    [Fact]
    public async Task The_clock_is_printed_once_in_text_and_told_in_JSON()
    {
        TestTerminal text = await TestTerminal.RunAsync(Cancellation, "cards", "clock", "--once", "--language", "de");
        TestTerminal json = await TestTerminal.RunAsync(Cancellation, "cards", "clock", "--json");

        Assert.Contains("▀", text.Out, StringComparison.Ordinal);
        Assert.Contains("Fotografieren Sie", text.Out, StringComparison.Ordinal);
        JsonElement told = json.Json();
        DateTimeOffset time = told.GetProperty("time").GetDateTimeOffset();
        Assert.Equal(time.AddTicks(-(time.Ticks % TimeSpan.TicksPerSecond)), CardText.Read(told.GetProperty("text").GetString()!)!.Value.Card!.Clock);
    }

    private Task<TestTerminal> RunAsync(params string[] more) => TestTerminal.RunAsync(Cancellation, ["cards", "--output", Output, .. more]);
}
