using System.Collections;
using CameraBridge.Dicom.Data;

namespace CameraBridge.Dicom.Iods;

/// <summary>An information object definition (PS3.3 Annex A).</summary>
/// <param name="Name">Its name.</param>
/// <param name="Section">Section of PS3.3.</param>
/// <param name="SOPClassUID">The storage SOP class that uses it.</param>
/// <param name="Modules">Its modules.</param>
/// <param name="Values">What it says of single attributes beyond its modules.</param>
public sealed record Iod(string Name, string Section, string SOPClassUID, IReadOnlyList<ModuleUse> Modules, RowSet Values)
{
    private readonly Lazy<IodPlan> plan = new(() => new IodPlan(Modules, Values));

    internal IodPlan Plan => plan.Value;
}

/// <summary>A module as an IOD uses it.</summary>
/// <param name="Module">The module.</param>
/// <param name="Usage">M, C or U.</param>
/// <param name="Signs">Of usage C and U: attributes whose presence shows that the module is used.</param>
/// <param name="Condition">Of usage C: when it is required.</param>
public sealed record ModuleUse(ModuleTable Module, char Usage, IReadOnlyList<Tag> Signs, Condition? Condition);

/// <summary>A module (PS3.3 Annex C).</summary>
/// <param name="Name">Its name.</param>
/// <param name="Section">Section of PS3.3.</param>
/// <param name="IsRepeated">True when it stands once in each of the groups 6000 to 601E that an object has; its rows are told for 6000.</param>
/// <param name="Rows">Its attributes, macros included.</param>
public sealed record ModuleTable(string Name, string Section, bool IsRepeated, RowSet Rows);

/// <summary>An attribute of a module.</summary>
/// <param name="Tag">Its tag.</param>
/// <param name="Keyword">Its keyword.</param>
/// <param name="Type">1, 2 or 3; of 1C and 2C the digit.</param>
/// <param name="Condition">The condition of 1C and 2C, else null.</param>
/// <param name="Constraints">What its values may be.</param>
/// <param name="Items">Of sequences: how many items; null for any number.</param>
/// <param name="Codes">Of code sequences: the context groups.</param>
/// <param name="Open">Of sequences whose items the tables do not describe: why.</param>
/// <param name="Rows">Of sequences: the attributes of an item.</param>
public sealed record AttributeRow(
    Tag Tag,
    string Keyword,
    char Type,
    Condition? Condition,
    IReadOnlyList<ValueConstraint> Constraints,
    ItemCount? Items,
    CodeConstraint? Codes,
    string? Open,
    RowSet Rows)
{
    /// <summary>The type as tables write it: 1, 1C, 2, 2C or 3.</summary>
    public string TypeText => Condition is null ? $"{Type}" : $"{Type}C";
}

/// <summary>How many items a sequence may have.</summary>
/// <param name="Least">At least so many, when it is there and not empty by its type.</param>
/// <param name="Most">At most so many; int.MaxValue for no limit.</param>
public readonly record struct ItemCount(int Least, int Most);

/// <summary>The attributes of a module or of an item, in the order of the table.</summary>
public sealed class RowSet : IReadOnlyList<AttributeRow>
{
    private readonly AttributeRow[] rows;
    private readonly Dictionary<Tag, AttributeRow> byTag = [];

    internal RowSet(IEnumerable<AttributeRow> rows)
    {
        this.rows = [.. rows];
        foreach (AttributeRow row in this.rows)
        {
            byTag.TryAdd(row.Tag, row);
        }

        Demanded = [.. this.rows.Where(row => row.Type != '3')];
    }

    internal static RowSet Empty { get; } = new([]);

    /// <summary>Those of types 1, 1C, 2 and 2C.</summary>
    internal AttributeRow[] Demanded { get; }

    /// <inheritdoc />
    public int Count => rows.Length;

    /// <inheritdoc />
    public AttributeRow this[int index] => rows[index];

    /// <summary>The attribute with this tag, or null.</summary>
    public AttributeRow? Find(Tag tag) => byTag.GetValueOrDefault(tag);

    /// <inheritdoc />
    public IEnumerator<AttributeRow> GetEnumerator() => ((IEnumerable<AttributeRow>)rows).GetEnumerator();

    IEnumerator IEnumerable.GetEnumerator() => GetEnumerator();
}
