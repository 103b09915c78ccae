using CameraBridge.Tests.Pipeline.Sittings.Cues.Scenes;
using SkiaSharp;
using ZXing;
using ZXing.Common;

namespace CameraBridge.Tests.Pipeline.Sittings.Cues;

/// <summary>How hard a drawn label shot is to read.</summary>
public enum Difficulty
{
    /// <summary>The card fills most of the width and is nearly upright.</summary>
    Easy,

    /// <summary>Half of the width, turned by up to 25 degrees, with a glare spot.</summary>
    Medium,

    /// <summary>A third to half of the width, any angle, glare and noise.</summary>
    Hard,

    /// <summary>A sixth to a quarter of the width: a label that lies somewhere in a large picture.</summary>
    Far,
}

/// <summary>
/// Draws pictures as a camera in a clinic takes them: label shots (a card with a code, in perspective, blurred, shaded, noisy), and clinical
/// scenes without a code. Everything follows from the seed.
/// </summary>
public static class LabelScenes
{
    /// <summary>A label shot as a JPEG file of quality 75.</summary>
    public static byte[] Label(int seed, BarcodeFormat format, string text, Difficulty difficulty, int width, int height) =>
        Draw(seed, [(format, text)], difficulty, width, height);

    /// <summary>One picture with the codes of two labels beside each other.</summary>
    public static byte[] TwoLabels(int seed, BarcodeFormat first, string firstText, BarcodeFormat second, string secondText, int width, int height) =>
        Draw(seed, [(first, firstText), (second, secondText)], Difficulty.Easy, width, height);

    /// <summary>A clinical scene without a code: 0 skin with lesions, 1 hair, 2 skin with a ruler, 3 teeth, 4 woven cloth, 5 a printed page.</summary>
    public static byte[] WithoutCode(int seed, int kind, int width, int height)
    {
        var random = new Random(seed);
        using var bitmap = new SKBitmap(width, height, SKColorType.Rgba8888, SKAlphaType.Opaque);
        using (var canvas = new SKCanvas(bitmap))
        {
            Skin(canvas, random, width, height);
            switch (kind)
            {
                case 1:
                    Hair(canvas, random, width, height);
                    break;
                case 2:
                    Ruler(canvas, random, width, height);
                    break;
                case 3:
                    Teeth(canvas, random, width, height);
                    break;
                case 4:
                    Cloth(canvas, random, width, height);
                    break;
                case 5:
                    Page(canvas, random, width, height);
                    break;
                default:
                    break;
            }
        }

        return Finish(bitmap, random, kind is 0 or 3 ? 3 : 5);
    }

    private static byte[] Draw(int seed, (BarcodeFormat Format, string Text)[] codes, Difficulty difficulty, int width, int height)
    {
        var random = new Random(seed);
        using SKBitmap card = Card(codes);
        using var bitmap = new SKBitmap(width, height, SKColorType.Rgba8888, SKAlphaType.Opaque);
        using (var canvas = new SKCanvas(bitmap))
        {
            Skin(canvas, random, width, height);
            (double share, double turn) = difficulty switch
            {
                Difficulty.Easy => (0.75 + (0.15 * random.NextDouble()), 8.0),
                Difficulty.Medium => (0.50 + (0.20 * random.NextDouble()), 25.0),
                Difficulty.Far => (0.15 + (0.10 * random.NextDouble()), 25.0),
                _ => (0.33 + (0.17 * random.NextDouble()), 180.0),
            };
            double angle = ((random.NextDouble() * 2) - 1) * turn * Math.PI / 180;
            Place(canvas, card, random, angle, share * width, width, height, difficulty);
            if (difficulty is Difficulty.Medium or Difficulty.Hard)
            {
                Glare(canvas, random, width, height);
            }
        }

        return Finish(bitmap, random, difficulty switch { Difficulty.Easy => 3, Difficulty.Hard => 12, _ => 6 });
    }

    private static SKBitmap Card((BarcodeFormat Format, string Text)[] codes)
    {
        const int Side = 900;
        var card = new SKBitmap(Side * codes.Length, 640, SKColorType.Rgba8888, SKAlphaType.Opaque);
        using var canvas = new SKCanvas(card);
        canvas.Clear(SKColors.White);
        using var ink = new SKPaint { Color = SKColors.Black };
        for (int i = 0; i < codes.Length; i++)
        {
            BitMatrix matrix = new MultiFormatWriter().encode(codes[i].Text, codes[i].Format, 0, 0, new Dictionary<EncodeHintType, object>
            {
                [EncodeHintType.MARGIN] = 0,
                [EncodeHintType.ERROR_CORRECTION] = ZXing.QrCode.Internal.ErrorCorrectionLevel.M,
                [EncodeHintType.DATA_MATRIX_SHAPE] = ZXing.Datamatrix.Encoder.SymbolShapeHint.FORCE_SQUARE,
            });
            bool bars = codes[i].Format == BarcodeFormat.CODE_128;
            float scale = bars ? (Side - 120f) / matrix.Width : 400f / Math.Max(matrix.Width, matrix.Height);
            float left = (i * Side) + ((Side - (matrix.Width * scale)) / 2);
            for (int y = 0; y < (bars ? 1 : matrix.Height); y++)
            {
                for (int x = 0; x < matrix.Width; x++)
                {
                    if (matrix[x, y])
                    {
                        canvas.DrawRect(left + (x * scale), 60 + (y * scale), scale, bars ? 260 : scale, ink);
                    }
                }
            }

            // Printed lines below the code, as on a wristband.
            for (int line = 0; line < 2; line++)
            {
                for (int mark = 0; mark < 18; mark++)
                {
                    canvas.DrawRect((i * Side) + 60 + (mark * 42), 510 + (line * 56), 12 + ((mark * 7) % 20), 30, ink);
                }
            }
        }

        return card;
    }

