using CameraBridge.Dicom.Data;
using Xunit;

namespace CameraBridge.Tests.Dicom.Data;

/// <summary>
/// The worked examples of PS3.5 Annexes H to K (edition 2024e; the same in 2019e), byte for byte. H.3.1, H.3.2, I.2, J.1 and J.3 are also what
/// pydicom 2.3.1 reads from its files chrH31, chrH32, chrI2, chrX1 and chrX2.
/// </summary>
public sealed class CharacterSetExamplesTests
{
    [Fact]
    public void Annex_H_3_1_a_japanese_name_in_three_groups()
    {
        // "Yamada^Tarou" = ESC $ B Kanji ESC ( B ^ ... = ESC $ B Hiragana ESC ( B ^ ...
        PersonName name = Read(
            ["", "ISO 2022 IR 87"],
            "59 61 6D 61 64 61 5E 54 61 72 6F 75 3D 1B 24 42 3B 33 45 44 1B 28 42 5E 1B 24 42 42 40 4F 3A 1B 28 42 3D "
            + "1B 24 42 24 64 24 5E 24 40 1B 28 42 5E 1B 24 42 24 3F 24 6D 24 26 1B 28 42");

        Assert.Equal(new PersonNameGroup("Yamada", "Tarou"), name.Alphabetic);
        Assert.Equal(new PersonNameGroup("山田", "太郎"), name.Ideographic);
        Assert.Equal(new PersonNameGroup("やまだ", "たろう"), name.Phonetic);
    }

    [Fact]
    public void Annex_H_3_2_a_japanese_name_with_half_width_katakana_in_the_first_group()
    {
        // Katakana in G1 and JIS X 0201 Roman in G0 from the start; ESC ( J brings the Roman set back after Kanji.
        PersonName name = Read(
            ["ISO 2022 IR 13", "ISO 2022 IR 87"],
            "D4 CF C0 DE 5E C0 DB B3 3D 1B 24 42 3B 33 45 44 1B 28 4A 5E 1B 24 42 42 40 4F 3A 1B 28 4A 3D "
            + "1B 24 42 24 64 24 5E 24 40 1B 28 4A 5E 1B 24 42 24 3F 24 6D 24 26 1B 28 4A");

        Assert.Equal(new PersonNameGroup("ﾔﾏﾀﾞ", "ﾀﾛｳ"), name.Alphabetic);
        Assert.Equal(new PersonNameGroup("山田", "太郎"), name.Ideographic);
        Assert.Equal(new PersonNameGroup("やまだ", "たろう"), name.Phonetic);
    }

    [Fact]
    public void Annex_I_2_a_korean_name_in_three_groups()
    {
        // Each component says ESC $ ) C again, since ^ and = put G1 back to nothing.
        PersonName name = Read(
            ["", "ISO 2022 IR 149"],
            "48 6F 6E 67 5E 47 69 6C 64 6F 6E 67 3D 1B 24 29 43 FB F3 5E 1B 24 29 43 D1 CE D4 D7 3D 1B 24 29 43 C8 AB 5E 1B 24 29 43 B1 E6 B5 BF");

        Assert.Equal(new PersonNameGroup("Hong", "Gildong"), name.Alphabetic);
        Assert.Equal(new PersonNameGroup("洪", "吉洞"), name.Ideographic);
        Assert.Equal(new PersonNameGroup("홍", "길동"), name.Phonetic);
    }

    [Fact]
    public void Annex_I_3_korean_text_names_its_set_again_on_each_line()
    {
        // "The 1st line includes " ESC $ ) C B1E6 B5BF "." CR LF, and so on. Bytes of the names as in I.2; the English text from memory.
        byte[] designate = Bytes("1B 24 29 43 B1 E6 B5 BF");
        byte[] text = [.. "The 1st line includes "u8, .. designate, .. ".\r\nThe 2nd line includes "u8, .. designate, .. ", too.\r\nThe 3rd line."u8];

        Assert.Equal(
            "The 1st line includes 길동.\r\nThe 2nd line includes 길동, too.\r\nThe 3rd line.",
            ReadText(["", "ISO 2022 IR 149"], text, Vr.LT));
    }

