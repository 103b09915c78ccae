using CameraBridge.Commands;
using CameraBridge.Configuration;
using Xunit;

namespace CameraBridge.Tests.Commands;

public sealed class OnceSourceTests : IDisposable
{
    private readonly string _root = Directory.CreateTempSubdirectory("cb-once-").FullName;
    private readonly SiteConfiguration _site;

    public OnceSourceTests()
    {
        foreach (string folder in new[] { "room/0001", "sticks/BLUE/0001", "elsewhere", "own/spool" })
        {
            Directory.CreateDirectory(Path.Combine(_root, folder));
        }

        _site = new SiteConfiguration
        {
            SpoolFolder = Path.Combine(_root, "own/spool"),
            StateFile = Path.Combine(_root, "own/state.db"),
            Sources =
            [
                new SourceConfiguration { Name = "room", Folder = Path.Combine(_root, "room"), Optic = "ear" },
                new SourceConfiguration { Name = "sticks", Folder = Path.Combine(_root, "sticks", "*"), Optic = "teeth" },
            ],
        };
    }

    public void Dispose() => Directory.Delete(_root, recursive: true);

    [Theory]
    [InlineData("room", null, "room", "ear")]
    [InlineData("room/", null, "room", "ear")]
    [InlineData("sticks/BLUE", null, "sticks", "teeth")]
    [InlineData("elsewhere", null, "once", "general")]
    [InlineData("elsewhere", "room", "room", "ear")]
    public void A_folder_is_taken_with_the_settings_that_fit_it(string folder, string? named, string source, string optic)
    {
        SourceConfiguration chosen = OnceSource.Choose(_site, Path.Combine(_root, folder), named);
        Assert.Equal((source, optic, Path.Combine(_root, folder.TrimEnd('/'))), (chosen.Name, chosen.Optic, chosen.Folder));
        Assert.Equal(chosen, OnceSource.Site(_site, chosen).FindSource(source));
    }

    [Theory]
    [InlineData("nowhere", null, "There is no folder")]
    [InlineData("room/0001", null, "lies in the midst of the source room")]
    [InlineData("sticks/BLUE/0001", null, "lies in the midst of the source sticks")]
    [InlineData("own", null, "holds the spool or the state")]
    [InlineData("own/spool", null, "holds the spool or the state")]
    [InlineData("elsewhere", "rom", "Did you mean room?")]
    public void A_folder_that_would_be_taken_wrongly_is_refused(string folder, string? named, string words)
    {
        CommandException refused = Assert.Throws<CommandException>(() => OnceSource.Choose(_site, Path.Combine(_root, folder), named));
        Assert.Equal(2, refused.ExitCode);
        Assert.Contains(words, refused.Message, StringComparison.Ordinal);
    }

    [Fact]
    public void What_was_taken_without_a_configured_source_is_still_known_to_the_service() =>
        Assert.Equal("general", _site.FindSource("once")?.Optic);
}
