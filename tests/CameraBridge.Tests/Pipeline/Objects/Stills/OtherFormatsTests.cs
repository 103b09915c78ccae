using System.Security.Cryptography;
using CameraBridge.Dicom.Part10;
using CameraBridge.Pipeline.Objects;
using Xunit;

namespace CameraBridge.Tests.Pipeline.Objects.Stills;

/// <summary>PNG, BMP, WebP and the rest, drawn by Pillow and compared with Pillow's samples.</summary>
public sealed class OtherFormatsTests : IDisposable
{
    private readonly StillRig rig = new();

    public void Dispose() => rig.Dispose();

    [Fact]
    public async Task What_is_decoded_without_loss_has_the_samples_that_Pillow_gives()
    {
        string drawn = await rig.DrawAsync();
        string[] names =
        [
            "rgb.png", "grey.png", "one-bit.png", "palette-4-bit.png", "palette.png", "alpha-opaque.png", "interlaced.png", "profile.png",
            // The fourth byte of a BMP pixel without bit masks is reserved (BITMAPINFOHEADER, BI_RGB): no alpha, whatever is in it.
            "rgb.bmp", "grey.bmp", "palette.bmp", "alpha-opaque.bmp", "alpha-clear.bmp", "lossless.webp",
            .. Enumerable.Range(1, 8).SelectMany(n => (string[])[$"turned-{n}.png", $"grey-turned-{n}.png", $"turned-{n}.webp"]),
        ];
        foreach (string name in names)
        {
            string path = Path.Combine(drawn, name);
            (int columns, int rows, string mode, string sha256) = await StillRig.PillowAsync(path);

            StillContent content = rig.Make(path);

            byte[] samples = StillRig.Bytes(content.Native!);
            Assert.True(samples.Length % 2 == 0, name);
            if (mode == "L" && content.SamplesPerPixel == 3)
            {
                // Skia gives grey pictures with a palette or alpha as colours: all three samples must be the grey one.
                Assert.All(samples[..(int)content.StreamLength].Chunk(3), pixel => Assert.True(pixel[0] == pixel[1] && pixel[1] == pixel[2]));
                samples = [.. samples[..(int)content.StreamLength].Chunk(3).Select(pixel => pixel[0])];
            }
            else
            {
                Assert.Equal((mode == "L" ? 1 : 3) * rows * columns, content.StreamLength);
                samples = samples[..(int)content.StreamLength];
            }

            Assert.True(sha256 == Convert.ToHexStringLower(SHA256.HashData(samples)), $"{name}: other samples");
            // PS3.3 section C.7.6.3.1.2: MONOCHROME2 for one sample, RGB for three that are not compressed.
            Assert.Equal(
                (columns, rows, content.SamplesPerPixel == 1 ? "MONOCHROME2" : "RGB", TransferSyntax.ExplicitLittleEndian.Uid),
                (content.Columns, content.Rows, content.PhotometricInterpretation, content.TransferSyntaxUID));
            Assert.Empty(content.LossySteps);
            Assert.False(content.Derivation!.PixelsChanged);
            Assert.Empty(content.Fragments);
        }
    }

    [Theory]
    [InlineData("16-bit.png", "picture-16-bit")]
    [InlineData("alpha-clear.png", "picture-transparent")]
    [InlineData("palette-transparent.png", "picture-transparent")]
    [InlineData("alpha-clear.webp", "picture-transparent")]
    [InlineData("animated.png", "picture-animated")]
    [InlineData("animated.webp", "picture-animated")]
    [InlineData("lossy.webp", "picture-format")]
    [InlineData("rgb.tif", "picture-format")]
    [InlineData("rgb.gif", "picture-format")]
    [InlineData("rgb.jp2", "picture-format")]
    [InlineData("cmyk.jpg", "picture-cmyk")]
    public async Task What_an_object_cannot_say_truly_is_held_and_leaves_nothing_behind(string name, string code)
    {
        string drawn = await rig.DrawAsync();

        Assert.Equal(code, rig.HoldCode(Path.Combine(drawn, name)));

        Assert.Empty(rig.Spooled());
    }

