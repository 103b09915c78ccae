using CameraBridge.Pipeline.Sittings.Cues.Cards;
using SkiaSharp;

namespace CameraBridge.Commands.Cards;

/// <summary>Draws one card, in millimetres from its upper left corner: the code on the left, plain words on its right.</summary>
internal static class CardDrawing
{
    /// <summary>Between a card's edge and what stands on it.</summary>
    private const float Margin = 3.5f;

    /// <summary>No text is smaller than this: 6 points.</summary>
    public const float LeastText = 2.1f;

    /// <summary>Room for the line of a scale card and its text, where it does not fit beside the code.</summary>
    private const float RulerHeight = 10.5f;

    /// <summary>Covers the seam that viewers show between two rectangles that touch.</summary>
    private const float Seam = 0.02f;

    public static void Draw(SKCanvas canvas, PrintedCard card, CardPaper paper, CardTexts texts)
    {
        bool isScale = card.Ruler is not null;
        float width = isScale ? paper.ScaleCardWidth : paper.CardWidth;
        float textLeft = Margin;
        if (card.Cue is { } cue)
        {
            bool[,] modules = CardCode.Draw(CardText.Write(cue));
            int side = modules.GetLength(0);
            float inner = card.CodeSide ?? (paper.CodeBox * side / (side + (2 * CardCode.QuietZone)));
            float quiet = inner * CardCode.QuietZone / side;
            float top = isScale && !IsRulerBeside(paper) ? 0.5f : (paper.CardHeight - inner - (2 * quiet)) / 2;
            DrawCode(canvas, modules, quiet, top + quiet, inner);
            textLeft = inner + (2 * quiet);
        }

        float bottom = paper.CardHeight - Margin;
        if (card.Ruler is { } words)
        {
            bottom -= RulerHeight;
            DrawRuler(canvas, new SKRect(IsRulerBeside(paper) ? textLeft : Margin, bottom + 1, width - Margin, paper.CardHeight - 2), paper.Ruler, words);
        }

        TextBlock.Draw(canvas, new SKRect(textLeft, Margin, width - Margin, bottom), [.. Paragraphs(card, texts)]);
    }

    /// <summary>Draws a code's modules with their outer edges exactly on a square.</summary>
    public static void DrawCode(SKCanvas canvas, bool[,] modules, float left, float top, float side)
    {
        int count = modules.GetLength(0);
        float module = side / count;
        using SKPaint ink = new() { Color = SKColors.Black, IsAntialias = false };
        canvas.Save();
        canvas.ClipRect(new SKRect(left, top, left + side, top + side));
        for (int row = 0; row < count; row++)
        {
            for (int column = 0; column < count; column++)
            {
                if (modules[row, column])
                {
                    canvas.DrawRect(left + (column * module), top + (row * module), module + (Seam * module), module + (Seam * module), ink);
                }
            }
        }

        canvas.Restore();
    }

    private static bool IsRulerBeside(CardPaper paper) => paper.ScaleCardWidth - paper.CodeBox - (2 * Margin) >= paper.Ruler;

    private static IEnumerable<Paragraph> Paragraphs(PrintedCard card, CardTexts texts)
    {
        if (card.Kind.Length > 0)
        {
            yield return new Paragraph(card.Kind, CardFonts.Regular, 3.2f, LeastText);
        }

        yield return new Paragraph(card.Title, CardFonts.Bold, TitleSize(card), 3.2f);
        foreach (string line in card.Lines)
        {
            yield return new Paragraph(line, CardFonts.Regular, 4, LeastText, 1.2f);
        }

        if (card.Caution.Length > 0)
        {
            yield return new Paragraph(card.Caution, CardFonts.Bold, 3.6f, LeastText, 1.6f);
            yield return new Paragraph(texts["foot"], CardFonts.Regular, 2.6f, LeastText, 1.6f);
        }
    }

    /// <summary>A word across a room, or a sentence on a card.</summary>
    private static float TitleSize(PrintedCard card) => card.Cue is null ? 5.5f : card.Title.Length <= 10 ? 9 : 6.5f;

    /// <summary>A line with an upright stroke at each end, and what it is for.</summary>
    private static void DrawRuler(SKCanvas canvas, SKRect box, int length, string words)
    {
        using SKPaint ink = new() { Color = SKColors.Black, StrokeWidth = 0.3f, IsAntialias = true };
        float y = box.Top + 1.5f;
        canvas.DrawLine(box.Left, y, box.Left + length, y, ink);
        for (int at = 0; at <= length; at += 10)
        {
            float half = at == 0 || at == length ? 1.5f : 0.7f;
            canvas.DrawLine(box.Left + at, y - half, box.Left + at, y + half, ink);
        }

        TextBlock.Draw(canvas, new SKRect(box.Left, y + 1.8f, box.Right, box.Bottom), [new Paragraph(words, CardFonts.Regular, 2.8f, LeastText)]);
    }
}
