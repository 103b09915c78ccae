using SkiaSharp;

namespace CameraBridge.Practice.Sticks;

/// <summary>What a drawn picture is of.</summary>
internal enum Motif
{
    Eardrum,
    Throat,
    Skin,
    Wound,
    Teeth,
}

/// <summary>
/// Clinical pictures as a program can draw them: nobody's, but with the shapes, colours and sensor noise that make a JPEG of about 100 KB and that a
/// label reader must not mistake for a code.
/// </summary>
internal static class DrawnPicture
{
    public const int Width = 1280;
    public const int Height = 960;

    /// <summary>Draws and encodes one picture as baseline JPEG. The same seed gives the same bytes.</summary>
    public static byte[] Draw(Motif motif, int seed)
    {
        Random random = new(seed);
        using SKBitmap bitmap = new(Width, Height, SKColorType.Rgba8888, SKAlphaType.Opaque);
        using (SKCanvas canvas = new(bitmap))
        {
            switch (motif)
            {
                case Motif.Eardrum:
                    Eardrum(canvas, random);
                    break;
                case Motif.Throat:
                    Throat(canvas, random);
                    break;
                case Motif.Teeth:
                    Teeth(canvas, random);
                    break;
                default:
                    Skin(canvas, random, motif == Motif.Wound);
                    break;
            }
        }

        return Encode(bitmap, random.Next(), strength: 9);
    }

    /// <summary>Adds sensor noise and encodes.</summary>
    /// <param name="bitmap">RGBA, changed in place.</param>
    /// <param name="seed">Of the noise.</param>
    /// <param name="strength">Largest deviation of a channel, in steps of 255.</param>
    public static byte[] Encode(SKBitmap bitmap, int seed, int strength)
    {
        uint state = (uint)seed | 1;
        Span<byte> pixels = bitmap.GetPixelSpan();
        for (int i = 0; i < pixels.Length; i += 4)
        {
            // xorshift32: one draw a pixel is enough, luminance noise is what a sensor shows most.
            state ^= state << 13;
            state ^= state >> 17;
            state ^= state << 5;
            int noise = (int)(state % (uint)((2 * strength) + 1)) - strength;
            for (int channel = 0; channel < 3; channel++)
            {
                pixels[i + channel] = (byte)Math.Clamp(pixels[i + channel] + noise, 0, 255);
            }
        }

        bitmap.NotifyPixelsChanged();
        using SKData data = bitmap.Encode(SKEncodedImageFormat.Jpeg, 74);
        return data.ToArray();
    }

    /// <summary>The round field of an otoscope on black: canal, drum, hammer handle, cone of light.</summary>
    private static void Eardrum(SKCanvas canvas, Random random)
    {
        canvas.Clear(new SKColor(6, 4, 4));
        SKPoint centre = new(640 + random.Next(-30, 30), 480 + random.Next(-30, 30));
        Disc(canvas, centre, 450, new SKColor(222, 160, 128), new SKColor(126, 62, 48));
        Disc(canvas, new SKPoint(centre.X + random.Next(-40, 40), centre.Y), 300, new SKColor(226, 214, 200), new SKColor(176, 146, 130));
        Stroke(canvas, new SKColor(240, 226, 204), 22, new SKPoint(centre.X - 20, centre.Y - 240), new SKPoint(centre.X + random.Next(-30, 30), centre.Y + 20));
        using SKPath cone = Polygon(new(centre.X, centre.Y + 20), new(centre.X + 130, centre.Y + 210), new(centre.X + 40, centre.Y + 240));
        Fill(canvas, cone, new SKColor(250, 246, 236, 180), 14);
        Vessels(canvas, random, centre, 330, new SKColor(170, 50, 40, 140));
    }

    private static void Throat(SKCanvas canvas, Random random)
    {
        canvas.Clear(new SKColor(64, 16, 18));
        Disc(canvas, new SKPoint(640, 420), 520, new SKColor(214, 110, 104), new SKColor(112, 34, 38));
        Disc(canvas, new SKPoint(640 + random.Next(-20, 20), 430), 230, new SKColor(120, 40, 44), new SKColor(48, 10, 14));
        Disc(canvas, new SKPoint(400, 440), 120, new SKColor(222, 128, 118), new SKColor(150, 58, 60));
        Disc(canvas, new SKPoint(880, 440), 120, new SKColor(222, 128, 118), new SKColor(150, 58, 60));
        Stroke(canvas, new SKColor(216, 112, 108), 60, new SKPoint(640, 180), new SKPoint(640 + random.Next(-20, 20), 400));
        Disc(canvas, new SKPoint(640, 940), 420, new SKColor(228, 148, 142), new SKColor(168, 84, 84));
        Vessels(canvas, random, new SKPoint(640, 420), 420, new SKColor(140, 20, 30, 120));
    }

