using CameraBridge.Dicom.Data;
using Xunit;
using static CameraBridge.Tests.Dicom.Data.CharacterSetExamplesTests;

namespace CameraBridge.Tests.Dicom.Data;

/// <summary>Specific Character Set (0008,0005) as declared: PS3.3 section C.12.1.1.2 and PS3.5 section 6.1, edition 2025e.</summary>
public sealed class CharacterSetTests
{
    // The first six are what pydicom 2.3.1 reads from its files chrArab, chrFren, chrGerm, chrGreek, chrHbrw and chrRuss; the others were
    // written by Python 3.11's codecs of the same sets.
    [Theory]
    [InlineData("ISO_IR 127", "E2 C8 C7 E6 EA 5E E4 E6 D2 C7 D1", "قباني^لنزار")]
    [InlineData("ISO_IR 100", "42 75 63 5E 4A E9 72 F4 6D 65", "Buc^Jérôme")]
    [InlineData("ISO_IR 100", "C4 6E 65 61 73 5E 52 FC 64 69 67 65 72", "Äneas^Rüdiger")]
    [InlineData("ISO_IR 126", "C4 E9 EF ED F5 F3 E9 EF F2", "Διονυσιος")]
    [InlineData("ISO_IR 138", "F9 F8 E5 EF 5E E3 E1 E5 F8 E4", "שרון^דבורה")]
    [InlineData("ISO_IR 144", "BB EE DA 63 65 DC D1 79 70 D3", "\u041B\u044E\u043Ace\u043C\u0431yp\u0433")]
    [InlineData("ISO_IR 101", "A3 F3 64 BC", "Łódź")]
    [InlineData("ISO_IR 109", "A6 E6 F8", "Ĥĉĝ")]
    [InlineData("ISO_IR 110", "CC F9 BA", "Ėųē")]
    [InlineData("ISO_IR 148", "DE FD D0", "ŞıĞ")]
    [InlineData("ISO_IR 203", "BC 75 76 72 65 20 A4", "Œuvre €")]
    [InlineData("ISO_IR 166", "B9 C7 D1 B2 B9 EC", "นวัฒน์")]
    [InlineData("ISO_IR 13", "D4 CF C0 DE 7E", "ﾔﾏﾀﾞ‾")]
    public void Every_set_of_one_byte_a_character_is_read_with_and_without_code_extensions(string term, string bytes, string expected)
    {
        Assert.Equal(expected, ReadText([term], Bytes(bytes), Vr.LO));
        Assert.Equal(expected, ReadText([term.Replace("ISO_IR", "ISO 2022 IR", StringComparison.Ordinal)], Bytes(bytes), Vr.LO));
    }

    // Escape sequences of PS3.3 Table C.12-3 and C.12-4 before bytes as above; value 1 is empty, so ASCII stands first.
    [Theory]
    [InlineData("ISO 2022 IR 100", "1B 2D 41 E9", "é")]
    [InlineData("ISO 2022 IR 101", "1B 2D 42 A3", "Ł")]
    [InlineData("ISO 2022 IR 109", "1B 2D 43 A6", "Ĥ")]
    [InlineData("ISO 2022 IR 110", "1B 2D 44 CC", "Ė")]
    [InlineData("ISO 2022 IR 144", "1B 2D 4C BB", "Л")]
    [InlineData("ISO 2022 IR 127", "1B 2D 47 E2", "ق")]
    [InlineData("ISO 2022 IR 126", "1B 2D 46 C4", "Δ")]
    [InlineData("ISO 2022 IR 138", "1B 2D 48 F9", "ש")]
    [InlineData("ISO 2022 IR 148", "1B 2D 4D DE", "Ş")]
    [InlineData("ISO 2022 IR 203", "1B 2D 62 A4", "€")]
    [InlineData("ISO 2022 IR 166", "1B 2D 54 B9", "น")]
    [InlineData("ISO 2022 IR 13", "1B 29 49 D4 1B 28 4A 7E", "ﾔ‾")]
    [InlineData("ISO 2022 IR 87", "1B 24 42 3B 33 1B 28 42", "山")]
    [InlineData("ISO 2022 IR 159", "1B 24 28 44 30 21 1B 28 42", "丂")]
    [InlineData("ISO 2022 IR 149", "1B 24 29 43 FB F3 41", "洪A")]
    [InlineData("ISO 2022 IR 58", "1B 24 29 41 D5 C5 41", "张A")]
    public void Every_escape_sequence_calls_its_set(string term, string bytes, string expected) =>
        Assert.Equal(expected, ReadText(["", term], Bytes(bytes), Vr.LO));

