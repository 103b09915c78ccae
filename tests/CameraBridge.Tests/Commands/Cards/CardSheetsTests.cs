using System.Globalization;
using CameraBridge.Commands.Cards;
using CameraBridge.Pipeline.Objects.Optics;
using CameraBridge.Pipeline.Sittings.Cues;
using CameraBridge.Pipeline.Sittings.Cues.Cards;
using CameraBridge.Tests.Meta;
using CameraBridge.Tests.Peers;
using SkiaSharp;
using Xunit;

namespace CameraBridge.Tests.Commands.Cards;

/// <summary>Printed cards, rendered by poppler's pdftoppm and read by ZBar's zbarimg, programs that share nothing with those that drew them, and by our own reader.</summary>
public sealed class CardSheetsTests : IDisposable
{
    private const string Renderer = "/usr/bin/pdftoppm", Reader = "/usr/bin/zbarimg";

    private readonly DirectoryInfo _folder = Directory.CreateTempSubdirectory("cards-");

    public static TheoryData<string> Papers => [.. CardPaper.All.Select(paper => paper.Name)];

    private static CancellationToken Cancellation => TestContext.Current.CancellationToken;

    public void Dispose() => _folder.Delete(recursive: true);

    [Fact]
    public void Every_language_has_every_text_and_every_optic()
    {
        Assert.Equal(["de", "en", "es", "fr"], CardTexts.Languages);
        CardTexts english = CardTexts.Of("en");
        Assert.All(OpticsTable.Own.Names, optic => Assert.Contains($"optic.{optic}", english.Keys));
        foreach (CardTexts texts in CardTexts.Languages.Select(CardTexts.Of))
        {
            Assert.Equal(english.Keys.Order(StringComparer.Ordinal), texts.Keys.Order(StringComparer.Ordinal));
            Assert.All(texts.Keys, key =>
            {
                Assert.False(string.IsNullOrWhiteSpace(texts[key]), key);
                Assert.Equal(english[key].Contains("{0}", StringComparison.Ordinal), texts[key].Contains("{0}", StringComparison.Ordinal));
            });
        }
    }

    /// <summary>A text that does not fit at six points is refused by the drawing itself.</summary>
    [Theory]
    [MemberData(nameof(Papers))]
    public void Every_text_of_every_language_fits_its_card(string paper)
    {
        foreach (string language in CardTexts.Languages)
        {
            using MemoryStream pdf = new();
            CardSheets.WritePdf(pdf, Deck(paper, language), Paper(paper), CardTexts.Of(language));
            Assert.True(pdf.Length > 50_000);
        }
    }

    [Fact]
    public void Every_site_and_tooth_of_a_card_is_known_to_the_program_that_reads_it() =>
        Assert.All(Deck("a4").Where(card => card.Cue is not null), card => Assert.Null(CardReading.Read(CardText.Write(card.Cue!), OpticsTable.Own, 1)!.Finding));

    [Fact]
    public async Task Every_card_is_read_back_from_its_printed_page_by_our_reader_and_by_another()
    {
        IReadOnlyList<PrintedCard> cards = Deck("badge");
        string[] pages = await RenderAsync("badge", "en", 100, cards);
        Assert.Equal(cards.Count, pages.Length);

        var reader = new LabelReader();
        for (int i = 0; i < pages.Length; i++)
        {
            string[] expected = cards[i].Cue is { } cue ? [CardText.Write(cue)] : [];
            using SKData page = SKData.Create(pages[i]);
            Assert.Equal(expected, reader.Read(page).Texts);
        }

        Assert.Equal(Texts(cards), await ReadOutsideAsync(pages));
    }

    [Theory]
    [InlineData("a4", 210, 297)]
    [InlineData("letter", 215.9, 279.4)]
    public async Task Sheets_have_the_size_of_their_paper_and_every_card_once(string paper, double width, double height)
    {
        IReadOnlyList<PrintedCard> cards = Deck(paper, "de");
        string[] pages = await RenderAsync(paper, "de", 150, cards);

        Assert.Equal(Texts(cards), await ReadOutsideAsync(CutAsUsed(pages, Paper(paper))));
        using SKBitmap page = SKBitmap.Decode(pages[0]);
        Assert.Equal(width, page.Width * 25.4 / 150, 0.3);
        Assert.Equal(height, page.Height * 25.4 / 150, 0.3);
    }

