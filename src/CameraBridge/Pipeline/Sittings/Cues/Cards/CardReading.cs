using CameraBridge.Pipeline.Objects.Optics;

namespace CameraBridge.Pipeline.Sittings.Cues.Cards;

/// <summary>Makes cues of the texts of cards: what they say in the words of sidecars, as far as the site knows it.</summary>
internal static class CardReading
{
    /// <summary>The cue of a code's text; null when the code is no card. What cannot be understood holds, with the reason in the cue.</summary>
    /// <param name="text">Of the code.</param>
    /// <param name="optics">Those of the site.</param>
    /// <param name="captureId">The picture that shows the card.</param>
    public static Cue? Read(string text, OpticsTable optics, long captureId)
    {
        if (CardText.Read(text) is not { } read)
        {
            return null;
        }

        var cue = new Cue { CaptureId = captureId, Kind = CueKind.Card, Card = read.Card, Finding = read.Finding };
        return read.Card switch
        {
            { Key: CardKeys.Side, Value: var side } => cue with { Side = side },
            { Key: CardKeys.Tooth, Value: var teeth } => cue with { Values = OpticValues.None.With(ValueKeys.Tooth, teeth.Split(CardKeys.Between)) },
            { Key: CardKeys.Optic, Value: var optic } => WithOptic(cue, optic, optics),
            { Key: CardKeys.Site, Value: var site } => WithSite(cue, site),
            _ => cue,
        };
    }

    /// <summary>A card is in capitals, whatever the name is written in.</summary>
    private static Cue WithOptic(Cue cue, string name, OpticsTable optics) =>
        optics.Names.Where(known => known.Equals(name, StringComparison.OrdinalIgnoreCase)).ToArray() is [var only]
            ? cue with { Optic = only }
            : cue with
            {
                Card = null,
                Finding = new Reason("card-optic-unknown", $"A cue card names the optic \"{name}\", which is not in the configuration, or twice; print the cards of this site, and say by hand which optic it was."),
            };

    private static Cue WithSite(Cue cue, string value) =>
        ValueKeys.FindCode(value, ValueKeys.AnyBodySite) is { } code
            ? cue with { Values = OpticValues.None.With(ValueKeys.BodySite, code.ToString()) }
            : cue with
            {
                Card = null,
                Finding = new Reason("card-site-unknown", $"A cue card names the body site {value}, which is no code that this program knows; print the cards anew, and say by hand which site it was."),
            };
}
