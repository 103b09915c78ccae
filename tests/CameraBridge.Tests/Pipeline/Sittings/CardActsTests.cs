using System.Globalization;
using CameraBridge.Pipeline;
using CameraBridge.Pipeline.Objects;
using CameraBridge.Pipeline.Objects.Optics;
using CameraBridge.Pipeline.Sittings;
using CameraBridge.Pipeline.Sittings.Cues.Cards;
using Xunit;

namespace CameraBridge.Tests.Pipeline.Sittings;

/// <summary>What cards do to the pictures of their sitting. The rules are the program's own; no outside source.</summary>
public sealed class CardActsTests
{
    private readonly List<Capture> _captures = [];
    private readonly List<Cue> _cues = [];

    [Fact]
    public void A_card_is_true_of_the_pictures_after_it_until_another_of_its_key()
    {
        Pictures(1);
        Card("side", "R");
        Pictures(1);
        Card("tooth", "11+21");
        Pictures(1);
        Card("side", "L");
        Pictures(1);
        Card("side", "B");
        Pictures(1);

        Assert.Equal(["-", "R", "R 11 21", "L 11 21", "B 11 21"], Said());
        Assert.Empty(Acts().Problems);
        Assert.Equal("a cue card in picture 4: tooth 11 and 21, from there on", Acts().Evidence[1].Words);
    }

    [Fact]
    public void Another_optic_ends_the_site_and_the_tooth_of_the_one_before_but_not_the_side()
    {
        Card("optic", "teeth");
        Card("side", "R");
        Card("tooth", "11");
        Card("optic", "teeth");
        Pictures(1);
        Card("optic", "skin-contact");
        Pictures(1);
        Card("site", "77568009");
        Pictures(1);

        Assert.Equal(["teeth R 11", "skin-contact R", "skin-contact R 77568009"], Said());
    }

    /// <summary>A scale card holds for the pictures through the same optic, so it must be known through which one it was photographed.</summary>
    [Fact]
    public void A_card_was_taken_through_the_optic_that_a_card_before_it_or_it_itself_says()
    {
        Card("optic", "teeth");
        Card("scale", "450");

        Assert.Equal(["teeth", "teeth"], _captures.Select(capture => Acts().Of(capture.Id).Optic));
    }

    [Fact]
    public void Several_cards_in_one_picture_all_count()
    {
        Card("side", "R");
        Card("tooth", "11", inSamePicture: true);
        Card("optic", "teeth", inSamePicture: true);
        Pictures(1);

        Assert.Equal(["teeth R 11"], Said());
    }

    [Fact]
    public void Ignore_takes_back_the_last_picture_and_neither_a_label_nor_a_card()
    {
        Pictures(2);
        _cues.Add(new Cue { CaptureId = Capture(), Kind = CueKind.Label, PatientID = "A" });
        Card("side", "R");
        Card("ignore", "last");
        Pictures(2);
        Card("ignore", "last");

        Assert.Equal([2L, 7L], _captures.Where(capture => Acts().TakenBack(capture.Id) is not null).Select(capture => capture.Id));
        Assert.Equal("picture 2 is taken back by the card in picture 5: it is kept, and not filed", Acts().TakenBack(2)!.Words);
        Assert.Contains(Acts().Evidence, reason => reason.Code == "taken-back");
        Assert.Empty(Acts().Problems);
    }

    [Fact]
    public void Ignore_with_nothing_before_it_and_twice_in_a_row_is_a_question_for_a_person()
    {
        Card("ignore", "last");
        Pictures(2);
        Card("ignore", "last");
        Card("ignore", "last");

        Assert.Equal(["card-ignores-nothing", "card-ignores-twice"], Acts().Problems.Select(problem => problem.Code));
        Assert.Null(Acts().TakenBack(2));
    }

