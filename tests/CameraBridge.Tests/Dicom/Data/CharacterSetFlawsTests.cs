using System.Text;
using CameraBridge.Dicom.Data;
using Xunit;
using static CameraBridge.Tests.Dicom.Data.CharacterSetExamplesTests;

namespace CameraBridge.Tests.Dicom.Data;

/// <summary>Text that contradicts its declaration: read by the documented order, flagged, never lost and never '?' (rule of this product, no source).</summary>
public sealed class CharacterSetFlawsTests
{
    private static readonly CharacterSet Latin1 = CharacterSet.FromSpecificCharacterSet(["ISO_IR 100"]);

    [Fact]
    public void Utf_8_without_a_declaration_is_read_as_utf_8_whatever_the_peer_usually_means()
    {
        Assert.Equal("Müller", Read(CharacterSet.FromSpecificCharacterSet([], Latin1), "Müller"u8, out string? flaw));
        Assert.Contains("without a Specific Character Set", flaw, StringComparison.Ordinal);
    }

    [Fact]
    public void Latin_1_without_a_declaration_is_read_by_the_fallback_of_the_peer()
    {
        Assert.Equal("Müller", Read(CharacterSet.FromSpecificCharacterSet(null, Latin1), Bytes("4D FC 6C 6C 65 72"), out string? flaw));
        Assert.Contains("ISO_IR 100, the fallback of this peer", flaw, StringComparison.Ordinal);
    }

    [Fact]
    public void Without_declaration_and_fallback_each_byte_stays_visible()
    {
        Assert.Equal("M‹FC›ller", Read(CharacterSet.Undeclared, Bytes("4D FC 6C 6C 65 72"), out string? flaw));
        Assert.NotNull(flaw);
    }

    [Fact]
    public void Ascii_without_a_declaration_is_no_flaw()
    {
        Assert.Equal("Mueller^Anna", Read(CharacterSet.Undeclared, "Mueller^Anna"u8, out string? flaw));
        Assert.Null(flaw);
    }

    [Theory]
    [InlineData("ISO_IR 100")]
    [InlineData("ISO_IR 148")]
    public void Utf_8_under_a_western_declaration_is_read_as_utf_8_and_flagged(string term)
    {
        Assert.Equal("Jérôme", Read(CharacterSet.FromSpecificCharacterSet([term]), "Jérôme"u8, out string? flaw));
        Assert.Contains("UTF-8 although", flaw, StringComparison.Ordinal);
    }

    [Fact]
    public void Cyrillic_capitals_that_happen_to_be_valid_utf_8_stay_cyrillic()
    {
        // ISO 8859-5: C2 = Т, B0 = А. The same bytes are twice the degree sign in UTF-8.
        Assert.Equal("ТАТА", Read(CharacterSet.FromSpecificCharacterSet(["ISO_IR 144"]), Bytes("C2 B0 C2 B0"), out string? flaw));
        Assert.Null(flaw);
    }

    [Fact]
    public void Latin_1_under_a_utf_8_declaration_is_read_by_the_fallback_or_made_visible()
    {
        Assert.Equal("Müller", Read(CharacterSet.FromSpecificCharacterSet(["ISO_IR 192"], Latin1), Bytes("4D FC 6C 6C 65 72"), out string? withFallback));
        Assert.Equal("é M‹FC›ller", Read(CharacterSet.Utf8, Bytes("C3 A9 20 4D FC 6C 6C 65 72"), out string? without));
        Assert.NotNull(withFallback);
        Assert.NotNull(without);
    }

    [Fact]
    public void An_unknown_term_counts_as_missing_and_is_flagged()
    {
        CharacterSet set = CharacterSet.FromSpecificCharacterSet(["KLINGON"], Latin1);

        Assert.NotNull(set.Flaw);
        Assert.Equal("ü", Read(set, [0xFC], out _));
    }

    [Fact]
    public void Windows_quotes_and_the_euro_sign_in_latin_1_are_read_and_flagged()
    {
        // Code page 1252: 80 = euro sign, 92 = right single quotation mark. ISO 8859-1 has controls there.
        Assert.Equal("€ O’Hara", Read(Latin1, Bytes("80 20 4F 92 48 61 72 61"), out string? flaw));
        Assert.Contains("1252", flaw, StringComparison.Ordinal);
    }

