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
                        rest.Length > 0 ? [.. rest[0].Split(',').Select(keyword => TableLine.TagOf(keyword, line))] : []));
                    break;
                case ["value", var keyword, var allowed]:
                    values.Add(new AttributeRow(TableLine.TagOf(keyword, line), keyword, '3', null, [ValueConstraint.Parse(allowed, line)], null, []));
                    break;
                default:
                    throw line.Fault("is neither iod, module nor value");
            }
        }

        return new Iod(head[1], head[2], head[3], uses, values);
    }

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

/// <summary>An information object definition (PS3.3 Annex A).</summary>
/// <param name="Name">Its name.</param>
/// <param name="Section">Section of PS3.3.</param>
/// <param name="SOPClassUID">The storage SOP class that uses it.</param>
/// <param name="Modules">Its modules.</param>
/// <param name="Values">What it says of single attributes beyond its modules.</param>
public sealed record Iod(
    string Name, string Section, string SOPClassUID, IReadOnlyList<ModuleUse> Modules, IReadOnlyList<AttributeRow> Values);

/// <summary>A module as an IOD uses it.</summary>
/// <param name="Module">The module.</param>
/// <param name="Usage">M, C or U.</param>
/// <param name="Signs">Of usage C and U: attributes whose presence shows that the module is used.</param>
public sealed record ModuleUse(ModuleTable Module, char Usage, IReadOnlyList<Tag> Signs);

/// <summary>A module (PS3.3 Annex C).</summary>
/// <param name="Name">Its name.</param>
/// <param name="Section">Section of PS3.3.</param>
/// <param name="Rows">Its attributes, macros included.</param>
public sealed record ModuleTable(string Name, string Section, IReadOnlyList<AttributeRow> Rows);

/// <summary>An attribute of a module.</summary>
/// <param name="Tag">Its tag.</param>
/// <param name="Keyword">Its keyword.</param>
/// <param name="Type">1, 2 or 3; of 1C and 2C the digit.</param>
/// <param name="Condition">The condition of 1C and 2C, else null.</param>
/// <param name="Constraints">What its values may be.</param>
/// <param name="Items">Of sequences: how many items.</param>
/// <param name="Rows">Of sequences: the attributes of an item.</param>
public sealed record AttributeRow(
    Tag Tag,
    string Keyword,
    char Type,
    Condition? Condition,
    IReadOnlyList<ValueConstraint> Constraints,
    ItemCount? Items,
    IReadOnlyList<AttributeRow> Rows);

/// <summary>How many items a sequence may have.</summary>
/// <param name="Least">At least so many, when it is there and not empty by its type.</param>
/// <param name="Most">At most so many; int.MaxValue for no limit.</param>
public readonly record struct ItemCount(int Least, int Most);

/// <summary>A line of a table and where it stands.</summary>
internal sealed record TableLine(string File, int Number, string[] Columns)
{
    public InvalidOperationException Fault(string what) => new($"{File}, line {Number}: {string.Join(' ', Columns)} {what}.");

    public static Tag TagOf(string keyword, TableLine line) =>
        TagDictionary.Find(keyword)?.Tag ?? throw line.Fault($"names {keyword}, which is no keyword of the dictionary");
}
