using System.Diagnostics;
using System.Globalization;
using CameraBridge.Dicom.Bitstreams;
using CameraBridge.Tests.Peers;
using Xunit;

namespace CameraBridge.Tests.Dicom.Bitstreams;

/// <summary>libjpeg-turbo's own programs (Debian's libjpeg-turbo-progs): cjpeg draws, djpeg decodes, jpegtran rearranges.</summary>
internal sealed class JpegTools : IDisposable
{
    private const string Encoder = "/usr/bin/cjpeg", Decoder = "/usr/bin/djpeg", Transformer = "/usr/bin/jpegtran";

    private readonly DirectoryInfo folder = Directory.CreateTempSubdirectory("jpeg-tools-");
    private int number;

    public JpegTools()
    {
        OutsideProgram.Require(Encoder);
        OutsideProgram.Require(Decoder);
        OutsideProgram.Require(Transformer);
    }

    /// <summary>What jpegtran calls the way from the stored picture to the upright one, by Exif orientation (CIPA DC-008, tag Orientation).</summary>
    public static string[] TransformOf(int orientation) => orientation switch
    {
        1 => [],
        2 => ["-flip", "horizontal"],
        3 => ["-rotate", "180"],
        4 => ["-flip", "vertical"],
        5 => ["-transpose"],
        6 => ["-rotate", "90"],
        7 => ["-transverse"],
        _ => ["-rotate", "270"],
    };

    public void Dispose() => folder.Delete(recursive: true);

    /// <summary>Removes what was made.</summary>
    public void Clear()
    {
        foreach (FileInfo file in folder.EnumerateFiles())
        {
            file.Delete();
        }
    }

    /// <summary>What djpeg says of it while it decodes; nothing where it is whole and sound.</summary>
    public async Task<string> ComplaintAsync(string path)
    {
        using var process = Process.Start(new ProcessStartInfo(Decoder, ["-outfile", NewPath(".ppm"), path]) { RedirectStandardError = true })!;
        string told = await process.StandardError.ReadToEndAsync(TestContext.Current.CancellationToken);
        await process.WaitForExitAsync(TestContext.Current.CancellationToken);
        return told.Length == 0 && process.ExitCode != 0 ? $"exit code {process.ExitCode}" : told.Trim();
    }

    /// <summary>A new path.</summary>
    public string NewPath(string extension) => Path.Combine(folder.FullName, string.Create(CultureInfo.InvariantCulture, $"{number++}{extension}"));

    /// <summary>A picture with slopes, edges and noise, by seed, encoded with cjpeg's switches.</summary>
    public async Task<string> DrawAsync(int width, int height, params string[] switches)
    {
        string plain = NewPath(".ppm");
        byte[] header = System.Text.Encoding.ASCII.GetBytes(string.Create(CultureInfo.InvariantCulture, $"P6\n{width} {height}\n255\n"));
        byte[] pixels = new byte[width * height * 3];
        var random = new Random(width + (height * 7919));
        for (int y = 0; y < height; y++)
        {
            for (int x = 0; x < width; x++)
            {
                int at = ((y * width) + x) * 3;
                bool inside = (x - (width / 3)) * (x - (width / 3)) + ((y - (height / 2)) * (y - (height / 2))) < width * height / 9;
                pixels[at] = (byte)(inside ? 220 : x * 255 / width);
                pixels[at + 1] = (byte)(y * 255 / height);
                pixels[at + 2] = (byte)(random.Next(64) + (inside ? 20 : 120));
            }
        }

        await File.WriteAllBytesAsync(plain, [.. header, .. pixels], TestContext.Current.CancellationToken);
        string path = NewPath(".jpg");
        await OutsideProgram.RunAsync(Encoder, [.. switches, "-outfile", path, plain]);
        return path;
    }

    /// <summary>The pixels that djpeg gives, as a netpbm file.</summary>
    public async Task<byte[]> DecodeAsync(string path)
    {
        string plain = NewPath(".ppm");
        await RunAsync(Decoder, ["-dct", "int", "-outfile", plain, path]);
        return await File.ReadAllBytesAsync(plain, TestContext.Current.CancellationToken);
    }

    /// <summary>Whether djpeg gives the same pixels, and the same size and number of components, for both.</summary>
    public async Task<bool> ShowTheSameAsync(string one, string other)
    {
        byte[] pixels = await DecodeAsync(one);
        byte[] others = await DecodeAsync(other);
        return pixels.AsSpan().SequenceEqual(others);
    }

    /// <summary>jpegtran's output, or null where it says that the transform is not perfect.</summary>
    public async Task<string?> TransformAsync(string path, int orientation)
    {
        string turned = NewPath(".jpg");
        return await RunAsync(Transformer, ["-copy", "none", "-perfect", .. TransformOf(orientation), "-outfile", turned, path]) ? turned : null;
    }

    /// <summary>The product's output, or the reason why there is none.</summary>
    public (string? Path, JpegRefusal? Refusal) Rewrite(string path, int orientation)
    {
        JpegHeader header = JpegHeader.ReadFile(path);
        using JpegCoefficients? coefficients = JpegCoefficients.ReadFile(header, path, out JpegRefusal? refusal, TestContext.Current.CancellationToken);
        if (coefficients is null)
        {
            return (null, refusal);
        }

        string turned = NewPath(".jpg");
        using FileStream target = File.Create(turned);
        refusal = coefficients.WriteBaseline(target, JpegOrientation.Of(orientation), out long length, TestContext.Current.CancellationToken);
        Assert.Equal(target.Length, length);
        return (refusal is null ? turned : null, refusal);
    }

    /// <summary>True when the program ended well; djpeg ends with 2 where it only warned.</summary>
    private static async Task<bool> RunAsync(string program, string[] arguments)
    {
        using var process = Process.Start(new ProcessStartInfo(program, arguments) { RedirectStandardError = true })!;
        await process.StandardError.ReadToEndAsync(TestContext.Current.CancellationToken);
        await process.WaitForExitAsync(TestContext.Current.CancellationToken);
        return process.ExitCode is 0 or 2;
    }
}
