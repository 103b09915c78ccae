using System.Diagnostics;
using System.Text;
using CameraBridge.Pipeline.Sittings.Cues;
using CameraBridge.Pipeline.Sittings.Cues.Codes;
using CameraBridge.Tests.Dicom.Bitstreams;
using CameraBridge.Tests.Pipeline.Sittings.Cues.Scenes;
using SkiaSharp;
using Xunit;
using ZXing;

namespace CameraBridge.Tests.Pipeline.Sittings.Cues;

/// <summary>The system's decoder, compared with libjpeg-turbo's own djpeg, value by value, and with the decoder that the program brings.</summary>
public sealed class SystemJpegTests
{
    [Theory]
    [InlineData(1)]
    [InlineData(2)]
    [InlineData(4)]
    [InlineData(8)]
    public async Task Luminance_is_what_djpeg_decodes_in_each_size(int divisor)
    {
        SystemJpeg system = System();
        int compared = 0;
        foreach (string photograph in Photographs.All().Where((_, number) => number % 8 == 0))
        {
            byte[] file = await File.ReadAllBytesAsync(photograph, TestContext.Current.CancellationToken);
            if (Size(file) is not { } size)
            {
                continue;
            }

            (int width, int height) = ((size.Width + divisor - 1) / divisor, (size.Height + divisor - 1) / divisor);
            byte[] grey = new byte[width * height];
            if (system.TryDecode(file, width, height, grey))
            {
                Assert.Equal(await DjpegAsync(photograph, divisor), grey);
                compared++;
            }
        }

        Assert.True(compared >= 20, $"only {compared} photographs were compared");
    }

    [Fact]
    public void A_torn_file_is_left_to_the_other_decoder_which_tells_what_is_missing()
    {
        byte[] file = LabelScenes.Label(1, BarcodeFormat.QR_CODE, "P100000007", Difficulty.Easy, 1280, 960);
        byte[] torn = file[..(file.Length / 2)];

        Assert.True(System().TryDecode(file, 640, 480, new byte[640 * 480]));
        Assert.False(System().TryDecode(torn, 640, 480, new byte[640 * 480]));
        using SKData data = SKData.CreateCopy(torn);
        using PictureDecoder decoder = PictureDecoder.Open(data, System())!;
        Assert.Equal((1280, 960), (decoder.Decode(1280)!.Width, decoder.Decode(1280)!.Height));
        Assert.False(decoder.IsWhole);
    }

    [Fact]
    public void What_is_no_jpeg_or_has_no_luminance_or_no_room_is_refused()
    {
        string cmyk = Photographs.All().Single(path => path.EndsWith("pil_sample_cmyk.jpg", StringComparison.Ordinal));
        SKSizeI size = Size(File.ReadAllBytes(cmyk))!.Value;

        Assert.False(System().TryDecode("no picture at all"u8, 8, 8, new byte[64]));
        Assert.False(System().TryDecode([], 8, 8, new byte[64]));
        Assert.False(System().TryDecode(File.ReadAllBytes(cmyk), size.Width, size.Height, new byte[size.Width * size.Height]));
        Assert.Throws<ArgumentOutOfRangeException>(() => System().TryDecode("no picture at all"u8, 8, 8, new byte[63]));
    }

    [Theory]
    [InlineData(641, 480)]
    [InlineData(640, 481)]
    [InlineData(640, 960)]
    [InlineData(2560, 1920)]
    public void A_size_that_the_file_has_not_is_refused_and_no_pixel_is_left_as_it_was(int width, int height)
    {
        byte[] file = LabelScenes.Label(1, BarcodeFormat.QR_CODE, "P100000007", Difficulty.Easy, 1280, 960);

        Assert.False(System().TryDecode(file, width, height, new byte[width * height]));
    }

    [Theory]
    [InlineData(BarcodeFormat.QR_CODE)]
    [InlineData(BarcodeFormat.CODE_128)]
    [InlineData(BarcodeFormat.DATA_MATRIX)]
    public void The_same_codes_are_read_by_both_decoders_at_the_same_places(BarcodeFormat symbology)
    {
        SceneRecipe recipe = new() { Symbology = symbology, Width = 1281, Height = 961, Tilt = new(0, 30), Noise = new(0, 6) };
        for (int number = 0; number < 6; number++)
        {
            CodeScene scene = CodeScene.Draw(recipe.Draw(11, number));
            using SKData data = SKData.CreateCopy(scene.File);
            FoundCode own = Assert.Single(new LabelReader().Read(data).Codes);
            FoundCode faster = Assert.Single(new LabelReader(system: System()).Read(data).Codes);

            Assert.Equal((scene.Settings.Text, scene.Settings.Text), (own.Text, faster.Text));
            Assert.All(own.Corners.Zip(faster.Corners), pair =>
            {
                Assert.InRange(pair.First.X - pair.Second.X, -1, 1);
                Assert.InRange(pair.First.Y - pair.Second.Y, -1, 1);
            });
        }
    }

    private static SystemJpeg System()
    {
        Assert.True(SystemJpeg.Installed is not null, "libturbojpeg is in Debian's libturbojpeg0.");
        return SystemJpeg.Installed;
    }

    private static SKSizeI? Size(byte[] file)
    {
        using SKData data = SKData.CreateCopy(file);
        using SKCodec? codec = SKCodec.Create(data);
        return codec?.Info.Size;
    }

    /// <summary>Grey values by djpeg, which writes them as PGM: "P5", columns, rows, 255, each with a line's end, and then the values.</summary>
    private static async Task<byte[]> DjpegAsync(string path, int divisor)
    {
        using var process = Process.Start(new ProcessStartInfo("djpeg", ["-grayscale", "-dct", "int", "-scale", $"1/{divisor}", "-pnm", path]) { RedirectStandardOutput = true })!;
        using var output = new MemoryStream();
        await process.StandardOutput.BaseStream.CopyToAsync(output, TestContext.Current.CancellationToken);
        await process.WaitForExitAsync(TestContext.Current.CancellationToken);
        byte[] pnm = output.ToArray();
        string[] head = Encoding.ASCII.GetString(pnm, 0, Math.Min(pnm.Length, 64)).Split('\n', 4);
        Assert.Equal(("P5", "255"), (head[0], head[2]));
        return pnm[(head[0].Length + head[1].Length + head[2].Length + 3)..];
    }
}
