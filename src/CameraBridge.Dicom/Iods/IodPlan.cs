using CameraBridge.Dicom.Data;

namespace CameraBridge.Dicom.Iods;

/// <summary>The tables of an IOD turned round, so that a data set is checked in one pass over its elements.</summary>
internal sealed class IodPlan
{
    private const ushort FirstRepeat = 0x6000, LastRepeat = 0x601E;
    private readonly Dictionary<Tag, Spot> spots = [];

    public IodPlan(IReadOnlyList<ModuleUse> modules, RowSet values)
    {
        for (int number = 0; number < modules.Count; number++)
        {
            foreach (AttributeRow row in modules[number].Module.Rows)
            {
                SpotOf(row.Tag).Rows.Add((row, number));
            }

            foreach (Tag sign in modules[number].Signs)
            {
                SpotOf(sign).SignOf = number;
            }
        }

        foreach (AttributeRow row in values)
        {
            SpotOf(row.Tag).Rows.Add((row, Spot.OfIod));
        }

        foreach (Spot spot in spots.Values)
        {
            spot.IsForeign = spot.Rows.TrueForAll(placed => placed.Module == Spot.OfIod);
            spot.Items = AllowedTags.Of(spot.Rows.Select(placed => placed.Row));
        }
    }

    /// <summary>Where the IOD has an attribute; null when it does not belong to it. Attributes of a repeating group are found under its first.</summary>
    public Spot? Find(Tag tag) => spots.GetValueOrDefault(IsRepeat(tag) ? new Tag(FirstRepeat, tag.Number) : tag);

    public static bool IsRepeat(Tag tag) => tag.Group is >= FirstRepeat and <= LastRepeat && !tag.IsPrivate;

    private Spot SpotOf(Tag tag)
    {
        if (!spots.TryGetValue(tag, out Spot? spot))
        {
            spots.Add(tag, spot = new Spot());
        }

        return spot;
    }
}

/// <summary>What the modules of an IOD say of one attribute of the top level.</summary>
internal sealed class Spot
{
    /// <summary>Stands for the number of a module where the IOD itself says it.</summary>
    public const int OfIod = -1;

    /// <summary>The rows, each with the number of its module in the IOD.</summary>
    public List<(AttributeRow Row, int Module)> Rows { get; } = [];

    /// <summary>The number of the module whose use this attribute shows, or <see cref="OfIod"/>.</summary>
    public int SignOf { get; set; } = OfIod;

    /// <summary>True when no module has it: the IOD only says what it must be where a class was extended by it.</summary>
    public bool IsForeign { get; set; }

    /// <summary>What may stand in its items; null for anything.</summary>
    public AllowedTags? Items { get; set; }
}

/// <summary>The attributes that may stand in an item of a sequence, of all modules that have the sequence.</summary>
internal sealed class AllowedTags
{
    private readonly Dictionary<Tag, AllowedTags?> tags = [];

    public static AllowedTags? Of(IEnumerable<AttributeRow> sequences)
    {
        AttributeRow[] rows = [.. sequences];
        if (rows.Any(row => row.Open is not null) || rows.All(row => row.Rows.Count == 0))
        {
            return null;
        }

        var allowed = new AllowedTags();
        foreach (IGrouping<Tag, AttributeRow> same in rows.SelectMany(row => row.Rows).GroupBy(row => row.Tag))
        {
            allowed.tags.Add(same.Key, Of(same));
        }

        return allowed;
    }

    public bool Has(Tag tag, out AllowedTags? items) => tags.TryGetValue(tag, out items);
}
