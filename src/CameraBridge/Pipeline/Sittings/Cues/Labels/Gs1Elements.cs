namespace CameraBridge.Pipeline.Sittings.Cues.Labels;

/// <summary>
/// The elements of a GS1 element string: Application Identifiers with their values (GS1 General Specifications, sections 3.2 and 7.8). Lengths of identifiers are
/// those of its Figure 7.8.2-1, predefined lengths of elements those of Figure 7.8.5-2; check digits of GS1 keys are looked at wherever they stand.
/// </summary>
/// <param name="Values">By Application Identifier; as far as the text could be read.</param>
/// <param name="Flaw">Why the text is no whole element string, in words and without any of it; null when it is one.</param>
internal sealed record Gs1Elements(IReadOnlyDictionary<string, string> Values, string? Flaw)
{
    /// <summary>Longest value of any element: that of the company internal identifiers 91 to 99.</summary>
    private const int LongestValue = 90;

    /// <summary>Elements of these first digits have so many characters, identifier and all, and need no separator.</summary>
    private static readonly Dictionary<string, int> Predefined = new (string First, int Length)[]
    {
        ("00", 20), ("01", 16), ("02", 16), ("03", 16), ("11", 8), ("12", 8), ("13", 8), ("15", 8), ("16", 8), ("17", 8), ("20", 4),
        ("31", 10), ("32", 10), ("33", 10), ("34", 10), ("35", 10), ("36", 10), ("41", 16),
    }.ToDictionary(row => row.First, row => row.Length, StringComparer.Ordinal);

    /// <summary>Of these elements so many characters are a key whose last digit is its check digit; where the value has no more, it is that long.</summary>
    private static readonly Dictionary<string, (int Length, bool IsWhole)> Keys = new (string Identifier, int Length, bool IsWhole)[]
    {
        ("00", 18, true), ("01", 14, true), ("02", 14, true), ("03", 14, true), ("253", 13, false), ("255", 13, false), ("402", 17, true), ("410", 13, true), ("411", 13, true), ("412", 13, true),
        ("413", 13, true), ("414", 13, true), ("415", 13, true), ("416", 13, true), ("417", 13, true), ("8003", 14, false), ("8006", 14, false), ("8017", 18, true), ("8018", 18, true),
    }.ToDictionary(row => row.Identifier, row => (row.Length, row.IsWhole), StringComparer.Ordinal);

    private static readonly CheckScheme Modulo10 = CheckScheme.Find("gs1")!;

    /// <summary>True for two to four digits that are as long as an Application Identifier of these first digits is.</summary>
    public static bool IsIdentifier(string text) => text.Length is >= 2 and <= 4 && text.All(char.IsAsciiDigit) && IdentifierLength(text) == text.Length;

    /// <summary>Takes a text apart.</summary>
    /// <param name="text">The text without its symbology identifier; FNC1 between elements is <see cref="CodeMark.Separator"/>.</param>
    public static Gs1Elements Read(string text)
    {
        var values = new Dictionary<string, string>(StringComparer.Ordinal);
        string? flaw = null;
        for (int at = 0; at < text.Length && flaw is null;)
        {
            int identifierLength = IdentifierLength(text[at..Math.Min(at + 2, text.Length)]);
            if (identifierLength == 0 || at + identifierLength > text.Length || text.AsSpan(at, identifierLength).ContainsAnyExceptInRange('0', '9'))
            {
                flaw = "it has an identifier that GS1 does not have";
                break;
            }

            string identifier = text.Substring(at, identifierLength);
            int end = text.IndexOf(CodeMark.Separator, at);
            end = end < 0 ? text.Length : end;
            if (Predefined.TryGetValue(identifier[..2], out int length))
            {
                end = Math.Min(end, at + length);
                flaw = end - at < length ? "an element is shorter than its identifier demands" : null;
            }

            string value = text[(at + identifierLength)..end];
            bool isAlone = values.TryAdd(identifier, value) || values[identifier] == value;
            flaw ??= FlawOf(identifier, value) ?? (isAlone ? null : "it says two things of the same identifier");
            at = end < text.Length && text[end] == CodeMark.Separator ? end + 1 : end;
        }

        return new Gs1Elements(values, flaw ?? (values.Count == 0 ? "it is empty" : null));
    }

    private static string? FlawOf(string identifier, string value) =>
        value.Length is 0 or > LongestValue || value.Any(c => c is <= ' ' or > '~') ? "an element is empty, too long, or has a character that GS1 does not have"
        : !Keys.TryGetValue(identifier, out (int Length, bool IsWhole) key) ? null
        : value.Length < key.Length || (key.IsWhole && value.Length > key.Length) ? "an element has another length than its identifier demands"
        : Modulo10.Holds(value[..key.Length]) ? null
        : "a check digit is wrong";

    /// <summary>How long an identifier of these first two digits is; 0 for those that GS1 has not given out.</summary>
    private static int IdentifierLength(string firstTwo) => firstTwo.Length < 2 ? 0 : firstTwo[..2] switch
    {
        "00" or "01" or "02" or "03" or "10" or "11" or "12" or "13" or "15" or "16" or "17" or "20" or "21" or "22" or "30" or "37" => 2,
        "23" or "24" or "25" or "40" or "41" or "42" or "71" => 3,
        "31" or "32" or "33" or "34" or "35" or "36" or "39" or "43" or "70" or "72" or "80" or "81" or "82" => 4,
        ['9', >= '0' and <= '9'] => 2,
        _ => 0,
    };
}
