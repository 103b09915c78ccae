using System.CommandLine;
using CameraBridge.Commands.Cards;
using CameraBridge.Configuration;
using CameraBridge.Pipeline.Objects.Optics;

namespace CameraBridge.Commands;

/// <summary><c>cards</c>: prints cue cards; <c>cards clock</c>: shows a code that tells the time.</summary>
internal static class CardsCommand
{
    private const string Pdf = "pdf", Png = "png";

    public static Verb Build(Terminal terminal)
    {
        Option<string?> config = CommonOptions.Config();
        Option<string> language = Language();
        Option<string> paper = new("--paper") { Description = "What they are printed on; a badge has the size of a bank card.", HelpName = "a4|letter|badge", DefaultValueFactory = _ => "a4" };
        Option<string> format = new("--format") { Description = "One PDF with all cards, or a picture for each (300 dots an inch).", HelpName = "pdf|png", DefaultValueFactory = _ => Pdf };
        Option<string> output = new("--output") { Description = "The folder to write to; made if it is missing.", HelpName = "FOLDER", DefaultValueFactory = _ => "." };
        Option<string[]> only = new("--only")
        {
            Description = "Only these: a kind (side, optic, site, tooth, ignore, done, scale, use, care) or a card by its name, such as side-right or optic-ear.",
            HelpName = "CARD",
            Arity = ArgumentArity.ZeroOrMore,
            AllowMultipleArgumentsPerToken = true,
        };
        paper.AcceptOnlyFromAmong([.. CardPaper.All.Select(one => one.Name)]);
        format.AcceptOnlyFromAmong(Pdf, Png);
        Verb verb = new(
            "cards",
            "Print cue cards to be photographed: side, optic, part of the body, tooth, ignore the last picture, patient done, scale. With a configuration, the optics are the site's.",
            ExitCodes.UsageOrConfiguration)
        {
            Clock(terminal), language, paper, format, output, only, config,
        };
        verb.SetAction(parsed =>
        {
            CardPaper chosen = CardPaper.All.Single(one => one.Name == parsed.GetValue(paper));
            CardTexts texts = CardTexts.Of(parsed.GetValue(language)!);
            IReadOnlyList<PrintedCard> cards = Choose(CardDeck.Of(OpticsOf(parsed.GetValue(config)), texts, chosen), parsed.GetValue(only) ?? []);
            List<string> files = Write(parsed.GetValue(output)!, parsed.GetValue(format)!, cards, chosen, texts);
            if (parsed.GetValue(CommonOptions.Json))
            {
                JsonReply.Write(terminal.Out, new { Cards = cards.Select(card => card.Name), Files = files });
                return;
            }

            terminal.Out.WriteLine(files is [var file]
                ? FormattableString.Invariant($"{cards.Count} cards in {file}.")
                : FormattableString.Invariant($"{cards.Count} cards, a picture each, in {parsed.GetValue(output)}."));
            terminal.Out.WriteLine("Print at 100 %, black on white. Check the line of the scale card with a ruler. Laminate, and wipe after each patient.");
        });
        return verb;
    }

    private static Verb Clock(Terminal terminal)
    {
        Option<string> language = Language();
        Option<bool> once = new("--once") { Description = "Print the code once, instead of a new one each second until Ctrl-C." };
        Verb verb = new(
            "clock", "Show a code that tells this machine's time; photographed, it tells how the camera's clock goes. Set this machine's clock by the network first.", ExitCodes.UsageOrConfiguration)
        {
            language, once,
        };
        verb.SetAction(async (parsed, cancellation) =>
        {
            CardTexts texts = CardTexts.Of(parsed.GetValue(language)!);
            if (parsed.GetValue(once) || parsed.GetValue(CommonOptions.Json))
            {
                DateTimeOffset now = TimeProvider.System.GetUtcNow();
                if (parsed.GetValue(CommonOptions.Json))
                {
                    JsonReply.Write(terminal.Out, new { Time = now, Text = Pipeline.Sittings.Cues.Cards.CardText.Write(ClockCode.Of(now)) });
                }
                else
                {
                    terminal.Out.Write(ClockCode.InText(now, texts));
                }

                return;
            }

            await ClockCode.RunAsync(terminal.Out, texts, TimeProvider.System, cancellation).ConfigureAwait(false);
        });
        return verb;
    }

    private static Option<string> Language()
    {
        Option<string> language = new("--language") { Description = "Language of the words beside the code.", HelpName = string.Join('|', CardTexts.Languages), DefaultValueFactory = _ => "en" };
        language.AcceptOnlyFromAmong([.. CardTexts.Languages]);
        return language;
    }

    /// <summary>The site's optics where there is a configuration; cards can be printed without one.</summary>
    private static OpticsTable OpticsOf(string? config)
    {
        string path = ConfigurationFile.Locate(config);
        return config is null && !File.Exists(path) ? OpticsTable.Own : ConfigurationFile.Load(path).Optics;
    }

    private static IReadOnlyList<PrintedCard> Choose(IReadOnlyList<PrintedCard> all, string[] names)
    {
        foreach (string name in names)
        {
            if (!all.Any(card => IsNamed(card, name)))
            {
                string? nearest = NearestWord.Of(name, [.. all.Select(card => card.Name), .. all.Select(KindOf).Distinct()]);
                throw new CommandException(
                    ExitCodes.UsageOrConfiguration, "no-such-card", $"--only {name}: there is no such card. {(nearest is null ? "Kinds are side, optic, site, tooth, ignore, done, scale, use and care." : $"Did you mean {nearest}?")}");
            }
        }

        return names.Length == 0 ? all : [.. all.Where(card => names.Any(name => IsNamed(card, name)))];
    }

    private static bool IsNamed(PrintedCard card, string name) => card.Name == name || KindOf(card) == name;

    private static string KindOf(PrintedCard card) => card.Cue?.Key ?? card.Name;

    private static List<string> Write(string folder, string format, IReadOnlyList<PrintedCard> cards, CardPaper paper, CardTexts texts)
    {
        try
        {
            Directory.CreateDirectory(folder);
            if (format == Pdf)
            {
                string path = Path.Combine(folder, CardSheets.PdfName(paper, texts));
                using FileStream stream = File.Create(path);
                CardSheets.WritePdf(stream, cards, paper, texts);
                return [path];
            }

            var files = new List<string>();
            foreach (PrintedCard card in cards)
            {
                string path = Path.Combine(folder, $"{card.Name}.png");
                File.WriteAllBytes(path, CardSheets.DrawPng(card, paper, texts));
                files.Add(path);
            }

            return files;
        }
        catch (Exception fault) when (fault is IOException or UnauthorizedAccessException)
        {
            throw new CommandException(ExitCodes.UsageOrConfiguration, "not-written", $"The cards cannot be written to {folder} ({fault.Message.TrimEnd('.')}). Name another folder with --output.");
        }
    }
}
