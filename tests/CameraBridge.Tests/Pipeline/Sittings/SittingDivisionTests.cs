using CameraBridge.Persistence;
using CameraBridge.Pipeline;
using CameraBridge.Pipeline.Sittings;
using CameraBridge.Pipeline.Sittings.Cues.Cards;
using Xunit;

namespace CameraBridge.Tests.Pipeline.Sittings;

/// <summary>How a folder is divided. The rules are the program's own (the design's section 5); no outside source.</summary>
public sealed class SittingDivisionTests
{
    private static readonly DateTimeOffset Morning = new(2026, 11, 25, 9, 0, 0, TimeSpan.FromHours(1));

    private readonly List<Capture> _captures = [];
    private readonly List<Cue> _cues = [];
    private string _begins = SittingBegins.Folder;

    [Fact]
    public void Pictures_before_the_first_label_are_a_part_without_it()
    {
        Picture("IMG_0001.JPG");
        Label("IMG_0002.JPG", "A");
        Picture("IMG_0003.JPG");

        Assert.Equal(["folder: 1", "label: 2 3"], Divide());
    }

    [Fact]
    public void A_different_label_begins_a_part_and_the_same_again_does_not()
    {
        Label("IMG_0001.JPG", "A");
        Picture("IMG_0002.JPG");
        Label("IMG_0003.JPG", "A");
        Picture("IMG_0004.JPG");
        Label("IMG_0005.JPG", "B");
        Picture("IMG_0006.JPG");
        Label("IMG_0007.JPG", "A");
        Picture("IMG_0008.JPG");

        Assert.Equal(["folder: 1 2 3 4", "label: 5 6", "label: 7 8"], Divide());
    }

    [Fact]
    public void A_label_that_says_less_is_the_same_and_one_that_says_more_is_not()
    {
        Label("IMG_0001.JPG", "A", order: "1");
        Picture("IMG_0002.JPG");
        Label("IMG_0003.JPG", "A");
        Picture("IMG_0004.JPG");
        Label("IMG_0005.JPG", "A", order: "2");
        Picture("IMG_0006.JPG");

        Assert.Equal(["folder: 1 2 3 4", "label: 5 6"], Divide());
    }

    [Fact]
    public void A_wristband_and_an_order_sheet_in_a_row_are_one_identification()
    {
        Label("IMG_0001.JPG", "A");
        Label("IMG_0002.JPG", null, order: "1");
        Picture("IMG_0003.JPG");
        Label("IMG_0004.JPG", "A", order: "1");
        Picture("IMG_0005.JPG");
        Label("IMG_0006.JPG", null, order: "2");
        Picture("IMG_0007.JPG");

        Assert.Equal(["folder: 1 2 3 4 5", "label: 6 7"], Divide());
    }

    [Fact]
    public void A_label_without_pictures_is_an_empty_part()
    {
        Label("IMG_0001.JPG", "A");
        Label("IMG_0002.JPG", "B");
        Picture("IMG_0003.JPG");
        Label("IMG_0004.JPG", "C");

        Assert.Equal(["folder: 1 (empty)", "label: 2 3", "label: 4 (empty)"], Divide());
    }

    [Fact]
    public void Two_labels_in_one_picture_begin_one_part_that_bears_both()
    {
        Label("IMG_0001.JPG", "A");
        Picture("IMG_0002.JPG");
        Label("IMG_0003.JPG", "A");
        _cues.Add(new Cue { CaptureId = 3, Kind = CueKind.Label, PatientID = "B" });
        Picture("IMG_0004.JPG");
        Label("IMG_0005.JPG", "B");
        Picture("IMG_0006.JPG");

        Assert.Equal(["folder: 1 2", "label: 3 4", "label: 5 6"], Divide());
    }

    [Fact]
    public void What_could_not_be_looked_at_may_have_been_a_label_so_none_reaches_beyond_it()
    {
        Label("IMG_0001.JPG", "A");
        Picture("IMG_0002.JPG");
        Unreadable("IMG_0003.JPG");
        Unreadable("IMG_0004.JPG");
        Picture("IMG_0005.JPG");
        Unreadable("IMG_0006.JPG");
        Label("IMG_0007.JPG", "A");
        Picture("IMG_0008.JPG");

        Assert.Equal(["folder: 1 2", "unreadable: 3 4 5", "unreadable: 6", "label: 7 8"], Divide());
    }

