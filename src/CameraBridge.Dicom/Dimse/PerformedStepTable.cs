using System.Collections.Frozen;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;

namespace CameraBridge.Dicom.Dimse;

/// <summary>An attribute of a performed procedure step.</summary>
/// <param name="Keyword">Keyword.</param>
/// <param name="Tag">Tag.</param>
/// <param name="Create">Type in N-CREATE.</param>
/// <param name="Set">Type in N-SET; "-" is not allowed.</param>
/// <param name="Final">Type in the final state.</param>
/// <param name="Group">The group that its items are made of; null when it is no sequence.</param>
public sealed record PerformedStepRow(string Keyword, Tag Tag, string Create, string Set, string Final, string? Group);

/// <summary>The table of types of a performed procedure step (PS3.4 Table F.7.2-1), from performed-step.tsv.</summary>
public static class PerformedStepTable
{
    /// <summary>The rows of each group by its name; "step" is the top, the others are the items of sequences.</summary>
    public static IReadOnlyDictionary<string, IReadOnlyList<PerformedStepRow>> Groups { get; } = Load();

    /// <summary>The lines of a table of this folder, without comments, cut into their cells.</summary>
    internal static IEnumerable<string[]> Lines(string file)
    {
        using Stream stream = typeof(PerformedStepTable).Assembly.GetManifestResourceStream("CameraBridge.Dicom.Dimse." + file)
            ?? throw new InvalidOperationException($"{file} is missing from the library.");
        using StreamReader reader = new(stream);
        while (reader.ReadLine() is { } line)
        {
            if (line.Length > 0 && line[0] != '#')
            {
                yield return line.Split('\t');
            }
        }
    }

    private static FrozenDictionary<string, IReadOnlyList<PerformedStepRow>> Load()
    {
        Dictionary<string, IReadOnlyList<PerformedStepRow>> groups = [];
        List<PerformedStepRow> rows = [];
        foreach (string[] cells in Lines("performed-step.tsv"))
        {
            if (cells is [['[', .. string name, ']']])
            {
                groups[name] = rows = [];
                continue;
            }

            Tag tag = TagDictionary.Find(cells[0])?.Tag ?? throw new InvalidOperationException($"{cells[0]} in performed-step.tsv is no keyword.");
            rows.Add(new PerformedStepRow(cells[0], tag, cells[1], cells[2], cells[3], cells.ElementAtOrDefault(4)));
        }

        return groups.ToFrozenDictionary();
    }
}
