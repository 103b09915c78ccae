using SkiaSharp;

namespace CameraBridge.Commands.Cards;

/// <summary>A paragraph of a card: its typeface, its size at full scale in millimetres, and how far it may shrink.</summary>
internal sealed record Paragraph(string Text, SKTypeface Typeface, float Size, float Least, float SpaceBefore = 0);

/// <summary>Paragraphs below each other in a box, all as large as the box allows.</summary>
internal static class TextBlock
{
    private const float LineHeight = 1.22f;

    /// <summary>Draws them from the top; y grows downwards, everything in millimetres.</summary>
    /// <exception cref="InvalidOperationException">Some text does not fit even at its least size.</exception>
    public static void Draw(SKCanvas canvas, SKRect box, IReadOnlyList<Paragraph> paragraphs)
    {
        (float size, IReadOnlyList<string> lines, float space)[] fitted = Fit(box, paragraphs)
            ?? throw new InvalidOperationException($"A card's text does not fit: {paragraphs[0].Text}");
        using SKPaint ink = new() { Color = SKColors.Black, IsAntialias = true };
        float y = box.Top;
        for (int i = 0; i < fitted.Length; i++)
        {
            (float size, IReadOnlyList<string> lines, float space) = fitted[i];
            using SKFont font = CardFonts.Of(paragraphs[i].Typeface, size);
            y += space;
            foreach (string line in lines)
            {
                canvas.DrawText(line, box.Left, y + size, SKTextAlign.Left, font, ink);
                y += size * LineHeight;
            }
        }
    }

    /// <summary>Sizes and lines at the largest scale at which all fit; null when they fit at none.</summary>
    private static (float Size, IReadOnlyList<string> Lines, float Space)[]? Fit(SKRect box, IReadOnlyList<Paragraph> paragraphs)
    {
        for (float scale = 1; scale > 0.3f; scale -= 0.02f)
        {
            var fitted = new List<(float Size, IReadOnlyList<string> Lines, float Space)>();
            foreach (Paragraph paragraph in paragraphs)
            {
                float size = Math.Max(paragraph.Least, paragraph.Size * scale);
                if (Wrap(paragraph, size, box.Width) is not { } lines)
                {
                    break;
                }

                fitted.Add((size, lines, paragraph.SpaceBefore * scale));
            }

            if (fitted.Count == paragraphs.Count && fitted.Sum(one => one.Space + (one.Lines.Count * one.Size * LineHeight)) <= box.Height)
            {
                return [.. fitted];
            }
        }

        return null;
    }

    /// <summary>Lines of whole words; null when a word is wider than the box.</summary>
    private static List<string>? Wrap(Paragraph paragraph, float size, float width)
    {
        using SKFont font = CardFonts.Of(paragraph.Typeface, size);
        var lines = new List<string>();
        foreach (string word in paragraph.Text.Split(' '))
        {
            if (font.MeasureText(word) > width)
            {
                return null;
            }

            if (lines.Count > 0 && font.MeasureText($"{lines[^1]} {word}") <= width)
            {
                lines[^1] += $" {word}";
            }
            else
            {
                lines.Add(word);
            }
        }

        return lines;
    }
}
