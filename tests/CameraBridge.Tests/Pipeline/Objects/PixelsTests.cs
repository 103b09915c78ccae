using System.Diagnostics;
using System.Security.Cryptography;
using CameraBridge.Dicom.Bitstreams;
using CameraBridge.Tests.Dicom.Bitstreams;
using Xunit;

namespace CameraBridge.Tests.Pipeline.Objects;

/// <summary>What leaving segments out does to the pixels: nothing, says libjpeg-turbo's djpeg.</summary>
public sealed class PixelsTests
{
    private const string Decoder = "/usr/bin/djpeg";

    [Fact]
    public async Task The_stream_in_the_object_decodes_to_the_pixels_of_the_file()
    {
        Assert.SkipUnless(File.Exists(Decoder), "djpeg is in Debian's libjpeg-turbo-progs.");
        string folder = Directory.CreateTempSubdirectory("pixels-").FullName;
        var different = new List<string>();
        int compared = 0;
        foreach (string photograph in Photographs.All())
        {
            JpegHeader header = JpegHeader.ReadFile(photograph);
            if (JpegBaseline.Judge(header) is not null || header.Length > 2_000_000)
            {
                continue;
            }

            string stream = Path.Combine(folder, "stream.jpg");
            await File.WriteAllBytesAsync(stream, JpegBaselineTests.Bytes(JpegBaseline.Plan(header, photograph).Pixels), TestContext.Current.CancellationToken);
            if (await PixelsAsync(photograph) != await PixelsAsync(stream))
            {
                different.Add(photograph);
            }

            compared++;
        }

        Directory.Delete(folder, recursive: true);
        Assert.Empty(different);
        Assert.True(compared >= 200, $"only {compared} photographs");
    }

    private static async Task<string> PixelsAsync(string path)
    {
        using var process = Process.Start(new ProcessStartInfo(Decoder, ["-dct", "int", path]) { RedirectStandardOutput = true, RedirectStandardError = true })!;
        Task<string> told = process.StandardError.ReadToEndAsync(TestContext.Current.CancellationToken);
        byte[] hash = await SHA256.HashDataAsync(process.StandardOutput.BaseStream, TestContext.Current.CancellationToken);
        Assert.True(process.WaitForExit(TimeSpan.FromSeconds(30)), "djpeg does not end");
        await told;
        return Convert.ToHexString(hash);
    }
}
