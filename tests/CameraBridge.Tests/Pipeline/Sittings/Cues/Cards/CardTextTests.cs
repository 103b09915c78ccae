using System.Globalization;
using CameraBridge.Pipeline;
using CameraBridge.Pipeline.Objects.Optics;
using CameraBridge.Pipeline.Sittings.Cues.Cards;
using CameraBridge.Tests.Peers;
using Xunit;

namespace CameraBridge.Tests.Pipeline.Sittings.Cues.Cards;

/// <summary>The grammar is the program's own; its check value is that of ITU-T V.41, held against Python's binascii.crc_hqx.</summary>
public sealed class CardTextTests
{
    private static CancellationToken Cancellation => TestContext.Current.CancellationToken;

    [Theory]
    [InlineData("side", "R", "CB1:SIDE:R:D527")]
    [InlineData("done", "patient", "CB1:DONE:PATIENT:5E98")]
    [InlineData("clock", "20261125T093000Z", "CB1:CLOCK:20261125T093000Z:C099")]
    public void A_card_is_written_as_documented_and_read_back(string key, string value, string text)
    {
        Assert.Equal(text, CardText.Write(new CardCue(key, value)));
        Assert.Equal((new CardCue(key, value), null), CardText.Read(text));
    }

    /// <summary>The catalogues of CRC parameters give 29B1 for "123456789" with this polynomial and beginning (from memory); Python agrees below.</summary>
    [Fact]
    public void The_check_value_is_the_one_of_the_catalogues() => Assert.Equal("29B1", CardText.CheckOf("123456789"));

    [Fact]
    public async Task Python_computes_the_same_check_values()
    {
        string[] said = [.. Cards().Select(card => CardText.Write(card)[..^5])];

        string answer = await OutsideProgram.RunAsync(
            "/usr/bin/python3", ["-c", "import sys, binascii\nfor text in sys.argv[1:]: print('%04X' % binascii.crc_hqx(text.encode('ascii'), 0xFFFF))", .. said]);

        Assert.Equal(said.Select(CardText.CheckOf), answer.Split('\n', StringSplitOptions.RemoveEmptyEntries));
    }

    [Fact]
    public void One_character_misread_is_always_found()
    {
        foreach (CardCue card in Cards())
        {
            string text = CardText.Write(card);
            for (int at = 0; at < text.Length; at++)
            {
                for (char other = ' '; other <= '~'; other++)
                {
                    if (other != text[at])
                    {
                        string misread = text[..at] + other + text[(at + 1)..];
                        (CardCue? read, Reason? finding) = Assert.NotNull(CardText.Read(misread));
                        Assert.True(read is null && finding is not null, misread);
                    }
                }
            }
        }
    }

    [Fact]
    public void Neighbours_that_changed_places_and_texts_that_are_cut_are_never_a_card()
    {
        foreach (string text in Cards().Select(CardText.Write))
        {
            for (int at = 1; at < text.Length; at++)
            {
                string changed = text[..(at - 1)] + text[at] + text[at - 1] + text[(at + 1)..];
                Assert.True(changed == text || CardText.Read(changed) is null or { Card: null }, changed);
                Assert.True(CardText.Read(text[..at]) is null or { Card: null }, text[..at]);
            }
        }
    }

    [Theory]
    [InlineData("PID:4100017")]
    [InlineData("https://clinic.example/menu")]
    [InlineData("")]
    [InlineData("CB1")]
    [InlineData("CBX:4711")]
    [InlineData("CBR1:0042")]
    public void A_text_without_the_beginning_of_cards_is_none_of_ours(string text) => Assert.Null(CardText.Read(text));

    [Theory]
    [InlineData("CB2:SIDE:R", "card-version")]
    [InlineData("CB12:4711:", "card-version")]
    [InlineData("CB1:COLOUR:RED", "card-key-unknown")]
    [InlineData("CB1:SIDE:X", "card-value")]
    [InlineData("CB1:SIDE:", "card-value")]
    [InlineData("CB1:TOOTH:19", "card-value")]
    [InlineData("CB1:TOOTH:11+", "card-value")]
    [InlineData("CB1:CLOCK:20261131T093000Z", "card-value")]
    [InlineData("CB1:CLOCK:20261125T093000", "card-value")]
    [InlineData("CB1:SCALE:0500", "card-value")]
    [InlineData("CB1:SCALE:30", "card-value")]
    [InlineData("CB1:OPTIC:A B", "card-value")]
    [InlineData("CB1:DONE:LAST", "card-value")]
    [InlineData("CB1:SIDE:R:L", "card-damaged")]
    [InlineData("CB1:SIDE", "card-damaged")]
    [InlineData("CB1", "card-damaged")]
    public void A_card_that_nobody_can_understand_says_why(string said, string code)
    {
        (CardCue? card, Reason? finding) = Assert.NotNull(CardText.Read($"{said}:{CardText.CheckOf(said)}"));

        Assert.Null(card);
        Assert.Equal(code, finding!.Code);
    }

