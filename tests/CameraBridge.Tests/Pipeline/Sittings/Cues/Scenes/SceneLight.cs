using SkiaSharp;

namespace CameraBridge.Tests.Pipeline.Sittings.Cues.Scenes;

/// <summary>What stands between a scene and its file: blur, uneven light, glare, the round edge of an optic, noise, JPEG.</summary>
internal static class SceneLight
{
    /// <summary>Makes the file.</summary>
    /// <param name="scene">The sharp scene.</param>
    /// <param name="settings">What is to be done.</param>
    /// <param name="middle">The code's middle, in pixels.</param>
    /// <param name="length">The code's length in pixels.</param>
    /// <param name="random">Draws what the settings leave open.</param>
    public static byte[] Photograph(SKBitmap scene, SceneSettings settings, (double X, double Y) middle, double length, Random random)
    {
        using var picture = new SKBitmap(scene.Info);
        using (var canvas = new SKCanvas(picture))
        {
            using SKImageFilter? blur = settings.Blur > 0 ? SKImageFilter.CreateBlur((float)settings.Blur, (float)settings.Blur, SKShaderTileMode.Clamp) : null;
            using var paint = new SKPaint { ImageFilter = blur };
            canvas.DrawBitmap(scene, 0, 0, SKSamplingOptions.Default, paint);
            Shade(canvas, scene.Width, scene.Height, random);
            if (settings.Glare > 0)
            {
                Glare(canvas, settings, middle, length, random);
            }

            if (settings.Vignette > 0)
            {
                Vignette(canvas, scene.Width, scene.Height, settings.Vignette);
            }
        }

        if (settings.Noise > 0)
        {
            Grain(picture, settings.Noise, random);
        }

        using SKData data = picture.Encode(SKEncodedImageFormat.Jpeg, settings.Quality);
        return data.ToArray();
    }

    private static void Shade(SKCanvas canvas, int width, int height, Random random)
    {
        double angle = random.NextDouble() * 2 * Math.PI;
        (double x, double y) = (width / 2.0 * (1 + Math.Cos(angle)), height / 2.0 * (1 + Math.Sin(angle)));
        using var shade = SKShader.CreateLinearGradient(
            new SKPoint((float)x, (float)y), new SKPoint((float)(width - x), (float)(height - y)), [new SKColor(0, 0, 0, 0), new SKColor(0, 0, 0, 100)], SKShaderTileMode.Clamp);
        using var paint = new SKPaint { Shader = shade };
        canvas.DrawRect(0, 0, width, height, paint);
    }

    /// <summary>A spot that spreads over an eighth to a quarter of the code's length, with its middle somewhere on the code.</summary>
    private static void Glare(SKCanvas canvas, SceneSettings settings, (double X, double Y) middle, double length, Random random)
    {
        double reach = length * 0.35;
        var at = new SKPoint((float)(middle.X + (((random.NextDouble() * 2) - 1) * reach)), (float)(middle.Y + (((random.NextDouble() * 2) - 1) * reach)));
        float radius = (float)(length * (0.125 + (0.125 * random.NextDouble())));
        byte light = (byte)Math.Clamp(settings.Glare * 255, 0, 255);
        using var shader = SKShader.CreateRadialGradient(
            at, radius, [new SKColor(light, light, light), new SKColor((byte)(light / 2), (byte)(light / 2), (byte)(light / 2)), SKColors.Black], [0, 0.5f, 1], SKShaderTileMode.Clamp);
        using var paint = new SKPaint { Shader = shader, BlendMode = SKBlendMode.Plus };
        canvas.DrawRect(0, 0, settings.Width, settings.Height, paint);
    }

    private static void Vignette(SKCanvas canvas, int width, int height, double diameter)
    {
        float radius = (float)(diameter * Math.Min(width, height) / 2);
        using var shader = SKShader.CreateRadialGradient(
            new SKPoint(width / 2f, height / 2f), radius, [SKColors.Transparent, new SKColor(0, 0, 0, 60), SKColors.Black], [0.7f, 0.97f, 1f], SKShaderTileMode.Clamp);
        using var paint = new SKPaint { Shader = shader };
        canvas.DrawRect(0, 0, width, height, paint);
    }

    /// <summary>Noise of a sensor.</summary>
    /// <param name="picture">RGBA or BGRA, 8 bits.</param>
    /// <param name="noise">Standard deviation in grey levels.</param>
    /// <param name="random">Where chance comes from.</param>
    internal static void Grain(SKBitmap picture, double noise, Random random)
    {
        // A table read from a random place in each row: drawing a number a pixel would take longer than all the rest.
        sbyte[] grain = new sbyte[16384];
        for (int i = 0; i < grain.Length; i++)
        {
            double normal = Math.Sqrt(-2 * Math.Log(1 - random.NextDouble())) * Math.Cos(2 * Math.PI * random.NextDouble());
            grain[i] = (sbyte)Math.Clamp(Math.Round(normal * noise), -127, 127);
        }

        Span<byte> pixels = picture.GetPixelSpan();
        for (int row = 0; row < picture.Height; row++)
        {
            int from = random.Next(grain.Length);
            int at = row * picture.RowBytes;
            for (int x = 0; x < picture.Width; x++, at += 4)
            {
                int add = grain[(from + x) & 16383];
                pixels[at] = (byte)Math.Clamp(pixels[at] + add, 0, 255);
                pixels[at + 1] = (byte)Math.Clamp(pixels[at + 1] + add, 0, 255);
                pixels[at + 2] = (byte)Math.Clamp(pixels[at + 2] + add, 0, 255);
            }
        }
    }
}
