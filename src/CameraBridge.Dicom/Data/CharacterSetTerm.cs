namespace CameraBridge.Dicom.Data;

/// <summary>A defined term of Specific Character Set (PS3.3 section C.12.1.1.2, edition 2025e).</summary>
/// <param name="Name">ISO-IR number, GB18030 or GBK.</param>
/// <param name="G0">What it brings for bytes 21H to 7EH, if not ASCII.</param>
/// <param name="G1">What it brings for bytes A1H to FEH.</param>
/// <param name="Alone">True for the sets without code extensions of Table C.12-5, which no other value may accompany.</param>
/// <param name="Misspelled">True when it was understood although it was not spelled as the standard does.</param>
internal sealed record CharacterSetTerm(string Name, CodedSet? G0, CodedSet? G1, bool Alone = false, bool Misspelled = false)
{
    private static readonly Dictionary<string, CharacterSetTerm> All = new CharacterSetTerm[]
    {
        new("6", CodedSet.Ascii, null),
        new("100", null, CodedSet.Latin1),
        new("101", null, CodedSet.Latin2),
        new("109", null, CodedSet.Latin3),
        new("110", null, CodedSet.Latin4),
        new("144", null, CodedSet.Cyrillic),
        new("127", null, CodedSet.Arabic),
        new("126", null, CodedSet.Greek),
        new("138", null, CodedSet.Hebrew),
        new("148", null, CodedSet.Latin5),
        new("203", null, CodedSet.Latin9),
        new("13", CodedSet.JisRoman, CodedSet.JisKatakana),
        new("166", null, CodedSet.Thai),
        new("87", CodedSet.Kanji, null),
        new("159", CodedSet.SupplementaryKanji, null),
        new("149", null, CodedSet.Hangul),
        new("58", null, CodedSet.Hanzi),
        new("192", null, null, Alone: true),
        new("GB18030", null, null, Alone: true),
        new("GBK", null, null, Alone: true),
    }.ToDictionary(term => term.Name, StringComparer.Ordinal);

    /// <summary>All terms as the standard spells them, those of one byte without code extensions.</summary>
    public static IEnumerable<string> Spellings => All.Values.Select(term => term switch
    {
        { Name: ['G', ..] } => term.Name,
        { Name: "87" or "159" or "149" or "58" } => $"ISO 2022 IR {term.Name}",
        _ => $"ISO_IR {term.Name}",
    });

    /// <summary>
    /// The term, also when its spaces, hyphens, underscores or case are not the standard's, as in "ISO-IR 100" and "ISO_IR_192", and for the
    /// names that other trades give the same sets, such as "UTF-8" and "ISO-8859-1". Null when it is unknown. An empty one is ISO 2022 IR 6.
    /// </summary>
    public static CharacterSetTerm? Find(string text)
    {
        if (text.Length == 0)
        {
            return All["6"];
        }

        string squeezed = string.Concat(text.ToUpperInvariant().Where(char.IsAsciiLetterOrDigit));
        string name = squeezed switch
        {
            "UTF8" or "ISO10646" => "192",
            "ASCII" or "USASCII" or "ISO646" => "6",
            "ISO88591" or "LATIN1" => "100",
            "ISO88592" or "LATIN2" => "101",
            "ISO88595" => "144",
            "ISO88596" => "127",
            "ISO88597" => "126",
            "ISO88598" => "138",
            "ISO88599" => "148",
            "ISO885915" => "203",
            "GB2312" => "GBK",
            _ when squeezed.StartsWith("ISO2022IR", StringComparison.Ordinal) => squeezed[9..],
            _ when squeezed.StartsWith("ISOIR", StringComparison.Ordinal) => squeezed[5..],
            _ when squeezed.StartsWith("ISO", StringComparison.Ordinal) => squeezed[3..],
            _ => squeezed,
        };
        return All.TryGetValue(name, out CharacterSetTerm? term) ? term with { Misspelled = !IsSpelledRight(text, term) } : null;
    }

    /// <summary>Sets of two bytes a character exist with code extensions only, and those of Table C.12-5 without.</summary>
    private static bool IsSpelledRight(string text, CharacterSetTerm term) => term.Name.StartsWith('G') ? text == term.Name
        : text == "ISO 2022 IR " + term.Name ? !term.Alone
        : text == "ISO_IR " + term.Name && term.G0 is not { BytesPerCharacter: 2 } && term.G1 is not { BytesPerCharacter: 2 };
}