    /// <summary>Measured in what poppler renders, to two dots: the code's outer edges, and the line with its strokes at both ends.</summary>
    [Theory]
    [InlineData("a4", 45.0, 100)]
    [InlineData("letter", 45.0, 100)]
    [InlineData("badge", 30.0, 70)]
    public async Task The_scale_card_is_as_large_as_it_says(string paper, double code, double line)
    {
        PrintedCard card = Deck(paper).Single(card => card.Name == "scale");
        Assert.Equal((decimal)code, card.Cue!.ScaleMillimetres);
        Assert.Contains(line.ToString(CultureInfo.InvariantCulture), card.Ruler!, StringComparison.Ordinal);

        List<(int From, int To)[]> rows = DarkRuns((await RenderAsync(paper, "en", CardSheets.Resolution, [card]))[0]);
        Assert.Equal(code, CodeWidth(rows), 0.18);
        Assert.Equal(line, rows.SelectMany(runs => runs).Max(run => run.To - run.From) * 25.4 / CardSheets.Resolution, 0.5);
    }

    [Fact]
    public async Task Pictures_of_cards_are_read_by_another_reader()
    {
        PrintedCard[] cards = [.. Deck("a4", "fr").Where(card => card.Name is "side-left" or "optic-retina" or "done" or "scale" or "tooth-85")];
        string[] files = [.. cards.Select(card => Path.Combine(_folder.FullName, $"{card.Name}.png"))];
        for (int i = 0; i < cards.Length; i++)
        {
            await File.WriteAllBytesAsync(files[i], CardSheets.DrawPng(cards[i], Paper("a4"), CardTexts.Of("fr")), Cancellation);
        }

        Assert.Equal(Texts(cards), await ReadOutsideAsync(files));
    }

    [Fact]
    public void The_pictures_of_the_README_are_cards_of_this_program()
    {
        var reader = new LabelReader();
        Dictionary<string, string> texts = Deck("a4").Where(card => card.Cue is not null).ToDictionary(card => card.Name, card => CardText.Write(card.Cue!));
        string[] files = Directory.GetFiles(Path.Combine(Repository.Root, "deploy", "cards"), "*.png");
        string readme = File.ReadAllText(Path.Combine(Repository.Root, "README.md"));

        Assert.NotEmpty(files);
        Assert.All(files, file =>
        {
            using SKData picture = SKData.Create(file);
            Assert.Equal([texts[Path.GetFileNameWithoutExtension(file)]], reader.Read(picture).Texts);
            Assert.Contains($"deploy/cards/{Path.GetFileName(file)}", readme, StringComparison.Ordinal);
        });
    }

    /// <summary>A site's optic that is like another one has its name on the card, since their titles are the same.</summary>
    [Fact]
    public void A_sites_own_optics_have_cards_too()
    {
        OpticsTable.Own.TryFind("ear", out Optic? ear);
        OpticsTable optics = OpticsTable.Own.With(ear! with { Name = "Ear-2" });

        PrintedCard card = CardDeck.Of(optics, CardTexts.Of("en"), Paper("badge")).Single(card => card.Name == "optic-Ear-2");

        Assert.Equal(("Optic: Ear-2", "Ear"), (card.Kind, card.Title));
        Assert.Equal("Ear-2", CardReading.Read(CardText.Write(card.Cue!), optics, 1)!.Optic);
    }

    /// <summary>
    /// The code's width in millimetres: the first row of the page that has two runs of dark pixels of equal length, the longest of the row, shows the upper edges of the
    /// two finder patterns, seven modules each (ISO/IEC 18004, from memory). Lines to cut along are pale.
    /// </summary>
    private static double CodeWidth(List<(int From, int To)[]> rows)
    {
        (int From, int To)[] edges = rows.Select(runs => runs.Where(run => run.To - run.From > 60).ToArray())
            .First(runs => runs is [var first, .., var last] && Math.Abs(first.To - first.From - (last.To - last.From)) <= 2);
        return (edges[^1].To - edges[0].From) * 25.4 / CardSheets.Resolution;
    }

