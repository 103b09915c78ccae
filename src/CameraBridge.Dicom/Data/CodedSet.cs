using System.Globalization;
using System.Text;

namespace CameraBridge.Dicom.Data;

/// <summary>
/// One graphic set of ISO/IEC 2022 as PS3.3 Tables C.12-2 to C.12-4 (edition 2025e) name them: how its bytes become characters. Bytes are given
/// with the high bit cleared, since a set may stand in G0 or in G1.
/// </summary>
internal sealed class CodedSet
{
    private readonly Lazy<char[]> table;

    private CodedSet(string name, int bytesPerCharacter, Func<char[]> load)
    {
        Name = name;
        BytesPerCharacter = bytesPerCharacter;
        table = new Lazy<char[]>(load);
    }

    /// <summary>ISO-IR 6.</summary>
    public static CodedSet Ascii { get; } = new("ISO 646", 1, () => [.. Enumerable.Range(0, 128).Select(code => (char)code)]);

    /// <summary>ISO-IR 14, the Roman set of JIS X 0201: yen sign and overline where ASCII has backslash and tilde.</summary>
    public static CodedSet JisRoman { get; } = new("JIS X 0201 Roman", 1, () =>
        [.. Enumerable.Range(0, 128).Select(code => code switch { 0x5C => '\u00A5', 0x7E => '\u203E', _ => (char)code })]);

    /// <summary>ISO-IR 13, the half-width Katakana of JIS X 0201.</summary>
    public static CodedSet JisKatakana { get; } = new("JIS X 0201 Katakana", 1, () =>
        [.. Enumerable.Range(0, 128).Select(code => code is >= 0x21 and <= 0x5F ? (char)(0xFF61 + code - 0x21) : '\0')]);

    /// <summary>ISO-IR 100, in which bytes 80H to 9FH, which no text may have, are read as Windows reads them.</summary>
    public static CodedSet Latin1 { get; } = Single("ISO 8859-1", 28591);

    /// <summary>ISO-IR 101.</summary>
    public static CodedSet Latin2 { get; } = Single("ISO 8859-2", 28592);

    /// <summary>ISO-IR 109.</summary>
    public static CodedSet Latin3 { get; } = Single("ISO 8859-3", 28593);

    /// <summary>ISO-IR 110.</summary>
    public static CodedSet Latin4 { get; } = Single("ISO 8859-4", 28594);

    /// <summary>ISO-IR 144.</summary>
    public static CodedSet Cyrillic { get; } = Single("ISO 8859-5", 28595);

    /// <summary>ISO-IR 127.</summary>
    public static CodedSet Arabic { get; } = Single("ISO 8859-6", 28596);

    /// <summary>ISO-IR 126, with the quotes and the euro sign of the 2003 edition, which the code page lacks.</summary>
    public static CodedSet Greek { get; } = Single(
        "ISO 8859-7", 28597, (0x21, '\u2018'), (0x22, '\u2019'), (0x24, '\u20AC'), (0x25, '\u20AF'), (0x2A, '\u037A'));

    /// <summary>ISO-IR 138, with the macron and direction marks of the 1999 edition, which the code page lacks.</summary>
    public static CodedSet Hebrew { get; } = Single("ISO 8859-8", 28598, (0x2F, '\u00AF'), (0x7D, '\u200E'), (0x7E, '\u200F'));

    /// <summary>ISO-IR 148.</summary>
    public static CodedSet Latin5 { get; } = Single("ISO 8859-9", 28599);

    /// <summary>ISO-IR 203.</summary>
    public static CodedSet Latin9 { get; } = Single("ISO 8859-15", 28605);

    /// <summary>ISO-IR 166.</summary>
    public static CodedSet Thai { get; } = Single("TIS 620-2533", 874);

    /// <summary>ISO-IR 87. Six signs that the code page turns into full-width look-alikes are put right: wave dash, parallels, minus, cent, pound, not.</summary>
    public static CodedSet Kanji { get; } = Double(
        "JIS X 0208", 51932, 0x80, 0x80,
        (0x2141, '\u301C'), (0x2142, '\u2016'), (0x215D, '\u2212'), (0x2171, '\u00A2'), (0x2172, '\u00A3'), (0x224C, '\u00AC'));

    /// <summary>ISO-IR 159. The code page keeps the second byte in seven bits to tell it from JIS X 0208.</summary>
    public static CodedSet SupplementaryKanji { get; } = Double(
        "JIS X 0212", 20932, 0x80, 0x00, (0x2237, '\uFF5E'), (0x2271, '\u2116'));

    /// <summary>ISO-IR 149.</summary>
    public static CodedSet Hangul { get; } = Double("KS X 1001", 949, 0x80, 0x80);

    /// <summary>ISO-IR 58.</summary>
    public static CodedSet Hanzi { get; } = Double("GB 2312", 936, 0x80, 0x80);

    /// <summary>What messages call it.</summary>
    public string Name { get; }

    /// <summary>1, or 2 for the sets of 94 by 94 characters.</summary>
    public int BytesPerCharacter { get; }

    /// <summary>The character of a byte without its high bit, or NUL when the set has none there.</summary>
    public char this[int code] => table.Value[code];

    /// <summary>The character of two bytes, 21H to 7EH each, or NUL when the set has none there.</summary>
    public char this[int row, int cell] => row is >= 0x21 and <= 0x7E && cell is >= 0x21 and <= 0x7E ? table.Value[((row - 0x21) * 94) + cell - 0x21] : '\0';

    /// <summary>A code page of the framework that calls nothing global and gives <paramref name="fallback"/> what it cannot read.</summary>
    public static Encoding CodePage(int number, DecoderFallback fallback)
    {
        Encoding encoding = CodePagesEncodingProvider.Instance.GetEncoding(number, EncoderFallback.ExceptionFallback, fallback)
            ?? Encoding.GetEncoding(number, EncoderFallback.ExceptionFallback, fallback);
        return encoding;
    }

    private static CodedSet Single(string name, int codePage, params (int Code, char Character)[] corrections) => new(name, 1, () =>
    {
        Encoding encoding = CodePage(codePage, new DecoderReplacementFallback("\0"));
        char[] characters = [.. Enumerable.Range(0, 128).Select(code => code < 0x20 ? '\0' : Lone(encoding.GetString([(byte)(code | 0x80)])))];
        foreach ((int code, char character) in corrections)
        {
            characters[code] = character;
        }

        return characters;
    });

    private static CodedSet Double(
        string name, int codePage, int firstBit, int secondBit, params (int Code, char Character)[] corrections) => new(name, 2, () =>
    {
        Encoding encoding = CodePage(codePage, new DecoderReplacementFallback("\0"));
        var characters = new char[94 * 94];
        for (int at = 0; at < characters.Length; at++)
        {
            characters[at] = Lone(encoding.GetString([(byte)((0x21 + (at / 94)) | firstBit), (byte)((0x21 + (at % 94)) | secondBit)]));
        }

        foreach ((int code, char character) in corrections)
        {
            characters[(((code >> 8) - 0x21) * 94) + (code & 0xFF) - 0x21] = character;
        }

        return characters;
    });

    /// <summary>A private-use or control character stands for no character in these code pages.</summary>
    private static char Lone(string text) => text.Length == 1
        && char.GetUnicodeCategory(text[0]) is not (UnicodeCategory.PrivateUse or UnicodeCategory.Control or UnicodeCategory.OtherNotAssigned)
        ? text[0] : '\0';
}
