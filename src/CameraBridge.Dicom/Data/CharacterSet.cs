using System.Text;

namespace CameraBridge.Dicom.Data;

/// <summary>
/// How the bytes of text become characters: Specific Character Set (0008,0005), all defined terms of PS3.3 section C.12.1.1.2 (edition 2025e).
/// Immutable; writing is always UTF-8.
/// </summary>
/// <remarks>
/// No text is ever lost or turned into '?'. Where a declaration is missing, unknown or contradicted by the bytes, this order decides: UTF-8 if
/// the bytes beyond ASCII are valid UTF-8, else the peer's fallback, else each byte that cannot be read is shown as ‹E9›. Every such case is
/// flagged. Text that claims Latin-1 or Latin-5 and is valid UTF-8 beyond ASCII is read as UTF-8, since in those sets it would be
/// a letter followed by a symbol or a control character each time; other sets are taken at their word.
/// </remarks>
public sealed class CharacterSet
{
    private const byte Escape = 0x1B;

    private readonly Reading reading;
    private readonly Iso2022Decoder? decoder;
    private readonly CharacterSet? fallback;
    private readonly bool mayBeUtf8;

    private CharacterSet(IReadOnlyList<string> terms, string? flaw, Reading reading, Iso2022Decoder? decoder, CharacterSet? fallback, bool mayBeUtf8)
    {
        Terms = terms;
        Flaw = flaw;
        this.reading = reading;
        this.decoder = decoder;
        this.fallback = fallback;
        this.mayBeUtf8 = mayBeUtf8;
    }

    private enum Reading
    {
        /// <summary>Nothing usable declared.</summary>
        Undeclared,
        Iso2022,
        Utf8,
        Gb18030,
        Gbk,
    }

    /// <summary>The defined terms that are understood, those of one byte with and without code extensions (PS3.3 section C.12.1.1.2, edition 2025e).</summary>
    public static IReadOnlyList<string> DefinedTerms { get; } = [.. CharacterSetTerm.Spellings];

    /// <summary>Nothing declared and no fallback: ASCII, and by the order above what goes beyond it.</summary>
    public static CharacterSet Undeclared { get; } = Create([], null);

    /// <summary>ISO_IR 192.</summary>
    public static CharacterSet Utf8 { get; } = Create(["ISO_IR 192"], null);

    /// <summary>The terms as they were declared; empty when (0008,0005) was missing or empty.</summary>
    public IReadOnlyList<string> Terms { get; }

    /// <summary>What is wrong with the declaration itself, in words; null when nothing is.</summary>
    public string? Flaw { get; }

    /// <summary>True when the bytes are read as UTF-8, whatever (0008,0005) spelled.</summary>
    public bool IsUtf8 => reading == Reading.Utf8;

    /// <summary>True when bytes below 80H without escape sequences are ASCII, as in all sets but those of Japan's JIS X 0201.</summary>
    internal bool ReadsAsciiAsAscii => decoder is null or { IsAsciiBelow: true };

    /// <summary>The set that the values of (0008,0005) declare. Never throws: unknown terms count as missing and set <see cref="Flaw"/>.</summary>
    /// <param name="values">Values of (0008,0005) in order; the first may be empty, which is ISO 2022 IR 6. Null or empty when there are none.</param>
    /// <param name="fallback">What this peer means when it declares nothing, something unknown or something its bytes contradict; usually one term.</param>
    public static CharacterSet FromSpecificCharacterSet(IReadOnlyList<string>? values, CharacterSet? fallback = null)
    {
        string[] terms = [.. (values ?? []).Select(value => value.Trim(' ', '\0'))];
        if (terms.All(string.IsNullOrEmpty))
        {
            return fallback is null ? Undeclared : Create([], fallback);
        }

        return fallback is null && terms is ["ISO_IR 192"] ? Utf8 : Create(terms, fallback);
    }

    /// <summary>Reads a whole value field.</summary>
    /// <param name="bytes">The value field, padding included or not.</param>
    /// <param name="vr">A representation that <see cref="VrFacts.UsesCharacterSet"/>; others are read as ASCII.</param>
    /// <param name="flawed">True when the bytes contradict the declaration.</param>
    /// <returns>The text; its backslashes part values unless the representation is of single text.</returns>
    public string Decode(ReadOnlySpan<byte> bytes, Vr vr, out bool flawed)
    {
        string text = Decode(bytes, vr, out string? flaw);
        flawed = flaw is not null;
        return text;
    }

    /// <summary>Reads a whole value field and says what was wrong.</summary>
    /// <param name="bytes">The value field, padding included or not.</param>
    /// <param name="vr">A representation that <see cref="VrFacts.UsesCharacterSet"/>; others are read as ASCII.</param>
    /// <param name="flaw">In words, without any of the text; null when nothing was wrong.</param>
    /// <returns>The text; its backslashes part values unless the representation is of single text.</returns>
    public string Decode(ReadOnlySpan<byte> bytes, Vr vr, out string? flaw)
    {
        flaw = null;
        bool plain = IsPlain(bytes);
        if (!vr.UsesCharacterSet())
        {
            return plain ? Encoding.ASCII.GetString(bytes) : DecodeSurprise(bytes, vr, "goes beyond ASCII, which its representation does not", out flaw);
        }

        if (plain)
        {
            return ReadsAsciiAsAscii ? Encoding.ASCII.GetString(bytes) : decoder!.Decode(bytes, vr, out flaw);
        }

        if (mayBeUtf8 && IsUtf8BeyondAscii(bytes))
        {
            flaw = $"is UTF-8 although Specific Character Set says {string.Join('\\', Terms)}; read as UTF-8";
            return Encoding.UTF8.GetString(bytes);
        }

        string? text = DecodeDeclared(bytes, vr, out flaw);
        return text is not null && flaw is null ? text : DecodeSurprise(bytes, vr, flaw!, out flaw, text);
    }

