using SkiaSharp;

namespace CameraBridge.Benchmarks;

/// <summary>Any number of different pictures from some photographs: crops, mirrored, turned, rescaled, blurred, recompressed. Picture number n of a seed is always the same.</summary>
internal static class PhotoVariants
{
    /// <summary>The photographs of a folder that decode and are larger than a stamp.</summary>
    public static IEnumerable<string> Originals(string folder) => Directory.EnumerateFiles(folder, "*.jp*g", SearchOption.AllDirectories).Order(StringComparer.Ordinal)
        .Where(path =>
        {
            using SKCodec? codec = SKCodec.Create(path);
            return codec is not null && codec.Info.Width >= 120 && codec.Info.Height >= 120;
        });

    /// <summary>One picture.</summary>
    /// <param name="originals">The photographs.</param>
    /// <param name="seed">Of the series.</param>
    /// <param name="number">Of the picture in it.</param>
    /// <param name="megapixels">Its size.</param>
    /// <returns>A JPEG file, or null where the photograph does not decode.</returns>
    public static byte[]? Draw(IReadOnlyList<string> originals, int seed, int number, double megapixels)
    {
        var random = new Random(unchecked((seed * 1_000_003) + number));
        using SKBitmap? photograph = SKBitmap.Decode(originals[number % originals.Count]);
        if (photograph is null)
        {
            return null;
        }

        double aspect = random.Next(3) switch { 0 => 16 / 9.0, 1 => 4 / 3.0, _ => 1 };
        int height = (int)Math.Sqrt(megapixels * 1e6 / aspect);
        int width = (int)(height * aspect);
        using var picture = new SKBitmap(width, height, SKColorType.Rgba8888, SKAlphaType.Opaque);
        using (var canvas = new SKCanvas(picture))
        {
            double share = 0.4 + (0.6 * random.NextDouble());
            float cropWidth = (float)(photograph.Width * share);
            float cropHeight = (float)Math.Min(photograph.Height, cropWidth / aspect);
            var from = SKRect.Create(
                (float)((photograph.Width - cropWidth) * random.NextDouble()), (float)((photograph.Height - cropHeight) * random.NextDouble()), cropWidth, cropHeight);
            canvas.Translate(width / 2f, height / 2f);
            canvas.Scale(random.Next(2) == 0 ? 1 : -1, random.Next(2) == 0 ? 1 : -1);
            bool isTurned = random.Next(3) == 0;
            canvas.RotateDegrees(isTurned ? (float)((random.NextDouble() * 60) - 30) : 0);
            canvas.Scale(isTurned ? 1.4f : 1);
            using SKImage image = SKImage.FromBitmap(photograph);
            var sampling = random.Next(6) > 0 ? new SKSamplingOptions(SKCubicResampler.Mitchell) : new SKSamplingOptions(SKFilterMode.Nearest, SKMipmapMode.None);
            canvas.DrawImage(image, from, SKRect.Create(-width / 2f, -height / 2f, width, height), sampling);
        }

        using SKData data = picture.Encode(SKEncodedImageFormat.Jpeg, random.Next(60, 91));
        return data.ToArray();
    }
}
