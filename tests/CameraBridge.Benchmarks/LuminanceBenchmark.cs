using System.Diagnostics;
using System.Globalization;
using CameraBridge.Dicom.Bitstreams;
using SkiaSharp;

namespace CameraBridge.Benchmarks;

/// <summary>
/// The luminance of pictures of 2 megapixels, whole and reduced while decoding, beside two others on the same files in turns: the library that the program brings, and djpeg of
/// libjpeg-turbo with its vector instructions, a process for each picture, of which what it takes to start is taken off. The middle of some runs counts.
/// </summary>
internal static class LuminanceBenchmark
{
    private const string Djpeg = "/usr/bin/djpeg";

    private const int Runs = 5;

    private const int Pictures = 40;

    public static async Task<int> RunAsync(string[] arguments)
    {
        string folder = arguments.Length > 0 ? arguments[0] : Environment.GetEnvironmentVariable("CAMERABRIDGE_PHOTOS") ?? "artifacts/peers/photos";
        string[] originals = Directory.Exists(folder) ? [.. PhotoVariants.Originals(folder)] : [];
        if (originals.Length == 0)
        {
            Console.Error.WriteLine($"No photographs in {folder}; fetch them with tests/peers/fetch_photos.sh {folder}");
            return 2;
        }

        string work = Directory.CreateTempSubdirectory("luminance-").FullName;
        try
        {
            byte[][] files = [.. Enumerable.Range(0, Pictures).Select(number => PhotoVariants.Draw(originals, 1, number * 8, 2)).OfType<byte[]>()];
            string[] paths = [.. files.Select((file, number) => Write(work, number, file))];
            using var small = new SKBitmap(8, 8);
            using SKData encoded = small.Encode(SKEncodedImageFormat.Jpeg, 80);
            string dot = Write(work, files.Length, encoded.ToArray());
            Console.WriteLine($"{"size",-8}{"own ms",9}{"library",10}{"ratio",8}{"djpeg",9}{"ratio",8}");
            foreach (int divisor in new[] { 1, 2, 4, 8 })
            {
                var times = new List<(double Own, double Library, double Other)>();
                for (int i = 0; i < files.Length; i++)
                {
                    times.Add(await CompareAsync(files[i], paths[i], dot, divisor));
                }

                (double own, double library, double other) = (times.Average(time => time.Own), times.Average(time => time.Library), times.Average(time => time.Other));
                Console.WriteLine(string.Create(CultureInfo.InvariantCulture, $"1/{divisor,-6}{own,9:F2}{library,10:F2}{own / library,8:F2}{other,9:F2}{own / other,8:F2}"));
            }

            return 0;
        }
        finally
        {
            Directory.Delete(work, recursive: true);
        }
    }

    private static string Write(string folder, int number, byte[] file)
    {
        string path = Path.Combine(folder, string.Create(CultureInfo.InvariantCulture, $"{number}.jpg"));
        File.WriteAllBytes(path, file);
        return path;
    }

    private static async Task<(double Own, double Library, double Other)> CompareAsync(byte[] file, string path, string dot, int divisor)
    {
        using SKData data = SKData.CreateCopy(file);
        using SKCodec codec = SKCodec.Create(data);
        (int width, int height) = ((codec.Info.Width + divisor - 1) / divisor, (codec.Info.Height + divisor - 1) / divisor);
        byte[] grey = new byte[width * height];
        using var bitmap = new SKBitmap(new SKImageInfo(width, height, SKColorType.Rgba8888, SKAlphaType.Opaque));
        (List<double> own, List<double> library, List<double> other) = ([], [], []);
        for (int run = 0; run < Runs; run++)
        {
            long start = Stopwatch.GetTimestamp();
            using (var stream = new MemoryStream(file))
            {
                if (!JpegLuminance.TryDecode(stream, width, height, grey))
                {
                    throw new InvalidOperationException($"{path} was not decoded.");
                }
            }

            own.Add(Stopwatch.GetElapsedTime(start).TotalMilliseconds);
            start = Stopwatch.GetTimestamp();
            using (SKCodec again = SKCodec.Create(data))
            {
                again.GetPixels(bitmap.Info, bitmap.GetPixels());
            }

            library.Add(Stopwatch.GetElapsedTime(start).TotalMilliseconds);
            other.Add(await DjpegAsync(path, divisor) - await DjpegAsync(dot, divisor));
        }

        return (TransformsBenchmark.Median(own), TransformsBenchmark.Median(library), TransformsBenchmark.Median(other));
    }

    private static async Task<double> DjpegAsync(string path, int divisor)
    {
        long start = Stopwatch.GetTimestamp();
        using Process process = Process.Start(new ProcessStartInfo(Djpeg, ["-grayscale", "-dct", "int", "-scale", $"1/{divisor}", "-outfile", "/dev/null", path]))!;
        await process.WaitForExitAsync();
        return Stopwatch.GetElapsedTime(start).TotalMilliseconds;
    }
}
