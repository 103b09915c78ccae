using CameraBridge.Dicom.Data;

namespace CameraBridge.Dicom.Iods;

/// <summary>What a condition says of an attribute in a given place.</summary>
public enum Need
{
    /// <summary>It must be there.</summary>
    Required,

    /// <summary>It may be there.</summary>
    Allowed,

    /// <summary>It may not be there (PS3.5 section 7.4.2).</summary>
    Forbidden,
}

/// <summary>Where a condition is asked: the data set or item, the whole data set, and how it is encoded.</summary>
/// <param name="Here">The data set or item that would hold the attribute.</param>
/// <param name="Root">The whole data set.</param>
/// <param name="TransferSyntaxUID">The transfer syntax.</param>
public readonly record struct ConditionPlace(DataSet Here, DataSet Root, string TransferSyntaxUID);

/// <summary>The condition of a type 1C or 2C attribute, as its table states it.</summary>
public sealed class Condition
{
    private readonly Func<ConditionPlace, bool?>? holds;
    private readonly bool mayOtherwise;

    private Condition(string text, Func<ConditionPlace, bool?>? holds, bool mayOtherwise)
    {
        Text = text;
        this.holds = holds;
        this.mayOtherwise = mayOtherwise;
    }

    /// <summary>As the table writes it.</summary>
    public string Text { get; }

    /// <summary>False when the object alone cannot tell; <see cref="Text"/> says why.</summary>
    public bool IsChecked => holds is not null;

    /// <summary>Decides for a place.</summary>
    public Need Ask(ConditionPlace place) => holds?.Invoke(place) switch
    {
        true => Need.Required,
        false when !mayOtherwise => Need.Forbidden,
        _ => Need.Allowed,
    };

    internal static Condition Parse(string text, TableLine line)
    {
        if (text.StartsWith("unchecked: ", StringComparison.Ordinal))
        {
            return new Condition(text["unchecked: ".Length..], null, true);
        }

        bool may = text.StartsWith("may; ", StringComparison.Ordinal);
        string core = may ? text["may; ".Length..] : text;
        return new Condition(text, Predicate(core, line), may);
    }

    private static Func<ConditionPlace, bool?> Predicate(string text, TableLine line)
    {
        if (text.StartsWith("has ", StringComparison.Ordinal))
        {
            Tag[] tags = Tags(text["has ".Length..], line);
            return place => tags.Any(tag => place.Here[tag] is { IsEmpty: false });
        }

        if (text.StartsWith("lacks ", StringComparison.Ordinal))
        {
            Tag[] tags = Tags(text["lacks ".Length..], line);
            return place => !tags.Any(tag => place.Here[tag] is { IsEmpty: false });
        }

        if (text.Split('=') is [var keyword, var values])
        {
            Tag tag = TableLine.TagOf(keyword, line);
            string[] wanted = values.Split('|');
            return place => wanted.Contains(ElementText.First(place.Here[tag]));
        }

        return IodConditions.Find(text) ?? throw line.Fault($"names the condition {text}, which the code does not have");
    }

    private static Tag[] Tags(string keywords, TableLine line) => [.. keywords.Split(',').Select(keyword => TableLine.TagOf(keyword, line))];
}

/// <summary>What the values of an attribute may be: enumerated values of PS3.3 (defined terms are open, and are not kept here).</summary>
public sealed class ValueConstraint
{
    private readonly Func<ConditionPlace, bool?>? when;

    private ValueConstraint(Func<ConditionPlace, bool?>? when, int valueNumber, string[] allowed)
    {
        this.when = when;
        ValueNumber = valueNumber;
        Allowed = allowed;
    }

    /// <summary>Number of the value it is about, from 1; 0 for each value.</summary>
    public int ValueNumber { get; }

    /// <summary>The enumerated values.</summary>
    public IReadOnlyList<string> Allowed { get; }

    /// <summary>True when it counts in this place.</summary>
    public bool Applies(ConditionPlace place) => when is null || when(place) == true;

    internal static ValueConstraint Parse(string text, TableLine line)
    {
        Func<ConditionPlace, bool?>? when = null;
        if (text.StartsWith("when ", StringComparison.Ordinal) && text.Split(": ", 2) is [var condition, var rest])
        {
            string name = condition["when ".Length..];
            when = IodConditions.Find(name) ?? throw line.Fault($"names the condition {name}, which the code does not have");
            text = rest;
        }

        int number = 0;
        if (text.Length > 3 && char.IsAsciiDigit(text[0]) && text[1] == ':')
        {
            number = text[0] - '0';
            text = text[3..];
        }

        return new ValueConstraint(when, number, text.Split('|'));
    }
}
