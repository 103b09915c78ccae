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

    /// <summary>The object does not tell; it may be there.</summary>
    Untold,
}

/// <summary>Where a condition is asked: the data set or item, the whole data set, and how it is encoded.</summary>
/// <param name="Here">The data set or item that would hold the attribute.</param>
/// <param name="Root">The whole data set.</param>
/// <param name="TransferSyntaxUID">The transfer syntax.</param>
public readonly record struct ConditionPlace(DataSet Here, DataSet Root, string TransferSyntaxUID);

/// <summary>The condition of a type 1C or 2C attribute or of a module of usage C, as its table states it.</summary>
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

    /// <summary>When the attribute is required; of a condition that is not checked, why not.</summary>
    public string Text { get; }

    /// <summary>False when no object can tell; <see cref="Text"/> says why.</summary>
    public bool IsChecked => holds is not null;

    /// <summary>Decides for a place.</summary>
    public Need Ask(ConditionPlace place) => holds?.Invoke(place) switch
    {
        true => Need.Required,
        false => mayOtherwise ? Need.Allowed : Need.Forbidden,
        null => Need.Untold,
    };

    internal static Condition Parse(string text, TableLine line)
    {
        const string uncheckedMark = "unchecked: ", elsewhereMark = "elsewhere: ", mayMark = "may; ";
        if (text.StartsWith(elsewhereMark, StringComparison.Ordinal))
        {
            return new Condition(text[elsewhereMark.Length..], _ => false, true);
        }

        if (text.StartsWith(uncheckedMark, StringComparison.Ordinal))
        {
            return new Condition(text[uncheckedMark.Length..], null, true);
        }

        bool may = text.StartsWith(mayMark, StringComparison.Ordinal);
        (string says, Func<ConditionPlace, bool?> holds) = Predicate(may ? text[mayMark.Length..] : text, line);
        return new Condition(says, holds, may);
    }

    private static (string Says, Func<ConditionPlace, bool?> Holds) Predicate(string text, TableLine line)
    {
        if (text.StartsWith("has ", StringComparison.Ordinal))
        {
            string keywords = text["has ".Length..];
            Tag[] tags = Tags(keywords, line);
            return ($"{Listed(keywords)} has a value", place => HasAny(tags, place.Here) ? true : Array.Exists(tags, place.Here.Contains) ? null : false);
        }

        if (text.StartsWith("lacks ", StringComparison.Ordinal))
        {
            string keywords = text["lacks ".Length..];
            Tag[] tags = Tags(keywords, line);
            return ($"{Listed(keywords)} has no value", place => !HasAny(tags, place.Here));
        }

        if (text.Split('=') is [var keyword, var values])
        {
            Tag tag = TableLine.TagOf(keyword, line);
            string[] wanted = values.Split('|');
            return ($"{keyword} is {string.Join(" or ", wanted)}", place => wanted.Contains(ElementText.First(place.Here[tag])));
        }

        return IodConditions.Find(text) is { } named
            ? (named.Says, named.Holds)
            : throw line.Fault($"names the condition {text}, which the code does not have");
    }

    private static bool HasAny(Tag[] tags, DataSet here)
    {
        foreach (Tag tag in tags)
        {
            if (here[tag] is { IsEmpty: false })
            {
                return true;
            }
        }

        return false;
    }

    private static string Listed(string keywords) => keywords.Replace(",", " or ", StringComparison.Ordinal);

    private static Tag[] Tags(string keywords, TableLine line) => [.. keywords.Split(',').Select(keyword => TableLine.TagOf(keyword, line))];
}
