using CameraBridge.Pipeline.Sittings.Cues.Labels;
using Xunit;

namespace CameraBridge.Tests.Pipeline.Sittings.Cues.Labels;

/// <summary>
/// Element strings: GS1 General Specifications (release 22), sections 3.2 and 7.8; "|" stands for FNC1 as readers give it. Keys are invented under the prefix
/// 952, which GS1 keeps for examples.
/// </summary>
public sealed class Gs1ElementsTests
{
    // Predefined lengths need no separator, others need one unless they are last (section 7.8.5). The first is the worked example of the check digit of gs1.org.
    [Theory]
    [InlineData("0106291041500213", "01=06291041500213")]
    [InlineData("010952012345678817290131" + "10LOT7|21S1", "01=09520123456788,17=290131,10=LOT7,21=S1")]
    [InlineData("8018952012345678901233|801912", "8018=952012345678901233,8019=12")]
    [InlineData("8018952012345678901233", "8018=952012345678901233")]
    [InlineData("8020ORDER-77|8018952012345678901233|", "8020=ORDER-77,8018=952012345678901233")]
    [InlineData("17290131|10L", "17=290131,10=L")]
    [InlineData("91A|91A", "91=A")]
    [InlineData("2531234567890128X/1", "253=1234567890128X/1")]
    public void A_text_is_taken_apart_by_its_identifiers(string text, string elements)
    {
        Gs1Elements read = Gs1Elements.Read(text.Replace('|', CodeMark.Separator));

        Assert.Null(read.Flaw);
        Assert.Equal(elements, string.Join(',', read.Values.Select(one => $"{one.Key}={one.Value}")));
    }

    [Theory]
    [InlineData("", "empty")]
    [InlineData("|", "identifier")]
    [InlineData("0", "identifier")]
    [InlineData("801", "identifier")]
    [InlineData("80X8952012345678901233", "identifier")]
    [InlineData("0409520123456788", "identifier")]
    [InlineData("0106291041500214", "check digit")]
    [InlineData("010629104150021", "shorter")]
    [InlineData("01062910|10L", "shorter")]
    [InlineData("8018952012345678901234", "check digit")]
    [InlineData("801895201234567890123", "length")]
    [InlineData("80189520123456789012330", "length")]
    [InlineData("8020", "empty")]
    [InlineData("8020A B", "character")]
    [InlineData("91A|91B", "two things")]
    public void A_damaged_text_says_what_is_wrong_and_nothing_of_what_it_says(string text, string words)
    {
        string flaw = Gs1Elements.Read(text.Replace('|', CodeMark.Separator)).Flaw!;

        Assert.Contains(words, flaw, StringComparison.Ordinal);
        Assert.DoesNotContain(flaw.Replace("GS1", "", StringComparison.Ordinal), char.IsDigit);
    }

    // GS1 General Specifications, Figure 7.8.2-1, as GS1 publishes it in machine-readable form (Tag Data Translation 2.0, table K).
    [Theory]
    [InlineData("00", true)]
    [InlineData("8018", true)]
    [InlineData("8020", true)]
    [InlineData("410", true)]
    [InlineData("99", true)]
    [InlineData("3103", true)]
    [InlineData("41", false)]
    [InlineData("801", false)]
    [InlineData("80180", false)]
    [InlineData("38", false)]
    [InlineData("8O18", false)]
    [InlineData("", false)]
    public void An_identifier_is_as_long_as_its_first_digits_say(string text, bool isOne) => Assert.Equal(isOne, Gs1Elements.IsIdentifier(text));

    [Fact]
    public void No_text_whatever_is_more_than_a_flaw()
    {
        var random = new Random(8018);
        for (int round = 0; round < 20_000; round++)
        {
            string text = new([.. Enumerable.Range(0, random.Next(40)).Select(_ => "0123456789AB|"[random.Next(13)])]);

            Gs1Elements read = Gs1Elements.Read(text.Replace('|', CodeMark.Separator));

            Assert.True(read.Flaw is not null || read.Values.Count > 0, text);
        }
    }
}
