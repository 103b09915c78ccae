using CameraBridge.Pipeline.Objects.Optics;
using CameraBridge.Pipeline.Sittings.Cues;
using CameraBridge.Pipeline.Sittings.Cues.Cards;

namespace CameraBridge.Pipeline.Sittings;

/// <summary>
/// What the cue cards of a sitting do to its pictures. Pure: captures in their order and cues in, meanings out.
/// <list type="bullet">
/// <item>Side, optic, body site and tooth are true of the pictures after the card, until another card of the same key. A card of another optic ends what
/// cards said of site and tooth, which were those of the optic before it.</item>
/// <item>"Ignore" takes back the last picture before it. With nothing before it, or twice in a row, nobody can tell what was meant: the sitting is held.</item>
/// <item>Two cards of one key that say different things in one picture hold, too; beyond them, and beyond a card that cannot be understood, nothing
/// reaches that cards said before.</item>
/// <item>Where it is in doubt which pictures follow which, cards say nothing: the sitting is held for that.</item>
/// </list>
/// </summary>
internal sealed class CardActs
{
    private readonly HashSet<long> _cards = [];
    private readonly Dictionary<long, (string? Optic, OpticValues Said)> _said = [];
    private readonly Dictionary<long, Reason> _takenBack = [];
    private readonly List<Reason> _problems = [];
    private readonly List<Reason> _evidence = [];

    /// <param name="sitting">The sitting.</param>
    /// <param name="captures">Its captures, in the order in which they were taken.</param>
    /// <param name="cues">Their cues.</param>
    public CardActs(Sitting sitting, IReadOnlyList<Capture> captures, IReadOnlyList<Cue> cues)
    {
        ILookup<long, Cue> cuesOf = cues.ToLookup(cue => cue.CaptureId);
        bool isOrdered = sitting.Doubt is null;
        var said = (Optic: (string?)null, Values: OpticValues.None);
        (long Id, int Number)? last = null;
        bool ignoredSince = false;
        int number = 0;
        foreach (Capture capture in captures.Where(capture => !Sidecar.IsSidecar(capture.Place)))
        {
            number++;
            Cue[] cards = [.. cuesOf[capture.Id].Where(cue => cue.Kind == CueKind.Card)];
            if (cards.Length == 0)
            {
                if (cuesOf[capture.Id].All(cue => cue.Kind != CueKind.Label))
                {
                    _said.Add(capture.Id, said);
                    last = (capture.Id, number);
                    ignoredSince = false;
                }

                continue;
            }

            _cards.Add(capture.Id);
            _evidence.AddRange(cards.Where(cue => cue.Card is not null).Select(cue => new Reason("card", FormattableString.Invariant($"a cue card in picture {number}: {Words(cue)}"))));
            if (!isOrdered)
            {
                continue;
            }

            said = Say(said, cards, number);
            _said.Add(capture.Id, said);
            if (cards.Any(cue => cue.Card?.Key == CardKeys.Ignore))
            {
                TakeBack(last, number, ignoredSince);
                ignoredSince = true;
            }
        }
    }

    /// <summary>Why a person must look before anything is filed; empty where all is clear.</summary>
    public IReadOnlyList<Reason> Problems => _problems;

    /// <summary>What the cards say, and what was taken back, in words; pictures are counted in their order, label shots and cards included.</summary>
    public IReadOnlyList<Reason> Evidence => _evidence;

    /// <summary>Whether the picture shows a card, and so is none to be filed.</summary>
    public bool IsCard(long captureId) => _cards.Contains(captureId);

    /// <summary>Why the picture is not to be filed though it is a picture; null when no card took it back.</summary>
    public Reason? TakenBack(long captureId) => _takenBack.GetValueOrDefault(captureId);

    /// <summary>The optic, or null when no card says it, and what else cards say of the picture; of a card, what is true from it on.</summary>
    public (string? Optic, OpticValues Said) Of(long captureId) => _said.TryGetValue(captureId, out (string? Optic, OpticValues Said) said) ? said : (null, OpticValues.None);

    /// <summary>What a card means, for people.</summary>
    public static string Words(Cue cue) => cue.Card switch
    {
        { Key: CardKeys.Side } => $"side {cue.Side}, from there on",
        { Key: CardKeys.Optic } => $"optic {cue.Optic}, from there on",
        { Key: CardKeys.Site, Value: var site } => $"body site {cue.Values.CodeOf(ValueKeys.BodySite)?.Meaning ?? site}, from there on",
        { Key: CardKeys.Tooth, Value: var teeth } => $"tooth {teeth.Replace("+", " and ", StringComparison.Ordinal)}, from there on",
        { Key: CardKeys.Done } => "the patient is done",
        { Key: CardKeys.Ignore } => "the picture before it is to be ignored",
        { Clock: { } clock } => FormattableString.Invariant($"the time {clock:yyyy-MM-dd HH:mm:ss} UTC"),
        { ScaleMillimetres: { } length } => FormattableString.Invariant($"a scale of {length:0.0} mm"),
        _ => "not understood",
    };

    private (string? Optic, OpticValues Values) Say((string? Optic, OpticValues Values) said, Cue[] cards, int number)
    {
        bool isClear = cards.All(cue => cue.Card is not null);
        foreach (IGrouping<string, CardCue> one in cards.Select(cue => cue.Card).OfType<CardCue>().Distinct().GroupBy(card => card.Key, StringComparer.Ordinal))
        {
            if (one.Count() > 1)
            {
                isClear = false;
                _problems.Add(new Reason(
                    "card-contradiction",
                    FormattableString.Invariant($"Two cards of the kind '{one.Key}' in picture {number} say different things; ask who took the pictures, and say by hand what was meant.")));
            }
        }

        if (!isClear)
        {
            return (null, OpticValues.None);
        }

        if (cards.Select(cue => cue.Optic).OfType<string>().FirstOrDefault() is { } optic && optic != said.Optic)
        {
            said = (optic, said.Values.With(ValueKeys.BodySite).With(ValueKeys.Tooth));
        }

        foreach (Cue cue in cards)
        {
            said.Values = cue.Values.Over(cue.Side is { } side ? said.Values.With(ValueKeys.Side, side) : said.Values);
        }

        return said;
    }

    private void TakeBack((long Id, int Number)? last, int number, bool ignoredSince)
    {
        if (last is not { } picture)
        {
            _problems.Add(new Reason(
                "card-ignores-nothing",
                FormattableString.Invariant($"A card in picture {number} takes back the picture before it, and this sitting has none; ask which picture was meant.")));
        }
        else if (ignoredSince)
        {
            _problems.Add(new Reason(
                "card-ignores-twice",
                FormattableString.Invariant($"Two cards in a row, the second in picture {number}, take back the picture before them; ask whether one picture was meant, or two.")));
        }
        else
        {
            var words = new Reason("taken-back", FormattableString.Invariant($"picture {picture.Number} is taken back by the card in picture {number}: it is kept, and not filed"));
            _takenBack.Add(picture.Id, words);
            _evidence.Add(words);
        }
    }
}
