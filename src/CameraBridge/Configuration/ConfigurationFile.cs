using YamlDotNet.Core;

namespace CameraBridge.Configuration;

/// <summary>A configuration file as it was read: the site, every setting in force, or every problem.</summary>
/// <param name="File">The file as it was named to us.</param>
/// <param name="Site">Null when there is a problem.</param>
/// <param name="Settings">Every setting in force, in the order of the vocabulary.</param>
/// <param name="Problems">All of them, in the order of the file.</param>
internal sealed record ConfigurationFile(
    string File,
    SiteConfiguration? Site,
    IReadOnlyList<EffectiveSetting> Settings,
    IReadOnlyList<ConfigurationProblem> Problems)
{
    public const string PathVariable = "CAMERABRIDGE_CONFIG";

    public const string DefaultPath = "/etc/camerabridge/camerabridge.yaml";

    /// <summary>Far more than any hand writes.</summary>
    private const long LargestFile = 4 << 20;

    /// <summary>The file that is meant: the one named, else that of CAMERABRIDGE_CONFIG, else the usual one.</summary>
    public static string Locate(string? named) =>
        named
        ?? (Environment.GetEnvironmentVariable(PathVariable) is { Length: > 0 } variable ? variable : null)
        ?? DefaultPath;

    /// <exception cref="ConfigurationException">It has problems.</exception>
    public static SiteConfiguration Load(string path)
    {
        ConfigurationFile file = Read(path);
        return file.Site ?? throw new ConfigurationException(file.Problems);
    }

    public static ConfigurationFile Read(string path)
    {
        string text;
        try
        {
            FileInfo file = new(path);
            if (file.Exists && file.Length > LargestFile)
            {
                return Broken(path, new ValueFault("is larger than any configuration", "Check that this is the right file."));
            }

            text = System.IO.File.ReadAllText(path);
        }
        catch (Exception fault) when (fault is FileNotFoundException or DirectoryNotFoundException)
        {
            return Broken(path, new ValueFault(
                "there is no such file", $"Name one with --config FILE or {PathVariable}; deploy/camerabridge.example.yaml is a start."));
        }
        catch (Exception fault) when (fault is IOException or UnauthorizedAccessException)
        {
            return Broken(path, new ValueFault($"cannot be read ({fault.Message.TrimEnd('.')})", "Let this user read it."));
        }

        return Parse(text, path);
    }

    /// <param name="text">YAML.</param>
    /// <param name="file">How problems name the file.</param>
    public static ConfigurationFile Parse(string text, string file)
    {
        SettingLog log = new(file);
        YamlPart? root;
        try
        {
            root = YamlTree.Parse(text);
        }
        catch (YamlException fault)
        {
            return new ConfigurationFile(file, null, [], [Unreadable(text, file, fault)]);
        }

        SettingReader reader = new(log, "", root ?? new YamlMap(1, 1, []));
        SiteConfiguration site = ConfigurationReader.Read(reader, log);
        if (root is null or YamlMap)
        {
            ConfigurationRules.Check(site, log);
        }

        return log.Problems.Count == 0
            ? new ConfigurationFile(file, site, log.Settings, [])
            : new ConfigurationFile(file, null, log.Settings, [.. log.Problems.OrderBy(problem => problem.Line).ThenBy(problem => problem.Column)]);
    }

    private static ConfigurationFile Broken(string path, ValueFault fault) =>
        new(path, null, [], [new ConfigurationProblem(path, 0, 0, "", "", fault.What, fault.Fix)]);

    private static ConfigurationProblem Unreadable(string text, string file, YamlException fault)
    {
        // The parser tells a tab by the line before it, or by the whole document.
        string[] lines = text.Split('\n');
        int tabbed = Array.FindIndex(lines, line => line.AsSpan(0, line.Length - line.AsSpan().TrimStart().Length).Contains('\t'));
        if (tabbed >= 0)
        {
            int column = lines[tabbed].IndexOf('\t', StringComparison.Ordinal) + 1;
            return new ConfigurationProblem(file, tabbed + 1, column, "", "", "is not readable as YAML here (a tab in the indentation)", "Indent with spaces.");
        }

        // The scanner names the whole stretch it was reading; the fault itself lies at its end.
        Mark mark = fault is SyntaxErrorException ? fault.End : fault.Start;
        return new ConfigurationProblem(
            file,
            (int)mark.Line,
            (int)mark.Column,
            "",
            "",
            $"is not readable as YAML here ({Reason(fault)})",
            "Check indentation, colons and quotes; patterns belong in single quotes.");
    }

    private static string Reason(YamlException fault) => (fault.InnerException?.Message ?? fault.Message).TrimEnd('.');
}