    /// <summary>The dark runs of each row of a page.</summary>
    private static List<(int From, int To)[]> DarkRuns(string file)
    {
        using SKBitmap page = SKBitmap.Decode(file);
        SKColor[] pixels = page.Pixels;
        var rows = new List<(int From, int To)[]>(page.Height);
        for (int y = 0; y < page.Height; y++)
        {
            var runs = new List<(int From, int To)>();
            int from = -1;
            for (int x = 0; x <= page.Width; x++)
            {
                bool dark = x < page.Width && pixels[(y * page.Width) + x].Red < 96;
                if (dark && from < 0)
                {
                    from = x;
                }
                else if (!dark && from >= 0)
                {
                    runs.Add((from, x));
                    from = -1;
                }
            }

            rows.Add([.. runs]);
        }

        return rows;
    }

    private static CardPaper Paper(string name) => CardPaper.All.Single(paper => paper.Name == name);

    private static IReadOnlyList<PrintedCard> Deck(string paper, string language = "en") => CardDeck.Of(OpticsTable.Own, CardTexts.Of(language), Paper(paper));

    private static string[] Texts(IEnumerable<PrintedCard> cards) =>
        [.. cards.Select(card => card.Cue).OfType<CardCue>().Select(CardText.Write).Order(StringComparer.Ordinal)];

    private async Task<string[]> RenderAsync(string paper, string language, int resolution, IReadOnlyList<PrintedCard> cards)
    {
        string pdf = Path.Combine(_folder.FullName, "cards.pdf");
        await using (FileStream stream = File.Create(pdf))
        {
            CardSheets.WritePdf(stream, cards, Paper(paper), CardTexts.Of(language));
        }

        await OutsideProgram.RunAsync(Renderer, "-r", resolution.ToString(CultureInfo.InvariantCulture), "-gray", "-png", pdf, Path.Combine(_folder.FullName, "page"));
        return [.. Directory.GetFiles(_folder.FullName, "page*.png").Order(StringComparer.Ordinal)];
    }

    /// <summary>Cuts sheets into cards, along their lines.</summary>
    private static List<string> CutAsUsed(string[] pages, CardPaper paper)
    {
        var cards = new List<string>();
        foreach (string file in pages)
        {
            using SKBitmap page = SKBitmap.Decode(file);
            float dots = page.Width / paper.Width;
            for (int place = 0; place < paper.Columns * paper.Rows; place++)
            {
                SKRectI cell = SKRectI.Round(SKRect.Create(
                    (((paper.Width - (paper.Columns * paper.CardWidth)) / 2) + (place % paper.Columns * paper.CardWidth)) * dots,
                    (((paper.Height - (paper.Rows * paper.CardHeight)) / 2) + (place / paper.Columns * paper.CardHeight)) * dots,
                    paper.CardWidth * dots,
                    paper.CardHeight * dots));
                using SKBitmap card = new();
                Assert.True(page.ExtractSubset(card, cell));
                using SKData picture = card.Encode(SKEncodedImageFormat.Png, 100);
                string path = $"{file}-{place}.png";
                File.WriteAllBytes(path, picture.ToArray());
                cards.Add(path);
            }
        }

        return cards;
    }

    /// <summary>The texts of all codes in these pictures. The reader ends with 4 where a picture has none, as instructions do.</summary>
    private static async Task<string[]> ReadOutsideAsync(IReadOnlyList<string> files)
    {
        OutsideProgram.Require(Reader);
        string read = await OutsideProgram.RunAsync("/bin/sh", ["-c", "\"$0\" --raw -q -Sdisable -Sqrcode.enable \"$@\" || test $? = 4", Reader, .. files]);
        return [.. read.Split('\n', StringSplitOptions.RemoveEmptyEntries).Order(StringComparer.Ordinal)];
    }
}