    private static void Skin(SKCanvas canvas, Random random, bool wound)
    {
        canvas.Clear(new SKColor(214, 172, 146));
        for (int i = 0; i < 240; i++)
        {
            Disc(canvas, Any(random), random.Next(4, 40), new SKColor(196, 146, 122, 60), new SKColor(214, 172, 146, 0));
        }

        SKPoint centre = new(600 + random.Next(80), 440 + random.Next(80));
        using SKPath outline = Blob(random, centre, wound ? 230 : 130);
        Fill(canvas, outline, wound ? new SKColor(168, 44, 40) : new SKColor(92, 56, 40), 6);
        for (int i = 0; i < (wound ? 60 : 24); i++)
        {
            SKPoint spot = new(centre.X + random.Next(-120, 120), centre.Y + random.Next(-90, 90));
            SKColor colour = wound ? (i % 3 == 0 ? new SKColor(216, 190, 110, 200) : new SKColor(196, 70, 60, 200)) : new SKColor(60, 34, 28, 150);
            Disc(canvas, spot, random.Next(6, 30), colour, colour.WithAlpha(0));
        }

        for (int i = 0; i < (wound ? 0 : 16); i++)
        {
            SKPoint root = Any(random);
            Stroke(canvas, new SKColor(70, 50, 40, 170), 3, root, new SKPoint(root.X + random.Next(-90, 90), root.Y + random.Next(40, 120)));
        }
    }

    private static void Teeth(SKCanvas canvas, Random random)
    {
        canvas.Clear(new SKColor(70, 20, 24));
        for (int row = 0; row < 2; row++)
        {
            int gum = row == 0 ? 110 : 560;
            using (SKPaint paint = new() { Color = new SKColor(214, 120, 124) })
            {
                canvas.DrawRoundRect(40, gum, 1200, 290, 120, 120, paint);
            }

            for (int tooth = 0; tooth < 8; tooth++)
            {
                float x = 90 + (tooth * 140) + random.Next(-6, 6);
                using SKPaint paint = new() { Color = new SKColor(236, (byte)random.Next(222, 234), (byte)random.Next(196, 214)), IsAntialias = true };
                canvas.DrawRoundRect(x, gum + (row == 0 ? 110 : -20) + random.Next(-8, 8), 126, 210, 44, 44, paint);
            }
        }
    }

    private static SKPoint Any(Random random) => new(random.Next(Width), random.Next(Height));

    private static void Disc(SKCanvas canvas, SKPoint centre, float radius, SKColor inner, SKColor outer)
    {
        using SKShader shader = SKShader.CreateRadialGradient(centre, radius, [inner, outer], SKShaderTileMode.Clamp);
        using SKPaint paint = new() { Shader = shader, IsAntialias = true };
        canvas.DrawCircle(centre, radius, paint);
    }

    private static void Stroke(SKCanvas canvas, SKColor colour, float width, SKPoint from, SKPoint to)
    {
        using SKPaint paint = new() { Color = colour, StrokeWidth = width, IsStroke = true, StrokeCap = SKStrokeCap.Round, IsAntialias = true };
        canvas.DrawLine(from, to, paint);
    }

    private static void Fill(SKCanvas canvas, SKPath path, SKColor colour, float blur)
    {
        using SKMaskFilter soft = SKMaskFilter.CreateBlur(SKBlurStyle.Normal, blur);
        using SKPaint paint = new() { Color = colour, MaskFilter = soft, IsAntialias = true };
        canvas.DrawPath(path, paint);
    }

    private static SKPath Polygon(params SKPoint[] points)
    {
        using SKPathBuilder builder = new();
        builder.MoveTo(points[0]);
        foreach (SKPoint point in points.AsSpan(1))
        {
            builder.LineTo(point);
        }

        builder.Close();
        return builder.Detach();
    }

    private static SKPath Blob(Random random, SKPoint centre, float radius) =>
        Polygon([.. Enumerable.Range(0, 24).Select(step =>
        {
            float reach = radius * (0.75f + (0.4f * random.NextSingle()));
            (float sine, float cosine) = MathF.SinCos(step * MathF.Tau / 24);
            return new SKPoint(centre.X + (reach * cosine), centre.Y + (reach * sine * 0.8f));
        })]);

    private static void Vessels(SKCanvas canvas, Random random, SKPoint centre, float reach, SKColor colour)
    {
        for (int vessel = 0; vessel < 14; vessel++)
        {
            float angle = random.NextSingle() * MathF.Tau;
            SKPoint at = new(centre.X + (reach * MathF.Cos(angle)), centre.Y + (reach * MathF.Sin(angle)));
            for (int bend = 0; bend < 6; bend++)
            {
                angle += random.NextSingle() - 0.5f;
                SKPoint next = new(at.X - (40 * MathF.Cos(angle)), at.Y - (40 * MathF.Sin(angle)));
                Stroke(canvas, colour, 6 - bend, at, next);
                at = next;
            }
        }
    }
}
