namespace CameraBridge.Dicom.Data;

/// <summary>
/// A person's name (PS3.5 section 6.2.1, edition 2025e): up to three groups that spell the same name. Two names are equal when their
/// components are; components and groups left off at the end count as empty ones.
/// </summary>
/// <param name="Alphabetic">In single-byte characters; the only group of most names.</param>
/// <param name="Ideographic">In ideographs or Hangul.</param>
/// <param name="Phonetic">In a phonetic script, such as Hiragana or Hangul.</param>
public sealed record PersonName(PersonNameGroup Alphabetic, PersonNameGroup Ideographic, PersonNameGroup Phonetic)
{
    /// <summary>A name with an alphabetic group only.</summary>
    public PersonName(PersonNameGroup alphabetic) : this(alphabetic, PersonNameGroup.Empty, PersonNameGroup.Empty)
    {
    }

    /// <summary>No name.</summary>
    public static PersonName Empty { get; } = new(PersonNameGroup.Empty);

    /// <summary>True when every group is empty.</summary>
    public bool IsEmpty => Alphabetic.IsEmpty && Ideographic.IsEmpty && Phonetic.IsEmpty;

    /// <summary>
    /// Reads "family^given^middle^prefix^suffix=ideographic=phonetic". Spaces around components do not count. Delimiters beyond the fifth
    /// component or the third group stay in the last one, so nothing is lost.
    /// </summary>
    public static PersonName Parse(string? text)
    {
        string[] groups = (text ?? "").Split('=', 3);
        return new PersonName(
            PersonNameGroup.Parse(groups[0]),
            groups.Length > 1 ? PersonNameGroup.Parse(groups[1]) : PersonNameGroup.Empty,
            groups.Length > 2 ? PersonNameGroup.Parse(groups[2]) : PersonNameGroup.Empty);
    }

    /// <summary>The form of the standard, without delimiters after the last component and group that say something.</summary>
    public override string ToString() => $"{Alphabetic}={Ideographic}={Phonetic}".TrimEnd('=');
}

/// <summary>One spelling of a name: five components, each empty when there is none.</summary>
/// <param name="Family">Family name complex.</param>
/// <param name="Given">Given name complex: first and further given names, parted by spaces.</param>
/// <param name="Middle">Middle name.</param>
/// <param name="Prefix">What stands before the name: a title.</param>
/// <param name="Suffix">What stands after the name: a degree, a generation.</param>
public sealed record PersonNameGroup(string Family, string Given = "", string Middle = "", string Prefix = "", string Suffix = "")
{
    /// <summary>A group of five empty components.</summary>
    public static PersonNameGroup Empty { get; } = new("");

    /// <summary>True when every component is empty.</summary>
    public bool IsEmpty => this == Empty;

    /// <summary>Reads "family^given^middle^prefix^suffix".</summary>
    public static PersonNameGroup Parse(string? text)
    {
        string[] parts = (text ?? "").Split('^', 5);
        return new PersonNameGroup(Part(parts, 0), Part(parts, 1), Part(parts, 2), Part(parts, 3), Part(parts, 4));
    }

    /// <summary>The form of the standard, without delimiters after the last component that says something.</summary>
    public override string ToString() => $"{Family}^{Given}^{Middle}^{Prefix}^{Suffix}".TrimEnd('^');

    private static string Part(string[] parts, int at) => at < parts.Length ? parts[at].Trim(' ', '\0') : "";
}
