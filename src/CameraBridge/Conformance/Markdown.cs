using System.Text;
using System.Text.RegularExpressions;

namespace CameraBridge.Conformance;

/// <summary>Tables as Markdown, and a text with places for them.</summary>
internal static partial class Markdown
{
    public static string Table(IReadOnlyList<string> heads, IEnumerable<IReadOnlyList<string>> rows)
    {
        StringBuilder table = new();
        AddRow(table, heads);
        table.Append('|').Insert(table.Length, "---|", heads.Count).Append('\n');
        foreach (IReadOnlyList<string> row in rows)
        {
            AddRow(table, row);
        }

        return table.ToString();
    }

    /// <summary>The text with every "{{name}}" replaced by what belongs there; a name that nothing belongs to is a fault of the text.</summary>
    public static string Fill(string text, IReadOnlyDictionary<string, string> parts) => Place().Replace(text, place =>
        parts.TryGetValue(place.Groups[1].Value, out string? part)
            ? part.TrimEnd('\n')
            : throw new InvalidOperationException($"The text has a place named {place.Groups[1].Value}, and nothing goes there."));

    /// <summary>A text that the program carries.</summary>
    public static string Resource(string name)
    {
        using Stream stream = typeof(Markdown).Assembly.GetManifestResourceStream($"CameraBridge.Conformance.{name}")!;
        using StreamReader reader = new(stream);
        return reader.ReadToEnd();
    }

    private static void AddRow(StringBuilder table, IReadOnlyList<string> cells)
    {
        foreach (string cell in cells)
        {
            table.Append("| ").Append(cell.Replace("|", "\\|", StringComparison.Ordinal).Replace("\n", " ", StringComparison.Ordinal)).Append(cell.Length > 0 ? " " : "");
        }

        table.Append("|\n");
    }

    [GeneratedRegex(@"\{\{([a-z0-9-]+)\}\}")]
    private static partial Regex Place();
}