    [Fact]
    public void A_card_tells_its_instant_in_utc_and_its_length_in_millimetres()
    {
        Assert.Equal(new DateTimeOffset(2026, 11, 25, 9, 30, 0, TimeSpan.Zero), new CardCue(CardKeys.Clock, "20261125T093000Z").Clock);
        Assert.Equal(50.0m, new CardCue(CardKeys.Scale, "500").ScaleMillimetres);
        Assert.Equal((null, null), (new CardCue(CardKeys.Side, "R").Clock, new CardCue(CardKeys.Side, "R").ScaleMillimetres));
    }

    [Fact]
    public void A_value_that_cannot_be_said_is_not_printed() =>
        Assert.Throws<ArgumentException>(() => CardText.Write(new CardCue(CardKeys.Side, "X")));

    [Fact]
    public void An_optic_is_the_sites_own_by_its_name_whatever_its_capitals()
    {
        OpticsTable optics = OpticsTable.Own.With(OpticsTable.Own.All.First() with { Name = "Slit-Lamp_2" });

        Cue known = CardReading.Read(CardText.Write(new CardCue(CardKeys.Optic, "slit-lamp_2")), optics, 7)!;
        Cue unknown = CardReading.Read(CardText.Write(new CardCue(CardKeys.Optic, "slit-lamp_2")), OpticsTable.Own, 7)!;
        Cue twice = CardReading.Read(
            CardText.Write(new CardCue(CardKeys.Optic, "slit-lamp_2")), optics.With(OpticsTable.Own.All.First() with { Name = "SLIT-LAMP_2" }), 7)!;

        Assert.Equal(("Slit-Lamp_2", null), (known.Optic, known.Finding));
        Assert.All((Cue[])[unknown, twice], cue => Assert.Equal((null, null, "card-optic-unknown"), (cue.Card, cue.Optic, cue.Finding!.Code)));
    }

    [Fact]
    public void A_site_and_teeth_are_said_as_sidecars_say_them()
    {
        Cue site = CardReading.Read(CardText.Write(new CardCue(CardKeys.Site, "77568009")), OpticsTable.Own, 7)!;
        Cue teeth = CardReading.Read(CardText.Write(new CardCue(CardKeys.Tooth, "11+21")), OpticsTable.Own, 7)!;
        Cue strange = CardReading.Read(CardText.Write(new CardCue(CardKeys.Site, "4711")), OpticsTable.Own, 7)!;

        Assert.Equal("77568009", site.Values.CodeOf(ValueKeys.BodySite)!.Value.Value);
        Assert.Equal(["11", "21"], teeth.Values.All(ValueKeys.Tooth));
        Assert.Equal((null, "card-site-unknown"), (strange.Card, strange.Finding!.Code));
    }

    /// <summary>Some of each key, the site's and the clock's values drawn at random.</summary>
    internal static IEnumerable<CardCue> Cards()
    {
        var random = new Random(20261128);
        foreach (string side in (string[])["R", "L", "B"])
        {
            yield return new CardCue(CardKeys.Side, side);
        }

        yield return new CardCue(CardKeys.Done, CardKeys.DonePatient);
        yield return new CardCue(CardKeys.Ignore, CardKeys.IgnoreLast);
        foreach (string optic in OpticsTable.Own.Names)
        {
            yield return new CardCue(CardKeys.Optic, optic);
        }

        foreach (string tooth in Teeth.Designations)
        {
            yield return new CardCue(CardKeys.Tooth, tooth);
        }

        for (int i = 0; i < 20; i++)
        {
            yield return new CardCue(CardKeys.Site, random.NextInt64(1_000_000, 999_999_999_999).ToString(CultureInfo.InvariantCulture));
            yield return new CardCue(CardKeys.Scale, random.Next(50, 20_001).ToString(CultureInfo.InvariantCulture));
            yield return new CardCue(CardKeys.Clock, DateTimeOffset.UnixEpoch.AddSeconds(random.NextInt64(1_700_000_000, 3_000_000_000)).ToString(CardKeys.ClockForm, CultureInfo.InvariantCulture));
        }
    }
}