    [Theory]
    [InlineData("rgb.png")]
    [InlineData("interlaced.png")]
    [InlineData("rgb.bmp")]
    [InlineData("lossless.webp")]
    public async Task A_file_that_is_cut_anywhere_is_held(string name)
    {
        byte[] whole = await File.ReadAllBytesAsync(Path.Combine(await rig.DrawAsync(), name), TestContext.Current.CancellationToken);
        foreach (int length in Enumerable.Range(0, 60).Select(i => whole.Length * i / 60))
        {
            string path = rig.Write("cut", whole[..length]);

            Assert.True(rig.Prepare(path) is ContentOutcome.Held, $"{name} cut at {length} of {whole.Length}");
        }

        Assert.Empty(rig.Spooled());
    }

    [Fact]
    public async Task A_bit_that_is_changed_in_a_PNG_file_is_found()
    {
        // ISO/IEC 15948 section 5.5: each chunk has a check value.
        byte[] whole = await File.ReadAllBytesAsync(Path.Combine(await rig.DrawAsync(), "rgb.png"), TestContext.Current.CancellationToken);
        var random = new Random(5);
        for (int i = 0; i < 200; i++)
        {
            byte[] changed = [.. whole];
            changed[random.Next(8, whole.Length)] ^= (byte)(1 << random.Next(8));

            Assert.True(rig.Prepare(rig.Write("changed", changed)) is ContentOutcome.Held, $"change {i}");
        }
    }

    [Fact]
    public async Task A_profile_and_a_colour_space_go_into_the_object()
    {
        string drawn = await rig.DrawAsync();

        StillContent content = rig.Make(Path.Combine(drawn, "profile.png"));

        // ICC.1: bytes 36 to 39 are "acsp"; Pillow's profile bears the name sRGB.
        Assert.Equal("acsp"u8, content.IccProfile.Span.Slice(36, 4));
        Assert.Equal("SRGB", content.ColorSpace);
        Assert.True(rig.Make(Path.Combine(drawn, "grey.png")).IccProfile.IsEmpty);
    }

    [Fact]
    public void A_file_of_no_known_kind_is_held()
    {
        Assert.Equal("picture-unknown", rig.HoldCode(rig.Write("text.jpg", "BM is no bitmap when it is a letter"u8.ToArray())));
        Assert.Equal("picture-unknown", rig.HoldCode(rig.Write("empty.jpg", [])));
        Assert.Equal("picture-format", rig.HoldCode(rig.Write("phone.heic", [0, 0, 0, 24, .. "ftypheic"u8, 0, 0, 0, 0, .. "mif1heic"u8])));
    }

    [Fact]
    public async Task The_bytes_say_what_a_file_is_and_not_its_name()
    {
        string drawn = await rig.DrawAsync();
        string disguised = rig.Write("IMG_0001.JPG", await File.ReadAllBytesAsync(Path.Combine(drawn, "rgb.png"), TestContext.Current.CancellationToken));

        Assert.NotNull(rig.Make(disguised).Native);
    }

    [Fact]
    public void Changed_files_are_prepared_or_held_and_nothing_else()
    {
        byte[][] seeds = [TestPng(), TestBmp()];
        var random = new Random(20261125);
        for (int i = 0; i < 1_000; i++)
        {
            byte[] file = [.. seeds[i % seeds.Length]];
            for (int changes = random.Next(1, 5); changes > 0; changes--)
            {
                file[random.Next(file.Length)] = (byte)random.Next(256);
            }

            Assert.NotNull(rig.Prepare(rig.Write("changed", file)));
        }
    }

    private static byte[] TestPng() => Convert.FromHexString(
        // 1 by 1 pixel, grey, by ISO/IEC 15948: signature, IHDR, IDAT (zlib of 00 7F), IEND.
        "89504E470D0A1A0A0000000D49484452000000010000000108000000003A7E9B550000000A49444154789C63A8070000810080B8DFE6D70000000049454E44AE426082");

    private static byte[] TestBmp() =>
    [
        // BITMAPFILEHEADER, BITMAPINFOHEADER of 2 by 2 pixels at 24 bits, two rows of 8 bytes.
        (byte)'B', (byte)'M', 70, 0, 0, 0, 0, 0, 0, 0, 54, 0, 0, 0,
        40, 0, 0, 0, 2, 0, 0, 0, 2, 0, 0, 0, 1, 0, 24, 0, 0, 0, 0, 0, 16, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0,
        1, 2, 3, 4, 5, 6, 0, 0, 7, 8, 9, 10, 11, 12, 0, 0,
    ];
}
