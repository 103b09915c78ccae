using System.Globalization;
using SkiaSharp;

namespace CameraBridge.Commands.Cards;

/// <summary>Cards as files: sheets to cut in one PDF, or a picture for each card.</summary>
internal static class CardSheets
{
    /// <summary>Points of PDF (ISO 32000-1 section 8.3.2.3: 72 to the inch) in a millimetre.</summary>
    private const float PointsPerMillimetre = 72 / 25.4f;

    /// <summary>Dots an inch of a picture, and in a millimetre.</summary>
    public const int Resolution = 300;

    private const float DotsPerMillimetre = Resolution / 25.4f;

    /// <summary>Writes all cards into one PDF, in rows with lines to cut along.</summary>
    public static void WritePdf(Stream stream, IReadOnlyList<PrintedCard> cards, CardPaper paper, CardTexts texts)
    {
        using SKDocument document = SKDocument.CreatePdf(stream, new SKDocumentPdfMetadata { Title = "Cue cards", RasterDpi = Resolution });
        SKCanvas? canvas = null;
        int place = 0;
        foreach (PrintedCard card in cards)
        {
            int width = card.Ruler is null ? 1 : paper.Columns;

            // A wide card begins a row.
            place += (place % paper.Columns) + width > paper.Columns ? paper.Columns - (place % paper.Columns) : 0;
            if (canvas is null || place >= paper.Columns * paper.Rows)
            {
                if (canvas is not null)
                {
                    document.EndPage();
                }

                canvas = document.BeginPage(paper.Width * PointsPerMillimetre, paper.Height * PointsPerMillimetre);
                canvas.Scale(PointsPerMillimetre);
                place = 0;
            }

            DrawOnSheet(canvas, card, place, width, paper, texts);
            place += width;
        }

        document.EndPage();
        document.Close();
    }

    /// <summary>A picture of one card, as PNG.</summary>
    public static byte[] DrawPng(PrintedCard card, CardPaper paper, CardTexts texts)
    {
        float width = card.Ruler is null ? paper.CardWidth : paper.ScaleCardWidth;
        using SKBitmap bitmap = new((int)MathF.Ceiling(width * DotsPerMillimetre), (int)MathF.Ceiling(paper.CardHeight * DotsPerMillimetre), SKColorType.Rgba8888, SKAlphaType.Opaque);
        using SKCanvas canvas = new(bitmap);
        canvas.Clear(SKColors.White);
        canvas.Scale(DotsPerMillimetre);
        CardDrawing.Draw(canvas, card, paper, texts);
        canvas.Flush();
        using SKData data = bitmap.Encode(SKEncodedImageFormat.Png, 100);
        return data.ToArray();
    }

    /// <summary>Name of the PDF.</summary>
    public static string PdfName(CardPaper paper, CardTexts texts) => string.Create(CultureInfo.InvariantCulture, $"cards-{paper.Name}-{texts.Language}.pdf");

    private static void DrawOnSheet(SKCanvas canvas, PrintedCard card, int place, int width, CardPaper paper, CardTexts texts)
    {
        float left = ((paper.Width - (paper.Columns * paper.CardWidth)) / 2) + (place % paper.Columns * paper.CardWidth);
        float top = ((paper.Height - (paper.Rows * paper.CardHeight)) / 2) + (place / paper.Columns * paper.CardHeight);
        canvas.Save();
        canvas.Translate(left, top);
        if (paper.Columns * paper.Rows > 1)
        {
            using SKPaint cut = new() { Color = new SKColor(190, 190, 190), StrokeWidth = 0.15f, IsStroke = true };
            canvas.DrawRect(0, 0, paper.CardWidth * width, paper.CardHeight, cut);
        }

        CardDrawing.Draw(canvas, card, paper, texts);
        canvas.Restore();
    }
}
