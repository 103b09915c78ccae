using System.Globalization;
using CameraBridge.Pipeline.Objects.Optics;
using CameraBridge.Pipeline.Sittings.Cues.Cards;

namespace CameraBridge.Commands.Cards;

/// <summary>All cards of a site: sides, its optics, sites on the body, teeth, done, ignore, the scale, and two that tell people how.</summary>
internal static class CardDeck
{
    private const string SitePrefix = "site.";

    /// <param name="optics">Those of the site.</param>
    /// <param name="texts">In the language of the cards.</param>
    /// <param name="paper">What they are printed on, since the scale's length depends on it.</param>
    public static IReadOnlyList<PrintedCard> Of(OpticsTable optics, CardTexts texts, CardPaper paper) =>
    [
        Instructions("use", texts),
        Side("side-right", "R", texts),
        Side("side-left", "L", texts),
        Side("side-both", "B", texts),
        .. optics.Names.Select(name => Optic(name, optics, texts)),
        .. texts.Keys.Where(key => key.StartsWith(SitePrefix, StringComparison.Ordinal)).Select(key => key[SitePrefix.Length..]).Select(code => Site(code, texts)),
        .. Teeth.Designations.Select(tooth => Tooth(tooth, texts)),
        Plain(CardKeys.Ignore, CardKeys.IgnoreLast, texts),
        Plain(CardKeys.Done, CardKeys.DonePatient, texts),
        Scale(texts, paper),
        Instructions("care", texts),
    ];

    private static PrintedCard Side(string name, string side, CardTexts texts) => Said(name, new CardCue(CardKeys.Side, side), texts[$"side.{side}"], texts);

    /// <summary>An optic of the site's own has its title, which may be that of the one it is like; its name above tells them apart.</summary>
    private static PrintedCard Optic(string name, OpticsTable optics, CardTexts texts)
    {
        optics.TryFind(name, out Optic? optic);
        string title = texts.Find($"optic.{name}") ?? optic?.Title ?? name;
        return Said($"optic-{name}", new CardCue(CardKeys.Optic, name.ToLowerInvariant()), title, texts) with { Kind = $"{texts["kind.optic"]}: {name}" };
    }

    private static PrintedCard Site(string code, CardTexts texts) => Said($"site-{code}", new CardCue(CardKeys.Site, code), texts[SitePrefix + code], texts);

    private static PrintedCard Tooth(string tooth, CardTexts texts)
    {
        int quadrant = tooth[0] - '0';
        bool isMilk = quadrant > 4;
        string place = texts[$"tooth.{(isMilk ? "milk" : "place")}.{tooth[1]}"];
        string where = texts[string.Create(CultureInfo.InvariantCulture, $"tooth.quadrant.{(isMilk ? quadrant - 4 : quadrant)}")];
        return Said($"tooth-{tooth}", new CardCue(CardKeys.Tooth, tooth), texts.With("tooth", tooth), texts) with { Lines = [texts.With("say.tooth", $"{place}, {where}")] };
    }

    private static PrintedCard Plain(string key, string value, CardTexts texts) => Said(key, new CardCue(key, value), texts[key], texts);

    private static PrintedCard Scale(CardTexts texts, CardPaper paper)
    {
        string length = paper.ScaleCode.ToString("0.0", CultureInfo.InvariantCulture);
        string tenths = (paper.ScaleCode * 10).ToString("0", CultureInfo.InvariantCulture);
        return Said(CardKeys.Scale, new CardCue(CardKeys.Scale, tenths), texts.With(CardKeys.Scale, length), texts) with
        {
            CodeSide = paper.ScaleCode,
            Ruler = texts.With("ruler", paper.Ruler),
        };
    }

    private static PrintedCard Said(string name, CardCue cue, string title, CardTexts texts) => new()
    {
        Name = name,
        Cue = cue,
        Kind = texts[$"kind.{cue.Key}"],
        Title = title,
        Lines = cue.Key == CardKeys.Tooth ? [] : [texts[$"say.{cue.Key}"]],
        Caution = texts[$"care.{cue.Key}"],
    };

    private static PrintedCard Instructions(string name, CardTexts texts) => new()
    {
        Name = name,
        Title = texts[name],
        Lines = [.. Enumerable.Range(1, 5).Select(number => texts[string.Create(CultureInfo.InvariantCulture, $"{name}.{number}")])],
    };
}