    [Fact]
    public void Annex_J_1_a_chinese_name_in_utf_8()
    {
        PersonName name = Read(["ISO_IR 192"], "57 61 6e 67 5e 58 69 61 6f 44 6f 6e 67 3d e7 8e 8b 5e e5 b0 8f e6 9d b1 3d");

        Assert.Equal(new PersonName(new("Wang", "XiaoDong"), new("王", "小東"), PersonNameGroup.Empty), name);
    }

    [Fact]
    public void Annex_J_2_chinese_text_in_utf_8() => Assert.Equal(
        "The first line includes中文.\r\nThe second line includes中文, too.\r\nThe third line.\r\n",
        ReadText(["ISO_IR 192"], MixedText("e4 b8 ad e6 96 87"), Vr.LT));

    [Theory]
    [InlineData("GB18030")]
    [InlineData("GBK")]
    public void Annex_J_3_a_chinese_name_in_gb_18030_or_gbk(string term)
    {
        PersonName name = Read([term], "57 61 6e 67 5e 58 69 61 6f 44 6f 6e 67 3d cd f5 5e d0 a1 b6 ab 3d");

        Assert.Equal(new PersonName(new("Wang", "XiaoDong"), new("王", "小东"), PersonNameGroup.Empty), name);
    }

    [Theory]
    [InlineData("GB18030")]
    [InlineData("GBK")]
    public void Annex_J_4_chinese_text_in_gb_18030_or_gbk(string term) => Assert.Equal(
        "The first line includes中文.\r\nThe second line includes中文, too.\r\nThe third line.\r\n",
        ReadText([term], MixedText("d6 d0 ce c4"), Vr.LT));

    [Fact]
    public void Annex_K_2_a_chinese_name_in_gb_2312_with_code_extensions()
    {
        PersonName name = Read(
            ["", "ISO 2022 IR 58"],
            "5A 68 61 6E 67 5E 58 69 61 6F 44 6F 6E 67 3D 1B 24 29 41 D5 C5 5E 1B 24 29 41 D0 A1 B6 AB 3D 20");

        Assert.Equal(new PersonName(new("Zhang", "XiaoDong"), new("张", "小东"), PersonNameGroup.Empty), name);
    }

    [Fact]
    public void Annex_K_3_chinese_text_in_gb_2312_names_its_set_again_on_each_line()
    {
        // "n." ESC $ ) A, then "line of text n" in Chinese, CR LF.
        byte[] text = Bytes(
            "31 2e 1B 24 29 41 B5 DA D2 BB D0 D0 CE C4 D7 D6 A1 A3 0D 0A "
            + "32 2e 1B 24 29 41 B5 DA B6 FE D0 D0 CE C4 D7 D6 A1 A3 0D 0A "
            + "33 2e 1B 24 29 41 B5 DA C8 FD D0 D0 CE C4 D7 D6 A1 A3 0D 0A");

        Assert.Equal("1.第一行文字。\r\n2.第二行文字。\r\n3.第三行文字。\r\n", ReadText(["", "ISO 2022 IR 58"], text, Vr.LT));
    }

    internal static byte[] Bytes(string hexadecimal) => Convert.FromHexString(hexadecimal.Replace(" ", "", StringComparison.Ordinal));

    internal static string ReadText(string[] terms, ReadOnlySpan<byte> bytes, Vr vr)
    {
        string text = CharacterSet.FromSpecificCharacterSet(terms).Decode(bytes, vr, out string? flaw);
        Assert.Null(flaw);
        return text;
    }

    private static PersonName Read(string[] terms, string hexadecimal) => PersonName.Parse(ReadText(terms, Bytes(hexadecimal), Vr.PN));

    private static byte[] MixedText(string chinese)
    {
        byte[] two = Bytes(chinese);
        return [.. "The first line includes"u8, .. two, .. ".\r\nThe second line includes"u8, .. two, .. ", too.\r\nThe third line.\r\n"u8];
    }
}
