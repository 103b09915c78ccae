using System.Globalization;
using System.Text;

namespace CameraBridge.Dicom.Data;

/// <summary>
/// Text of single-byte sets, with or without code extensions (PS3.5 section 6.1.2.5, edition 2025e): escape sequences put sets into G0 (bytes
/// 21H to 7EH) and G1 (bytes A1H to FEH), and delimiters put back those of the first value of Specific Character Set.
/// </summary>
/// <remarks>
/// More is read than may be written: escape sequences of sets that were not declared, and G1 text after a delimiter that did not say its set
/// again; both are flaws, and neither is lost.
/// </remarks>
internal sealed class Iso2022Decoder
{
    private const byte Escape = 0x1B;

    private static readonly (byte[] Sequence, int Register, CodedSet Set)[] Designations =
    [
        ([0x28, 0x42], 0, CodedSet.Ascii),
        ([0x28, 0x4A], 0, CodedSet.JisRoman),
        ([0x29, 0x49], 1, CodedSet.JisKatakana),
        ([0x2D, 0x41], 1, CodedSet.Latin1),
        ([0x2D, 0x42], 1, CodedSet.Latin2),
        ([0x2D, 0x43], 1, CodedSet.Latin3),
        ([0x2D, 0x44], 1, CodedSet.Latin4),
        ([0x2D, 0x4C], 1, CodedSet.Cyrillic),
        ([0x2D, 0x47], 1, CodedSet.Arabic),
        ([0x2D, 0x46], 1, CodedSet.Greek),
        ([0x2D, 0x48], 1, CodedSet.Hebrew),
        ([0x2D, 0x4D], 1, CodedSet.Latin5),
        ([0x2D, 0x62], 1, CodedSet.Latin9),
        ([0x2D, 0x54], 1, CodedSet.Thai),
        ([0x24, 0x42], 0, CodedSet.Kanji),
        ([0x24, 0x28, 0x44], 0, CodedSet.SupplementaryKanji),
        ([0x24, 0x29, 0x43], 1, CodedSet.Hangul),
        ([0x24, 0x29, 0x41], 1, CodedSet.Hanzi),
    ];

    private readonly CodedSet firstG0;
    private readonly CodedSet? firstG1;
    private readonly IReadOnlyCollection<CodedSet> declared;

    /// <param name="firstG0">What stands in G0 at the beginning and after delimiters.</param>
    /// <param name="firstG1">What stands in G1 then, if anything.</param>
    /// <param name="declared">All sets that escape sequences may name.</param>
    public Iso2022Decoder(CodedSet firstG0, CodedSet? firstG1, IReadOnlyCollection<CodedSet> declared)
    {
        this.firstG0 = firstG0;
        this.firstG1 = firstG1;
        this.declared = declared;
    }

    /// <summary>Declares nothing: ASCII, all escape sequences, and other bytes made visible.</summary>
    public static Iso2022Decoder Anything { get; } = new(CodedSet.Ascii, null, []);

    /// <summary>True when bytes below 80H without escape sequences are ASCII.</summary>
    public bool IsAsciiBelow => firstG0 == CodedSet.Ascii;

    /// <summary>Reads a whole value field; the backslashes of the result are delimiters, or text for a representation of single text.</summary>
    /// <param name="bytes">The value field.</param>
    /// <param name="vr">Decides what is a delimiter.</param>
    /// <param name="flaw">What was wrong, or null.</param>
    public string Decode(ReadOnlySpan<byte> bytes, Vr vr, out string? flaw)
    {
        var text = new StringBuilder(bytes.Length);
        CodedSet g0 = firstG0;
        CodedSet? g1 = firstG1;
        CodedSet? lastG1 = null;
        flaw = null;
        int at = 0;
        while (at < bytes.Length)
        {
            byte one = bytes[at];
            if (one == Escape)
            {
                int length = Designate(bytes[(at + 1)..], ref g0, ref g1, ref flaw);
                if (length == 0)
                {
                    flaw = "holds an escape sequence that PS3.3 C.12.1.1.2 does not name";
                    AppendVisible(text, bytes.Slice(at, 1));
                }

                at += 1 + length;
                lastG1 = g1 ?? lastG1;
                continue;
            }

            if (one < 0x20 || one == 0x7F)
            {
                (g0, g1) = (firstG0, firstG1);
                text.Append((char)one);
                at++;
                continue;
            }

            if (one < 0x80)
            {
                at += AppendG0(text, bytes[at..], g0, vr, ref flaw);
                if (g0.BytesPerCharacter == 1 && IsDelimiter(one, vr))
                {
                    (g0, g1) = (firstG0, firstG1);
                }

                continue;
            }

            if (g1 is null && lastG1 is not null)
            {
                flaw = "does not name its character set again after a delimiter (PS3.5 6.1.2.5.3)";
            }

            at += AppendG1(text, bytes[at..], g1 ?? lastG1, ref flaw);
        }

        return text.ToString();
    }

