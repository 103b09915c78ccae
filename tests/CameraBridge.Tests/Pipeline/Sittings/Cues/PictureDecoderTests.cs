using CameraBridge.Pipeline.Sittings.Cues;
using SkiaSharp;
using Xunit;
using ZXing;

namespace CameraBridge.Tests.Pipeline.Sittings.Cues;

public sealed class PictureDecoderTests
{
    private static readonly byte[] Label = LabelScenes.Label(1, BarcodeFormat.QR_CODE, "P100000007", Difficulty.Easy, 1280, 960);

    [Theory]
    [InlineData(1280, 1280, 960)]
    [InlineData(641, 1280, 960)]
    [InlineData(640, 640, 480)]
    [InlineData(200, 320, 240)]
    [InlineData(1, 160, 120)]
    public void The_smallest_size_is_decoded_that_is_large_enough(int least, int width, int height)
    {
        GreyPicture picture = Decode(Label, least, out bool isWhole);

        Assert.Equal((width, height, true), (picture.Width, picture.Height, isWhole));
    }

    [Fact]
    public void A_torn_file_is_decoded_as_far_as_it_goes_and_is_told_from_a_whole_one()
    {
        GreyPicture whole = Decode(Label, 1280, out _);
        GreyPicture torn = Decode(Label[..(Label.Length / 2)], 1280, out bool isWhole);

        Assert.False(isWhole);
        Assert.Equal((1280, 960), (torn.Width, torn.Height));
        Assert.All(Enumerable.Range(0, 1280), x => Assert.InRange(torn.Pixels[(100 * 1280) + x] - whole.Pixels[(100 * 1280) + x], -2, 2));
    }

    [Fact]
    public void Colours_that_have_no_luminance_of_their_own_are_weighed_by_the_library()
    {
        using var bitmap = new SKBitmap(64, 48, SKColorType.Rgba8888, SKAlphaType.Opaque);
        bitmap.Erase(new SKColor(200, 100, 50));
        using SKData png = bitmap.Encode(SKEncodedImageFormat.Png, 100);

        // ITU-R BT.601: 0.299 of red, 0.587 of green, 0.114 of blue.
        Assert.All(Decode(png.ToArray(), 64, out _).Pixels.ToArray(), value => Assert.InRange(value, 123, 125));
    }

    private static GreyPicture Decode(byte[] file, int leastLongSide, out bool isWhole)
    {
        using SKData data = SKData.CreateCopy(file);
        using PictureDecoder decoder = PictureDecoder.Open(data)!;
        GreyPicture picture = decoder.Decode(leastLongSide)!;
        isWhole = decoder.IsWhole;
        return picture;
    }
}