    /// <summary>True for bytes below 80H without escape sequences.</summary>
    internal static bool IsPlain(ReadOnlySpan<byte> bytes) => !bytes.ContainsAnyInRange((byte)0x80, (byte)0xFF) && !bytes.Contains(Escape);

    /// <summary>The order of the remarks: UTF-8, the peer's fallback, and at last what there is with its bytes made visible.</summary>
    private string DecodeSurprise(ReadOnlySpan<byte> bytes, Vr vr, string surprise, out string? flaw, string? text = null)
    {
        if (IsUtf8BeyondAscii(bytes))
        {
            flaw = surprise + "; read as UTF-8";
            return Encoding.UTF8.GetString(bytes);
        }

        if (fallback?.DecodeDeclared(bytes, vr, out string? otherFlaw) is { } other && otherFlaw is null)
        {
            flaw = $"{surprise}; read as {string.Join('\\', fallback.Terms)}, the fallback of this peer";
            return other;
        }

        if (bytes.Contains(Escape) && reading != Reading.Iso2022)
        {
            text = Iso2022Decoder.Anything.Decode(bytes, vr, out _);
        }

        flaw = surprise + "; bytes that cannot be read are shown as hexadecimal";
        return text ?? Iso2022Decoder.Anything.Decode(bytes, vr, out _);
    }

    /// <summary>By the declaration alone; null when there is none to go by.</summary>
    private string? DecodeDeclared(ReadOnlySpan<byte> bytes, Vr vr, out string? flaw)
    {
        switch (reading)
        {
            case Reading.Iso2022:
                return decoder!.Decode(bytes, vr, out flaw);
            case Reading.Utf8:
                return VisibleBytes.Decode(bytes, VisibleBytes.Utf8, "UTF-8", out flaw);
            case Reading.Gb18030:
                return VisibleBytes.Decode(bytes, VisibleBytes.Gb18030, "GB 18030", out flaw);
            case Reading.Gbk:
                return VisibleBytes.Decode(bytes, VisibleBytes.Gb18030, "GBK", out flaw);
            default:
                flaw = Terms.Count == 0
                    ? "goes beyond ASCII without a Specific Character Set"
                    : "goes beyond ASCII and its Specific Character Set is unknown";
                return null;
        }
    }

    private static bool IsUtf8BeyondAscii(ReadOnlySpan<byte> bytes) =>
        bytes.ContainsAnyInRange((byte)0x80, (byte)0xFF) && !bytes.Contains(Escape) && System.Text.Unicode.Utf8.IsValid(bytes);

    private static CharacterSet Create(string[] terms, CharacterSet? fallback)
    {
        if (terms.Length == 0)
        {
            return new CharacterSet(terms, null, Reading.Undeclared, null, fallback, false);
        }

        var known = terms.Select(CharacterSetTerm.Find).ToArray();
        string? flaw = known.Any(term => term is null) ? "Specific Character Set has a term that PS3.3 C.12.1.1.2 does not define"
            : known.Any(term => term!.Misspelled) ? "Specific Character Set has a misspelled term (PS3.3 C.12.1.1.2)"
            : known.Length > 1 && known.Any(term => term!.Alone) ? "Specific Character Set has a term that stands alone among others (PS3.3 C.12.1.1.2)"
            : null;
        CharacterSetTerm? whole = known.FirstOrDefault(term => term is { Alone: true });
        if (whole is not null)
        {
            Reading reading = whole.Name switch { "GB18030" => Reading.Gb18030, "GBK" => Reading.Gbk, _ => Reading.Utf8 };
            return new CharacterSet(terms, flaw, reading, null, fallback, false);
        }

        CharacterSetTerm[] sets = [.. known.OfType<CharacterSetTerm>()];
        if (sets.Length == 0)
        {
            return new CharacterSet(terms, flaw, Reading.Undeclared, null, fallback, false);
        }

        // The first value stands at the beginning and after delimiters, unless it needs an escape sequence to be called at all.
        CharacterSetTerm? first = known[0];
        CodedSet g0 = first?.G0 is { BytesPerCharacter: 1 } roman ? roman : CodedSet.Ascii;
        CodedSet? g1 = first?.G1 is { BytesPerCharacter: 1 } right ? right : null;
        CodedSet[] declared = [.. sets.SelectMany(term => new[] { term.G0, term.G1 }).OfType<CodedSet>()];
        return new CharacterSet(terms, flaw, Reading.Iso2022, new Iso2022Decoder(g0, g1, declared), fallback, g1 == CodedSet.Latin1 || g1 == CodedSet.Latin5);
    }
}
