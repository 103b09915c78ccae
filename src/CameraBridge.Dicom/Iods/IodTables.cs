using System.Collections.Frozen;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;

namespace CameraBridge.Dicom.Iods;

/// <summary>
/// The information object definitions that the library knows, from its own tables: *.iod (which modules) and *.mod (which attributes). The form
/// of the rows is told in patient.mod. A table that cannot be read is a fault of the build and says its line.
/// </summary>
public static class IodTables
{
    private static readonly Lazy<FrozenDictionary<string, Iod>> BySopClass = new(Load);

    /// <summary>The definition for a SOP class, or null when no table has it.</summary>
    public static Iod? Find(string? SOPClassUID) => SOPClassUID is not null && BySopClass.Value.TryGetValue(SOPClassUID, out Iod? iod) ? iod : null;

    /// <summary>All definitions.</summary>
    public static IEnumerable<Iod> All => BySopClass.Value.Values;

    private static FrozenDictionary<string, Iod> Load()
    {
        string[] names = [.. typeof(IodTables).Assembly.GetManifestResourceNames().Where(name => name.Contains(".Iods.", StringComparison.Ordinal))];
        var modules = new ModuleReader();
        foreach (string name in names.Where(name => name.EndsWith(".mod", StringComparison.Ordinal)))
        {
            modules.Add(Lines(name));
        }

        return names.Where(name => name.EndsWith(".iod", StringComparison.Ordinal))
            .Select(name => ReadIod(Lines(name), modules))
            .ToFrozenDictionary(iod => iod.SOPClassUID);
    }

    private static Iod ReadIod(IEnumerable<TableLine> lines, ModuleReader modules)
    {
        string[] head = [];
        var uses = new List<ModuleUse>();
        var values = new List<AttributeRow>();
        foreach (TableLine line in lines)
        {
            switch (line.Columns)
            {
                case ["iod", _, _, _]:
                    head = line.Columns;
                    break;
                case ["module", var name, "M" or "C" or "U", .. var rest]:
                    uses.Add(new ModuleUse(
                        modules.Find(name, line),
                        line.Columns[2][0],
                        rest is [var signs and not "-", ..] ? [.. signs.Split(',').Select(keyword => TableLine.TagOf(keyword, line))] : [],
                        rest is [_, var condition] ? Condition.Parse(condition, line) : null));
                    break;
                case ["value", var keyword, var allowed]:
                    values.Add(new AttributeRow(TableLine.TagOf(keyword, line), keyword, '3', null, [ValueConstraint.Parse(allowed, line)], null, null, null, RowSet.Empty));
                    break;
                default:
                    throw line.Fault("is neither iod, module nor value");
            }
        }

        return new Iod(head[1], head[2], head[3], [.. uses.Select(use => use.Signs.Count > 0 ? use : use with { Signs = OwnTags(use, uses) })], new RowSet(values));
    }

    /// <summary>The attributes of a module that no other module of the IOD has: each shows that the module is used.</summary>
    private static IReadOnlyList<Tag> OwnTags(ModuleUse use, List<ModuleUse> uses) =>
        use.Usage == 'M' ? [] : [.. use.Module.Rows.Select(row => row.Tag).Except(uses.Where(other => other != use).SelectMany(other => other.Module.Rows).Select(row => row.Tag))];

    private static IEnumerable<TableLine> Lines(string resource)
    {
        using Stream stream = typeof(IodTables).Assembly.GetManifestResourceStream(resource)!;
        using var reader = new StreamReader(stream);
        for (int number = 1; reader.ReadLine() is { } text; number++)
        {
            if (text.Length > 0 && text[0] != '#')
            {
                yield return new TableLine(resource, number, text.Split('\t'));
            }
        }
    }
}

/// <summary>A line of a table and where it stands.</summary>
internal sealed record TableLine(string File, int Number, string[] Columns)
{
    public InvalidOperationException Fault(string what) => new($"{File}, line {Number}: {string.Join(' ', Columns)} {what}.");

    public static Tag TagOf(string keyword, TableLine line) =>
        TagDictionary.Find(keyword)?.Tag ?? throw line.Fault($"names {keyword}, which is no keyword of the dictionary");
}
