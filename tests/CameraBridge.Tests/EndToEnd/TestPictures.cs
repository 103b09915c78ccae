using QRCoder;
using SkiaSharp;

namespace CameraBridge.Tests.EndToEnd;

/// <summary>Pictures for the end-to-end tests: each seed gives other pixels, so that every file has its own content.</summary>
internal static class TestPictures
{
    /// <summary>A baseline JPEG of a soft gradient with grain, about 100 KB at 1280 x 960.</summary>
    public static byte[] Still(int seed, int width = 320, int height = 240)
    {
        Random random = new(seed);
        using SKBitmap bitmap = new(width, height, SKColorType.Rgba8888, SKAlphaType.Opaque);
        Span<byte> pixels = bitmap.GetPixelSpan();
        int hue = random.Next(40, 120);
        for (int y = 0; y < height; y++)
        {
            for (int x = 0; x < width; x++)
            {
                int at = ((y * width) + x) * 4;
                int grain = random.Next(24);
                pixels[at] = (byte)(120 + hue - (y * 60 / height) + grain);
                pixels[at + 1] = (byte)(60 + (x * 60 / width) + grain);
                pixels[at + 2] = (byte)(50 + grain);
                pixels[at + 3] = 255;
            }
        }

        using SKData data = bitmap.Encode(SKEncodedImageFormat.Jpeg, 75);
        return data.ToArray();
    }

    /// <summary>A label shot: a QR code with the given text on a pale sheet.</summary>
    public static byte[] Label(string text, int seed)
    {
        using QRCodeGenerator generator = new();
        using QRCodeData code = generator.CreateQrCode(text, QRCodeGenerator.ECCLevel.M);
        using SKBitmap bitmap = new(640, 480, SKColorType.Rgba8888, SKAlphaType.Opaque);
        using SKCanvas canvas = new(bitmap);
        canvas.Clear(new SKColor(226, (byte)(222 + (seed % 8)), 214));
        int size = code.ModuleMatrix.Count;
        float module = 380f / size;
        canvas.Translate(130, 50);
        using SKPaint white = new() { Color = SKColors.White };
        using SKPaint black = new() { Color = new SKColor(20, 20, 24) };
        canvas.DrawRect(-12, -12, 404, 404, white);
        for (int row = 0; row < size; row++)
        {
            for (int column = 0; column < size; column++)
            {
                if (code.ModuleMatrix[row][column])
                {
                    canvas.DrawRect(column * module, row * module, module + 0.5f, module + 0.5f, black);
                }
            }
        }

        canvas.Flush();
        using SKData data = bitmap.Encode(SKEncodedImageFormat.Jpeg, 85);
        return data.ToArray();
    }
}
