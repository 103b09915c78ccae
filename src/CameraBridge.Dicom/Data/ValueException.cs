namespace CameraBridge.Dicom.Data;

/// <summary>A value that may not be written. The message names the tag, its keyword and the rule, and never the value, which may be a patient's.</summary>
public sealed class ValueException : Exception
{
    /// <summary>A breach of <paramref name="rule"/> at <paramref name="tag"/>.</summary>
    public ValueException(Tag tag, string? keyword, string rule)
        : base($"{tag}{(keyword is null ? "" : " " + keyword)}: {rule}")
    {
        Tag = tag;
        Keyword = keyword;
        Rule = rule;
    }

    /// <summary>The element.</summary>
    public Tag Tag { get; }

    /// <summary>Its keyword in PS3.6, where it has one.</summary>
    public string? Keyword { get; }

    /// <summary>The rule in words, with the section of the standard.</summary>
    public string Rule { get; }
}