    /// <summary>Bytes that could not be read, shown as ‹E9›: visible, reversible by hand, and never a character that someone may have meant.</summary>
    public static void AppendVisible(StringBuilder text, ReadOnlySpan<byte> bytes)
    {
        foreach (byte one in bytes)
        {
            text.Append(CultureInfo.InvariantCulture, $"‹{one:X2}›");
        }
    }

    private static bool IsDelimiter(byte one, Vr vr) =>
        (one == (byte)'\\' && !vr.IsSingleText()) || (vr == Vr.PN && one is (byte)'^' or (byte)'=');

    private int Designate(ReadOnlySpan<byte> rest, ref CodedSet g0, ref CodedSet? g1, ref string? flaw)
    {
        foreach ((byte[] sequence, int register, CodedSet set) in Designations)
        {
            if (!rest.StartsWith(sequence))
            {
                continue;
            }

            if (register == 0)
            {
                g0 = set;
            }
            else
            {
                g1 = set;
            }

            if (set != CodedSet.Ascii && !declared.Contains(set))
            {
                flaw = $"switches to {set.Name}, which Specific Character Set does not name";
            }

            return sequence.Length;
        }

        return 0;
    }

    private static int AppendG0(StringBuilder text, ReadOnlySpan<byte> rest, CodedSet g0, Vr vr, ref string? flaw)
    {
        byte one = rest[0];
        if (g0.BytesPerCharacter == 1 || one == ' ')
        {
            text.Append(one == '\\' && !vr.IsSingleText() ? '\\' : one == ' ' ? ' ' : g0[one]);
            return 1;
        }

        if (rest.Length > 1 && g0[one, rest[1]] is var character and not '\0')
        {
            text.Append(character);
            return 2;
        }

        flaw = $"holds bytes that are no character of {g0.Name}";
        AppendVisible(text, rest[..1]);
        return 1;
    }

    private static int AppendG1(StringBuilder text, ReadOnlySpan<byte> rest, CodedSet? g1, ref string? flaw)
    {
        int one = rest[0] & 0x7F;
        if (g1 is { BytesPerCharacter: 1 } && g1[one] is var single and not '\0')
        {
            text.Append(single);
            return 1;
        }

        if (g1 is { BytesPerCharacter: 2 } && rest.Length > 1 && rest[1] >= 0x80 && g1[one, rest[1] & 0x7F] is var character and not '\0')
        {
            text.Append(character);
            return 2;
        }

        flaw = g1 is null ? "goes beyond ASCII, which Specific Character Set does not" : $"holds bytes that are no character of {g1.Name}";
        if (g1 == CodedSet.Latin1 && Windows1252(rest[0]) is { } windows)
        {
            flaw = "holds characters of Windows code page 1252 that ISO 8859-1 does not have";
            text.Append(windows);
            return 1;
        }

        AppendVisible(text, rest[..1]);
        return 1;
    }

    /// <summary>The character that Windows has where ISO 8859-1 has a control, such as the euro sign and typographic quotes.</summary>
    private static char? Windows1252(byte one)
    {
        string text = CodedSet.CodePage(1252, DecoderFallback.ReplacementFallback).GetString([one]);
        return char.IsControl(text[0]) || text[0] == '\uFFFD' ? null : text[0];
    }
}