    private static void Place(
        SKCanvas canvas, SKBitmap card, Random random, double angle, double cardWidth, int width, int height, Difficulty difficulty)
    {
        double cardHeight = Math.Min(cardWidth * card.Height / card.Width, height * 0.9);
        cardWidth = cardHeight * card.Width / card.Height;
        double tilt = difficulty == Difficulty.Easy ? 0.03 : 0.08;
        double roomX = Math.Max(0, (width - cardWidth) / 2) * 0.5;
        double roomY = Math.Max(0, (height - cardHeight) / 2) * 0.5;
        double centreX = (width / 2.0) + (((random.NextDouble() * 2) - 1) * roomX);
        double centreY = (height / 2.0) + (((random.NextDouble() * 2) - 1) * roomY);
        (double X, double Y)[] corners = [(-1, -1), (1, -1), (1, 1), (-1, 1)];
        var points = new SKPoint[4];
        for (int i = 0; i < 4; i++)
        {
            double x = corners[i].X * (cardWidth / 2) * (1 + (tilt * ((random.NextDouble() * 2) - 1)));
            double y = corners[i].Y * (cardHeight / 2) * (1 + (tilt * ((random.NextDouble() * 2) - 1)));
            points[i] = new SKPoint(
                (float)(centreX + (x * Math.Cos(angle)) - (y * Math.Sin(angle))),
                (float)(centreY + (x * Math.Sin(angle)) + (y * Math.Cos(angle))));
        }

        canvas.Save();
        canvas.SetMatrix(SquareTo(card.Width, card.Height, points));
        using var image = SKImage.FromBitmap(card);
        canvas.DrawImage(image, 0, 0, new SKSamplingOptions(SKFilterMode.Linear, SKMipmapMode.Linear));
        canvas.Restore();
    }

    /// <summary>The projective map of a rectangle at the origin to a quadrilateral (Heckbert 1989, section 2.2.3).</summary>
    private static SKMatrix SquareTo(float width, float height, SKPoint[] q)
    {
        double sumX = q[0].X - q[1].X + q[2].X - q[3].X;
        double sumY = q[0].Y - q[1].Y + q[2].Y - q[3].Y;
        double dx1 = q[1].X - q[2].X;
        double dx2 = q[3].X - q[2].X;
        double dy1 = q[1].Y - q[2].Y;
        double dy2 = q[3].Y - q[2].Y;
        double det = (dx1 * dy2) - (dx2 * dy1);
        double g = ((sumX * dy2) - (dx2 * sumY)) / det;
        double h = ((dx1 * sumY) - (sumX * dy1)) / det;
        return new SKMatrix(
            (float)((q[1].X - q[0].X + (g * q[1].X)) / width), (float)((q[3].X - q[0].X + (h * q[3].X)) / height), q[0].X,
            (float)((q[1].Y - q[0].Y + (g * q[1].Y)) / width), (float)((q[3].Y - q[0].Y + (h * q[3].Y)) / height), q[0].Y,
            (float)(g / width), (float)(h / height), 1);
    }

    internal static void Skin(SKCanvas canvas, Random random, int width, int height)
    {
        using var shader = SKShader.CreateRadialGradient(
            new SKPoint(width * 0.45f, height * 0.4f),
            width * 0.8f,
            [new SKColor(226, 178, 152), new SKColor(150, 100, 82)],
            SKShaderTileMode.Clamp);
        using var paint = new SKPaint { Shader = shader, IsAntialias = true };
        canvas.DrawRect(0, 0, width, height, paint);
        using var blur = SKMaskFilter.CreateBlur(SKBlurStyle.Normal, width / 200f);
        for (int i = 0; i < 25; i++)
        {
            using var spot = new SKPaint { Color = new SKColor(120, 60, 50, (byte)random.Next(40, 160)), IsAntialias = true, MaskFilter = blur };
            canvas.DrawOval(random.Next(width), random.Next(height), random.Next(4, 6 + (width / 25)), random.Next(4, 6 + (width / 30)), spot);
        }
    }

    private static void Hair(SKCanvas canvas, Random random, int width, int height)
    {
        for (int i = 0; i < 700; i++)
        {
            using var strand = new SKPaint
            {
                Color = new SKColor((byte)random.Next(30, 90), (byte)random.Next(20, 60), (byte)random.Next(10, 40)),
                StrokeWidth = Math.Max(1, width / 900f),
                IsAntialias = true,
                Style = SKPaintStyle.Stroke,
            };
            float x = random.Next(width);
            float y = random.Next(height / 2);
            canvas.DrawLine(x, y, x + random.Next(-width / 10, width / 10), y + random.Next(height / 8, height / 2), strand);
        }
    }

