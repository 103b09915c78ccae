using System.Globalization;

namespace CameraBridge.Dicom.Iods;

/// <summary>What the values of an attribute may be: enumerated values or defined terms of PS3.3.</summary>
public sealed class ValueConstraint
{
    private readonly Func<ConditionPlace, bool?>? when;

    private ValueConstraint(Func<ConditionPlace, bool?>? when, int valueNumber, bool isOpen, string[] values)
    {
        this.when = when;
        ValueNumber = valueNumber;
        IsOpen = isOpen;
        Values = values;
    }

    /// <summary>Number of the value it is about, from 1; 0 for each value.</summary>
    public int ValueNumber { get; }

    /// <summary>True for defined terms, which others may join (PS3.5 section 6.3); false for enumerated values, which stand alone.</summary>
    public bool IsOpen { get; }

    /// <summary>The enumerated values or defined terms.</summary>
    public IReadOnlyList<string> Values { get; }

    /// <summary>True when it counts in this place.</summary>
    public bool Applies(ConditionPlace place) => when is null || when(place) == true;

    internal static ValueConstraint Parse(string text, TableLine line)
    {
        const string whenMark = "when ", termsMark = "terms ";
        Func<ConditionPlace, bool?>? when = null;
        if (text.StartsWith(whenMark, StringComparison.Ordinal) && text.Split(": ", 2) is [var condition, var rest])
        {
            string name = condition[whenMark.Length..];
            when = IodConditions.Find(name)?.Holds ?? throw line.Fault($"names the condition {name}, which the code does not have");
            text = rest;
        }

        int number = 0;
        if (text.Length > 3 && char.IsAsciiDigit(text[0]) && text[1] == ':')
        {
            number = text[0] - '0';
            text = text[3..];
        }

        bool isOpen = text.StartsWith(termsMark, StringComparison.Ordinal);
        return new ValueConstraint(when, number, isOpen, (isOpen ? text[termsMark.Length..] : text).Split('|'));
    }
}

/// <summary>From which context groups the code of an item comes.</summary>
public sealed class CodeConstraint
{
    private CodeConstraint(bool isDefined, string numbers, ContextGroup[] groups, bool isWhole)
    {
        IsDefined = isDefined;
        Numbers = numbers;
        Groups = groups;
        IsWhole = isWhole;
    }

    /// <summary>True for a defined context group (DCID), false for a baseline one (BCID), which is a proposal (PS3.16 section 7.2, from memory).</summary>
    public bool IsDefined { get; }

    /// <summary>The numbers of the groups, "CID 4062 or 4063".</summary>
    public string Numbers { get; }

    /// <summary>Those of the groups whose codes the library has.</summary>
    public IReadOnlyList<ContextGroup> Groups { get; }

    /// <summary>False when the library has not the codes of every group, so that a code that is in none of them may yet be right.</summary>
    public bool IsWhole { get; }

    /// <summary>"D4062,4063" or "B4209".</summary>
    internal static CodeConstraint Parse(string text, TableLine line)
    {
        if (text.Length < 2 || text[0] is not ('D' or 'B'))
        {
            throw line.Fault("names a context group that is neither defined nor baseline");
        }

        string[] numbers = text[1..].Split(',');
        ContextGroup[] groups = [.. numbers.Select(number => ContextGroups.Find(int.Parse(number, CultureInfo.InvariantCulture))).OfType<ContextGroup>()];
        return new CodeConstraint(text[0] == 'D', $"CID {string.Join(" or ", numbers)}", groups, groups.Length == numbers.Length);
    }
}