    [Theory]
    [InlineData("1B 2D 41 E9 5C E9", Vr.LO)] // backslash between values
    [InlineData("1B 2D 41 E9 5E E9", Vr.PN)] // component of a name
    [InlineData("1B 2D 41 E9 3D E9", Vr.PN)] // group of a name
    [InlineData("1B 2D 41 E9 0D E9", Vr.LT)] // end of line
    [InlineData("1B 2D 41 E9 0A E9", Vr.LT)]
    [InlineData("1B 2D 41 E9 0C E9", Vr.LT)] // end of page
    [InlineData("1B 2D 41 E9 09 E9", Vr.LT)] // tabulator
    public void A_delimiter_puts_back_the_first_set(string bytes, Vr vr)
    {
        // PS3.5 section 6.1.2.5.3: after each of them the set of value 1, Latin-2 here, stands again, in which E9 is é too, so A3 tells: Ł or £.
        string moved = bytes.Replace("E9", "A3", StringComparison.Ordinal);
        string text = ReadText(["ISO 2022 IR 101", "ISO 2022 IR 100"], Bytes(moved), vr);

        Assert.Equal(('£', 'Ł'), (text[0], text[^1]));
    }

    [Theory]
    [InlineData("1B 2D 41 A3 5C A3", Vr.LT)] // LT is single text, its backslash no delimiter
    [InlineData("1B 2D 41 A3 5E A3", Vr.LO)]
    [InlineData("1B 2D 41 A3 3D A3", Vr.LO)]
    public void What_is_no_delimiter_of_the_representation_puts_back_nothing(string bytes, Vr vr) =>
        Assert.Equal('£', ReadText(["ISO 2022 IR 101", "ISO 2022 IR 100"], Bytes(bytes), vr)[^1]);

    [Theory]
    [InlineData("\\ISO 2022 IR 87", "1B 24 42 4B 5C 1B 28 42 5C 61", "本\\a")] // 4B5C is one character
    [InlineData("\\ISO 2022 IR 87", "1B 24 42 3D 5E 3D 3D 1B 28 42 5E 61", "殉十^a")] // 3D5E and 3D3D hold the bytes of ^ and =
    [InlineData("GBK", "81 5C 5C 61", "乗\\a")]
    [InlineData("GB18030", "81 5C 5C 61", "乗\\a")]
    [InlineData("GB18030", "81 30 84 36 5C 90 30 81 30", "¥\\\U00010000")] // four bytes a character
    public void Bytes_of_delimiters_inside_a_character_part_nothing(string terms, string bytes, string expected) =>
        Assert.Equal(expected, ReadText(terms.Split('\\'), Bytes(bytes), Vr.PN));

    [Fact]
    public void The_backslash_of_the_japanese_roman_set_parts_values_and_is_a_yen_sign_in_text()
    {
        Assert.Equal("a\\b", ReadText(["ISO_IR 13"], "a\\b"u8, Vr.LO));
        Assert.Equal("a¥b", ReadText(["ISO_IR 13"], "a\\b"u8, Vr.LT));
    }

    [Theory]
    [InlineData("ISO-IR 100")]
    [InlineData("ISO IR 100")]
    [InlineData("ISO_IR_100")]
    [InlineData("iso_ir 100")]
    [InlineData("ISO 100")]
    [InlineData("ISO-8859-1")]
    [InlineData("ISO2022 IR 100")]
    public void A_misspelled_term_is_understood_and_flagged(string term)
    {
        CharacterSet set = CharacterSet.FromSpecificCharacterSet([term]);

        Assert.Contains("misspelled", set.Flaw, StringComparison.Ordinal);
        Assert.Equal("é", set.Decode([0xE9], Vr.LO, out bool flawed));
        Assert.False(flawed);
    }

    [Theory]
    [InlineData("UTF-8")]
    [InlineData("UTF8")]
    [InlineData("ISO 2022 IR 192")]
    [InlineData("ISO_IR 192\\ISO 2022 IR 87")]
    public void What_surely_means_utf_8_is_read_so_and_flagged(string terms)
    {
        CharacterSet set = CharacterSet.FromSpecificCharacterSet(terms.Split('\\'));

        Assert.NotNull(set.Flaw);
        Assert.True(set.IsUtf8);
    }

    [Theory]
    [InlineData("ISO_IR 87")]
    [InlineData("ISO_IR 149")]
    public void Sets_that_exist_with_code_extensions_only_are_read_without_and_flagged(string term) =>
        Assert.NotNull(CharacterSet.FromSpecificCharacterSet([term]).Flaw);

    [Theory]
    [InlineData("")]
    [InlineData("ISO_IR 6")]
    [InlineData("ISO 2022 IR 6\\ISO 2022 IR 87")]
    [InlineData("\\ISO 2022 IR 149")]
    [InlineData("ISO_IR 192")]
    [InlineData("GB18030")]
    [InlineData("GBK")]
    public void Terms_of_the_standard_are_no_flaw(string terms) =>
        Assert.Null(CharacterSet.FromSpecificCharacterSet(terms.Split('\\')).Flaw);
}