    [Fact]
    public void Escape_sequences_without_a_declaration_are_followed_and_flagged()
    {
        Assert.Equal("山田", Read(CharacterSet.Undeclared, Bytes("1B 24 42 3B 33 45 44 1B 28 42"), out string? flaw));
        Assert.NotNull(flaw);
    }

    [Fact]
    public void A_set_that_was_not_named_again_after_a_delimiter_goes_on_and_is_flagged()
    {
        CharacterSet korean = CharacterSet.FromSpecificCharacterSet(["", "ISO 2022 IR 149"]);

        Assert.Equal("洪^吉洞", korean.Decode(Bytes("1B 24 29 43 FB F3 5E D1 CE D4 D7"), Vr.PN, out string? flaw));
        Assert.Contains("6.1.2.5.3", flaw, StringComparison.Ordinal);
    }

    [Theory]
    [InlineData("GB18030", "41 FF 42", "A‹FF›B")]
    [InlineData("GBK", "41 FF 42", "A‹FF›B")]
    [InlineData("ISO_IR 192", "41 C3", "A‹C3›")] // cut in the middle of a character
    [InlineData("\\ISO 2022 IR 87", "1B 24 42 3B", "‹3B›")]
    [InlineData("\\ISO 2022 IR 149", "1B 24 29 43 FB", "‹FB›")]
    [InlineData("\\ISO 2022 IR 87", "41 1B 7A 42", "A‹1B›zB")] // no escape sequence of DICOM
    [InlineData("ISO_IR 166", "FF", "‹FF›")] // TIS 620 ends at FBH
    public void Bytes_that_are_no_character_stay_visible(string terms, string bytes, string expected)
    {
        Assert.Equal(expected, Read(CharacterSet.FromSpecificCharacterSet(terms.Split('\\')), Bytes(bytes), out string? flaw));
        Assert.NotNull(flaw);
    }

    [Fact]
    public void No_bytes_under_no_declaration_lose_anything_or_throw()
    {
        string[][] declarations =
        [
            [], ["ISO_IR 6"], ["ISO_IR 100"], ["ISO_IR 126"], ["ISO_IR 13"], ["ISO_IR 166"], ["ISO_IR 192"], ["GB18030"], ["GBK"], ["nonsense"],
            ["ISO 2022 IR 13", "ISO 2022 IR 87", "ISO 2022 IR 159"], ["", "ISO 2022 IR 149"], ["", "ISO 2022 IR 58"], ["ISO 2022 IR 100", "ISO 2022 IR 144"],
        ];
        byte[][] pieces = [.. "1B2442 1B242844 1B242943 1B242941 1B2842 1B284A 1B2D41 1B2949 5C 5E 3D 0D0A 41 E9 C3A9 3B33 FF 1B 80 20"
            .Split(' ').Select(Convert.FromHexString)];
        var random = new Random(20260131);
        for (int round = 0; round < 10_000; round++)
        {
            byte[] bytes = [.. Enumerable.Range(0, random.Next(1, 12)).SelectMany(_ => random.Next(4) > 0
                ? pieces[random.Next(pieces.Length)] : [(byte)random.Next(256)]).Where(one => one != (byte)'?')];
            CharacterSet set = CharacterSet.FromSpecificCharacterSet(declarations[random.Next(declarations.Length)], random.Next(2) == 0 ? null : Latin1);
            Vr vr = random.Next(3) switch { 0 => Vr.PN, 1 => Vr.LO, _ => Vr.LT };

            string text = set.Decode(bytes, vr, out bool flawed);

            Assert.DoesNotContain('?', text);
            Assert.DoesNotContain('\uFFFD', text);
            Assert.DoesNotContain('\uFDD0', text);
            Assert.True(flawed || !text.Contains('‹', StringComparison.Ordinal), Convert.ToHexString(bytes));
            Assert.True(flawed || bytes.All(one => one < 0x80) || text.Any(one => one > 0x7E), Convert.ToHexString(bytes));
            Assert.Equal(Encoding.UTF8.GetString(Encoding.UTF8.GetBytes(text)), text);
        }
    }

    private static string Read(CharacterSet set, ReadOnlySpan<byte> bytes, out string? flaw) => set.Decode(bytes, Vr.PN, out flaw);
}