    [Fact]
    public void A_misread_label_names_nobody_and_no_label_before_it_reaches_beyond_it()
    {
        Label("IMG_0001.JPG", "A");
        Picture("IMG_0002.JPG");
        Misread("IMG_0003.JPG");
        Misread("IMG_0004.JPG");
        Picture("IMG_0005.JPG");
        Label("IMG_0006.JPG", "A");
        Picture("IMG_0007.JPG");
        Misread("IMG_0008.JPG");
        Label("IMG_0009.JPG", "B");
        Picture("IMG_0010.JPG");

        // Photographed again and read right, before any picture, nothing hangs on the first try.
        Assert.Equal(["folder: 1 2", "label: 3 4 5", "label: 6 7", "label: 8 (empty)", "label: 9 10"], Divide());
    }

    [Fact]
    public void A_misread_code_beside_a_good_one_in_the_same_picture_begins_a_part_that_bears_both()
    {
        Label("IMG_0001.JPG", "A");
        Picture("IMG_0002.JPG");
        Label("IMG_0003.JPG", "A");
        _cues.Add(new Cue { CaptureId = 3, Kind = CueKind.Label, Finding = new Reason("id-not-proven", "x") });
        Picture("IMG_0004.JPG");
        Label("IMG_0005.JPG", "A");
        Picture("IMG_0006.JPG");

        Assert.Equal(["folder: 1 2", "label: 3 4", "label: 5 6"], Divide());
    }

    [Fact]
    public void A_folder_that_begins_with_what_could_not_be_looked_at_says_so()
    {
        Unreadable("IMG_0001.JPG");
        Picture("IMG_0002.JPG");

        Assert.Equal(["unreadable: 1 2"], Divide());
    }

    [Fact]
    public void A_late_sitting_stays_late()
    {
        _begins = SittingBegins.Late;
        Picture("IMG_0001.JPG");
        Label("IMG_0002.JPG", "A");
        Picture("IMG_0003.JPG");

        Assert.Equal(["late: 1", "label: 2 3"], Divide());
    }

    [Fact]
    public void A_patient_who_is_done_has_no_more_pictures_and_the_label_before_reaches_none()
    {
        Label("IMG_0001.JPG", "A");
        Picture("IMG_0002.JPG");
        Card("IMG_0003.JPG", CardKeys.Done, "patient");
        Card("IMG_0004.JPG", CardKeys.Done, "patient");
        Picture("IMG_0005.JPG");
        Card("IMG_0006.JPG", CardKeys.Done, "patient");
        Card("IMG_0007.JPG", CardKeys.Side, "R");
        Label("IMG_0008.JPG", "B");
        Picture("IMG_0009.JPG");
        Card("IMG_0010.JPG", CardKeys.Done, "patient");
        Label("IMG_0011.JPG", "B");
        Picture("IMG_0012.JPG");
        Card("IMG_0013.JPG", CardKeys.Done, "patient");
        Unreadable("IMG_0014.JPG");

        Assert.Equal(["folder: 1 2 3 4", "done: 5 6", "done: 7 8 9 10", "label: 11 12 13", "unreadable: 14"], Divide());
    }

    [Fact]
    public void Cards_alone_wait_for_their_label_and_cards_after_pictures_do_not()
    {
        Card("IMG_0001.JPG", CardKeys.Side, "R");
        Label("IMG_0002.JPG", "A");
        Card("IMG_0003.JPG", CardKeys.Optic, "ear");
        Label("IMG_0004.JPG", null, order: "1");
        Picture("IMG_0005.JPG");
        Card("IMG_0006.JPG", CardKeys.Side, "L");
        Label("IMG_0007.JPG", "B");
        Picture("IMG_0008.JPG");

        Assert.Equal(["folder: 1 2 3 4 5 6", "label: 7 8"], Divide());
    }

    [Fact]
    public void Cards_without_pictures_are_nothing_to_file_but_one_that_a_person_must_explain_is_not_passed_over()
    {
        Card("IMG_0001.JPG", CardKeys.Side, "R");
        Assert.Equal(["folder: 1 (empty)"], Divide());

        Card("IMG_0002.JPG", CardKeys.Ignore, "last");
        Assert.Equal(["folder: 1 2"], Divide());

        _captures.Clear();
        _cues.Clear();
        Picture("IMG_0001.JPG");
        _cues.Add(new Cue { CaptureId = 1, Kind = CueKind.Card, Finding = new Reason("card-damaged", "") });
        Assert.Equal(["folder: 1"], Divide());
    }

    [Fact]
    public void A_card_and_a_label_in_one_picture_both_count()
    {
        Label("IMG_0001.JPG", "A");
        Picture("IMG_0002.JPG");
        Label("IMG_0003.JPG", "B");
        _cues.Add(new Cue { CaptureId = 3, Kind = CueKind.Card, Card = new CardCue(CardKeys.Done, "patient") });
        Picture("IMG_0004.JPG");

        Assert.Equal(["folder: 1 2", "label: 3 (empty)", "done: 4"], Divide());
    }