    [Fact]
    public void Two_cards_of_a_key_that_differ_in_one_picture_hold_and_nothing_said_before_reaches_beyond()
    {
        Card("side", "R");
        Card("tooth", "11");
        Card("side", "R");
        Card("side", "L", inSamePicture: true);
        Pictures(1);

        Assert.Equal(["-"], Said());
        Assert.Equal("card-contradiction", Assert.Single(Acts().Problems).Code);
    }

    [Fact]
    public void Nothing_said_before_reaches_beyond_a_card_that_cannot_be_understood()
    {
        Card("side", "R");
        Pictures(1);
        _cues.Add(new Cue { CaptureId = Capture(), Kind = CueKind.Card, Finding = new Reason("card-damaged", "") });
        Pictures(1);
        Card("side", "R");
        Pictures(1);

        Assert.Equal(["R", "-", "R"], Said());
    }

    [Fact]
    public void Where_the_order_of_the_pictures_is_in_doubt_cards_say_nothing()
    {
        Card("side", "R");
        Pictures(1);
        Card("ignore", "last");

        CardActs acts = new(new Sitting { Source = "van", Folder = "1", Doubt = "nobody knows" }, _captures, _cues);

        Assert.True(acts.Of(2).Said.IsEmpty);
        Assert.Null(acts.TakenBack(2));
        Assert.True(acts.IsCard(1));
    }

    [Fact]
    public void A_person_beats_the_pictures_sidecar_that_a_card_and_that_the_folders_sidecar()
    {
        Sidecar("1/camerabridge.json", "L", "ear");
        Pictures(1);
        Card("side", "B");
        Card("optic", "retina");
        Pictures(3);
        Sidecar($"{_captures[5].Place}.json", "R", null);
        Sidecar($"{_captures[6].Place}.json", "R", null);
        _cues.Add(new Cue { CaptureId = 7, Kind = CueKind.Decision, Side = "L", Optic = "eye-front" });

        SittingCues cues = new(new Sitting { Source = "van", Folder = "1" }, _captures, _cues);

        Assert.Equal(
            ["ear L", "retina B", "retina R", "eye-front L"],
            _captures.Where(capture => !cues.IsEvidence(capture)).Select(capture => cues.Of(capture)).Select(said => $"{said.Optic} {said.Said.One(ValueKeys.Side)}"));
    }

    private CardActs Acts() => new(new Sitting { Source = "van", Folder = "1" }, _captures, _cues);

    private IEnumerable<string> Said()
    {
        CardActs acts = Acts();
        foreach (Capture capture in _captures.Where(capture => !acts.IsCard(capture.Id)))
        {
            (string? optic, OpticValues said) = acts.Of(capture.Id);
            string[] words =
            [
                .. optic is null ? [] : new[] { optic }, .. said.All(ValueKeys.Side), .. said.All(ValueKeys.Tooth), .. said.CodesOf(ValueKeys.BodySite).Select(code => code.Value),
            ];
            yield return words.Length == 0 ? "-" : string.Join(' ', words);
        }
    }

    private void Card(string key, string value, bool inSamePicture = false) =>
        _cues.Add(CardReading.Read(CardText.Write(new CardCue(key, value)), OpticsTable.Own, inSamePicture ? _captures.Count : Capture())!);

    private void Pictures(int count)
    {
        for (int i = 0; i < count; i++)
        {
            Capture();
        }
    }

    private void Sidecar(string place, string? side, string? optic) =>
        _cues.Add(new Cue { CaptureId = Capture(place), Kind = CueKind.Sidecar, Side = side, Optic = optic });

    private long Capture(string? place = null)
    {
        _captures.Add(new Capture
        {
            Id = _captures.Count + 1,
            Source = "van",
            Place = place ?? string.Create(CultureInfo.InvariantCulture, $"1/IMG_{_captures.Count + 1:0000}.JPG"),
            Folder = "1",
            Sha256 = "",
            SpoolName = "",
        });
        return _captures.Count;
    }
}