    private static void Ruler(SKCanvas canvas, Random random, int width, int height)
    {
        using var white = new SKPaint { Color = SKColors.White };
        using var black = new SKPaint { Color = SKColors.Black, IsAntialias = true };
        canvas.Save();
        canvas.RotateDegrees((float)((random.NextDouble() * 40) - 20), width / 2f, height / 2f);
        float top = height * 0.7f;
        canvas.DrawRect(width * 0.1f, top, width * 0.8f, height * 0.12f, white);
        float step = width * 0.8f / 100;
        for (int i = 1; i < 100; i++)
        {
            float length = height * (i % 10 == 0 ? 0.06f : i % 5 == 0 ? 0.045f : 0.03f);
            canvas.DrawRect((width * 0.1f) + (i * step), top, Math.Max(1, step / 5), length, black);
        }

        canvas.Restore();
    }

    private static void Teeth(SKCanvas canvas, Random random, int width, int height)
    {
        using var gap = new SKPaint { Color = new SKColor(60, 25, 25) };
        canvas.DrawRect(0, height * 0.3f, width, height * 0.4f, gap);
        float tooth = width / 9f;
        for (int row = 0; row < 2; row++)
        {
            for (int i = 0; i < 9; i++)
            {
                using var enamel = new SKPaint { Color = new SKColor(235, (byte)random.Next(215, 232), 200), IsAntialias = true };
                canvas.DrawRoundRect(i * tooth, height * (0.31f + (row * 0.2f)), tooth * 0.94f, height * 0.17f, tooth / 4, tooth / 4, enamel);
                using var gleam = new SKPaint { Color = SKColors.White, IsAntialias = true };
                canvas.DrawOval((i * tooth) + (tooth / 3), height * (0.36f + (row * 0.2f)), tooth / 12, tooth / 7, gleam);
            }
        }
    }

    private static void Cloth(SKCanvas canvas, Random random, int width, int height)
    {
        int step = Math.Max(6, width / 160);
        using var thread = new SKPaint { Color = new SKColor(40, 70, 130, 110), IsAntialias = true };
        canvas.RotateDegrees((float)(random.NextDouble() * 30));
        for (int at = -width; at < 2 * width; at += step)
        {
            canvas.DrawRect(at, -height, step / 2f, 3 * height, thread);
            canvas.DrawRect(-width, at, 3 * width, step / 2f, thread);
        }

        canvas.ResetMatrix();
    }

    private static void Page(SKCanvas canvas, Random random, int width, int height)
    {
        canvas.Clear(new SKColor(240, 238, 230));
        using var ink = new SKPaint { Color = new SKColor(30, 30, 40), IsAntialias = true };
        float line = height / 30f;
        for (float y = line; y < height - line; y += line)
        {
            for (float x = width * 0.08f; x < width * 0.9f;)
            {
                // Letters as pairs of strokes; a gap now and then.
                canvas.DrawRect(x, y, line / 9, line * 0.55f, ink);
                canvas.DrawRect(x, y + (random.Next(3) * line * 0.25f), line * 0.3f, line / 10, ink);
                x += line * (random.Next(6) == 0 ? 0.9f : 0.45f);
            }
        }
    }

    private static void Glare(SKCanvas canvas, Random random, int width, int height)
    {
        var centre = new SKPoint(width * (0.35f + (0.3f * random.NextSingle())), height * (0.35f + (0.3f * random.NextSingle())));
        using var shader = SKShader.CreateRadialGradient(
            centre, width * 0.12f, [new SKColor(255, 255, 255, 190), new SKColor(255, 255, 255, 0)], SKShaderTileMode.Clamp);
        using var paint = new SKPaint { Shader = shader };
        canvas.DrawRect(0, 0, width, height, paint);
    }

    /// <summary>Blur, shading and noise of the camera, then JPEG.</summary>
    private static byte[] Finish(SKBitmap scene, Random random, double noise)
    {
        using var blurred = new SKBitmap(scene.Info);
        using (var canvas = new SKCanvas(blurred))
        using (var filter = SKImageFilter.CreateBlur(scene.Width / 1600f, scene.Width / 1600f))
        using (var paint = new SKPaint { ImageFilter = filter })
        {
            canvas.DrawBitmap(scene, 0, 0, SKSamplingOptions.Default, paint);
            using var shade = SKShader.CreateLinearGradient(
                new SKPoint(0, 0),
                new SKPoint(scene.Width, scene.Height),
                [new SKColor(0, 0, 0, 0), new SKColor(0, 0, 0, 90)],
                SKShaderTileMode.Clamp);
            using var dark = new SKPaint { Shader = shade };
            canvas.DrawRect(0, 0, scene.Width, scene.Height, dark);
        }

        SceneLight.Grain(blurred, noise, random);
        using SKData data = blurred.Encode(SKEncodedImageFormat.Jpeg, 75);
        return data.ToArray();
    }
}