    [Fact]
    public void Sidecars_lie_with_their_picture_or_with_the_first_part_and_speak_for_all()
    {
        Label("IMG_0001.JPG", "A");
        Picture("IMG_0002.JPG");
        Label("IMG_0003.JPG", "B");
        Picture("IMG_0004.JPG");
        Picture("IMG_0004.JPG.json");
        Picture("camerabridge.json");
        Picture("IMG_9999.JPG.json");

        Assert.Equal(["folder: 1 2 6 7", "label: 3 4 5"], Divide());
        Assert.Equal([[], [6L]], Parts().Select(part => part.FolderEvidence));
    }

    [Fact]
    public void A_folder_with_nothing_but_its_sidecar_is_empty()
    {
        Picture("camerabridge.json");

        Assert.Equal(["folder: 1 (empty)"], Divide());
    }

    [Fact]
    public void Every_capture_is_in_exactly_one_part()
    {
        var random = new Random(20261125);
        for (int round = 0; round < 500; round++)
        {
            _captures.Clear();
            _cues.Clear();
            for (int i = random.Next(1, 30); i > 0; i--)
            {
                string name = random.Next(4) == 0 ? $"scan{random.Next(1000)}-{i}.jpg" : $"IMG_{random.Next(10_000):0000}{(char)('a' + i)}.jpg";
                switch (random.Next(8))
                {
                    case 6: Card(name, CardKeys.Side, "R"); break;
                    case 7: Card(name, CardKeys.Done, "patient"); break;
                    case 0: Label(name, random.Next(3) == 0 ? null : "A", random.Next(2) == 0 ? "1" : null); break;
                    case 1: Unreadable(name); break;
                    case 2: Picture(name + ".json"); break;
                    default: Picture(name); break;
                }
            }

            long[] divided = [.. Parts().SelectMany(part => part.CaptureIds).Order()];

            Assert.Equal(_captures.Select(capture => capture.Id).Order(), divided);
        }
    }

    [Fact]
    public void Doubt_about_the_order_is_told_only_where_something_depends_on_it()
    {
        Picture("a.jpg");
        Picture("b.jpg");
        Assert.All(Parts(), part => Assert.Null(part.Doubt));

        Label("c.jpg", "A");
        _captures[2] = _captures[2] with { TakenAt = _captures[1].TakenAt };
        Assert.All(Parts(), part => Assert.NotNull(part.Doubt));
    }

    [Fact]
    public void It_is_in_doubt_which_pictures_follow_a_card_that_was_taken_at_the_same_time()
    {
        Picture("a.jpg");
        Card("b.jpg", CardKeys.Side, "R");
        Assert.All(Parts(), part => Assert.Null(part.Doubt));

        _captures[1] = _captures[1] with { TakenAt = _captures[0].TakenAt };
        Assert.All(Parts(), part => Assert.Contains("label or card", part.Doubt!, StringComparison.Ordinal));
    }

    private void Label(string name, string? patient, string? order = null)
    {
        Picture(name);
        _cues.Add(new Cue { CaptureId = _captures.Count, Kind = CueKind.Label, PatientID = patient, AccessionNumber = order });
    }

    private void Misread(string name)
    {
        Picture(name);
        _cues.Add(new Cue { CaptureId = _captures.Count, Kind = CueKind.Label, Finding = new Reason("id-not-proven", "x") });
    }

    private void Card(string name, string key, string value)
    {
        Picture(name);
        _cues.Add(new Cue { CaptureId = _captures.Count, Kind = CueKind.Card, Card = new CardCue(key, value) });
    }

    private void Unreadable(string name)
    {
        Picture(name);
        _cues.Add(new Cue { CaptureId = _captures.Count, Kind = CueKind.Unreadable });
    }

    private void Picture(string name) => _captures.Add(new Capture
    {
        Id = _captures.Count + 1,
        Source = "stick",
        Place = "100/" + name,
        Folder = "100",
        Sha256 = "",
        SpoolName = "",
        TakenAt = Morning.AddSeconds(_captures.Count),
        TakenAtOrigin = "exif",
    });

    private IReadOnlyList<SittingPart> Parts() =>
        SittingDivision.Divide(new Sitting { Source = "stick", Folder = "100", Begins = _begins }, [.. _captures.AsEnumerable().Reverse()], _cues);

    private IEnumerable<string> Divide() =>
        Parts().Select(part => $"{part.Begins}: {string.Join(' ', part.CaptureIds)}{(part.Empty ? " (empty)" : "")}");
}
