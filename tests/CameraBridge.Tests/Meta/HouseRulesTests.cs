using System.Text.RegularExpressions;
using Xunit;

namespace CameraBridge.Tests.Meta;

/// <summary>The rules of the house that a compiler does not hold.</summary>
public sealed partial class HouseRulesTests
{
    private static readonly string[] Folders = ["src", "tests"];

    [Fact]
    public void No_source_file_is_longer_than_five_hundred_lines()
    {
        string[] tooLong = [.. Folders.SelectMany(Repository.SourceFiles)
            .Select(path => (Path: path, Lines: File.ReadLines(path).Count()))
            .Where(file => file.Lines > 500)
            .Select(file => $"{Repository.NameOf(file.Path)}: {file.Lines} lines")];

        Assert.Empty(tooLong);
    }

    [Fact]
    public void No_warning_is_switched_off()
    {
        string[] optOuts = [.. Folders.SelectMany(Repository.SourceFiles).Concat(ProjectFiles())
            .Where(path => OptOut().IsMatch(File.ReadAllText(path)))
            .Where(path => !path.EndsWith("HouseRulesTests.cs", StringComparison.Ordinal))
            .Select(Repository.NameOf)];

        Assert.Empty(optOuts);
    }

    [Fact]
    public void No_type_is_named_after_nothing()
    {
        string[] vague = [.. Folders.SelectMany(Repository.SourceFiles)
            .SelectMany(path => VagueType().Matches(File.ReadAllText(path)).Select(match => $"{Repository.NameOf(path)}: {match.Value}"))];

        Assert.Empty(vague);
    }

    [Fact]
    public void Nothing_sleeps_and_nothing_is_left_for_later()
    {
        string[] found = [.. Folders.SelectMany(Repository.SourceFiles)
            .Where(path => !path.EndsWith("HouseRulesTests.cs", StringComparison.Ordinal))
            .SelectMany(path => LeftForLater().Matches(File.ReadAllText(path)).Select(match => $"{Repository.NameOf(path)}: {match.Value}"))];

        Assert.Empty(found);
    }

    [Fact]
    public void The_top_level_holds_the_agreed_entries_and_nothing_more()
    {
        string[] agreed =
        [
            "CameraBridge.sln", "README.md", "DEVELOPERS.md", "CHANGELOG.md", "LICENSE", "Dockerfile", ".dockerignore", ".editorconfig", ".gitignore",
            ".gitattributes", "Directory.Build.props", "Directory.Packages.props", "global.json", ".ci", ".git", "src", "tests", "deploy", "conformance",
            "artifacts",
        ];
        string[] strangers = [.. Directory.EnumerateFileSystemEntries(Repository.Root).Select(path => Path.GetFileName(path)!).Except(agreed)];

        Assert.Empty(strangers);
    }

    private static IEnumerable<string> ProjectFiles() =>
        Directory.EnumerateFiles(Repository.Root, "*.props").Concat(
            Folders.SelectMany(folder => Directory.EnumerateFiles(Path.Combine(Repository.Root, folder), "*.csproj", SearchOption.AllDirectories)));

    [GeneratedRegex(@"#pragma warning disable|#nullable disable|<NoWarn>|<WarningsNotAsErrors>")]
    private static partial Regex OptOut();

    [GeneratedRegex(@"\b(class|record|struct|interface) \w*(Manager|Helper|Service|Util|Utils|Orchestrator)\b")]
    private static partial Regex VagueType();

    [GeneratedRegex(@"NotImplementedException|Thread\.Sleep|Task\.Delay\([0-9]|Task\.Delay\(TimeSpan|\bTODO\b|\bFIXME\b|\bHACK\b|Skip *= *""")]
    private static partial Regex LeftForLater();
}
