using SkiaSharp;
using ZXing;
using ZXing.Common;

namespace CameraBridge.Practice.Sticks;

/// <summary>A code on a label: its kind and its text.</summary>
internal sealed record LabelCode(BarcodeFormat Format, string Text);

/// <summary>A wristband or order sheet lying on a table, as the clinician photographs it: a little askew, with noise.</summary>
internal static class DrawnLabel
{
    /// <summary>Draws one label, or two beside each other, and encodes the photograph as baseline JPEG.</summary>
    public static byte[] Draw(IReadOnlyList<LabelCode> codes, int seed)
    {
        Random random = new(seed);
        using SKBitmap bitmap = new(DrawnPicture.Width, DrawnPicture.Height, SKColorType.Rgba8888, SKAlphaType.Opaque);
        using (SKCanvas canvas = new(bitmap))
        {
            canvas.Clear(new SKColor(120, 134, 138));
            float width = codes.Count == 1 ? 900 : 590;
            for (int i = 0; i < codes.Count; i++)
            {
                canvas.Save();
                canvas.Translate(codes.Count == 1 ? 640 : 325 + (i * 630), 480 + random.Next(-20, 20));
                canvas.RotateDegrees((random.NextSingle() * 8) - 4);
                Card(canvas, codes[i], width);
                canvas.Restore();
            }
        }

        return DrawnPicture.Encode(bitmap, random.Next(), strength: 8);
    }

    private static void Card(SKCanvas canvas, LabelCode code, float width)
    {
        using SKPaint paper = new() { Color = new SKColor(238, 238, 232), IsAntialias = true };
        using SKPaint ink = new() { Color = new SKColor(22, 22, 26), IsAntialias = true };
        canvas.DrawRoundRect(-width / 2, -300, width, 600, 24, 24, paper);
        bool bars = code.Format == BarcodeFormat.CODE_128;
        BitMatrix matrix = new MultiFormatWriter().encode(
            code.Text, code.Format, 0, 0, new Dictionary<EncodeHintType, object> { [EncodeHintType.MARGIN] = 0, [EncodeHintType.CHARACTER_SET] = "ISO-8859-1" });
        float module = bars ? (width * 0.86f) / matrix.Width : MathF.Min(width * 0.8f, 430) / matrix.Width;
        float height = bars ? 240 : module;
        float left = -module * matrix.Width / 2;
        float top = bars ? -height / 2 : -module * matrix.Height / 2;
        for (int y = 0; y < (bars ? 1 : matrix.Height); y++)
        {
            for (int x = 0; x < matrix.Width; x++)
            {
                if (matrix[x, y])
                {
                    // A hair wider than the module, so that neighbours leave no seam.
                    canvas.DrawRect(left + (x * module), top + (y * height), module + 0.4f, height + (bars ? 0 : 0.4f), ink);
                }
            }
        }
    }
}
