using CameraBridge.Pipeline.Sittings.Cues;
using CameraBridge.Pipeline.Sittings.Cues.Codes;
using Xunit;

namespace CameraBridge.Tests.Pipeline.Sittings.Cues.Codes;

public sealed class InkPictureTests
{
    [Theory]
    [InlineData(1, 1, 3)]
    [InlineData(7, 5, 2)]
    [InlineData(23, 40, 30)]
    [InlineData(67, 31, 8)]
    [InlineData(200, 150, 20)]
    public void Ink_is_what_is_more_than_two_grey_levels_darker_than_the_mean_around_it(int width, int height, int reach)
    {
        byte[] pixels = new byte[width * height];
        new Random(5).NextBytes(pixels);

        InkPicture ink = InkPicture.Of(new GreyPicture(pixels, width, height), reach);

        for (int y = 0; y < height; y++)
        {
            for (int x = 0; x < width; x++)
            {
                Assert.Equal(IsDarker(pixels, width, height, x, y, reach), ink[x, y]);
            }
        }
    }

    [Fact]
    public void Beside_the_picture_there_is_no_ink()
    {
        InkPicture ink = InkPicture.Of(new GreyPicture([0, 255, 255, 255], 2, 2), 2);

        Assert.True(ink.Has(0.9, 0.9));
        Assert.False(ink.Has(1.1, 0.9));
        Assert.False(ink.Has(-0.1, 0.5));
        Assert.False(ink.Has(0.5, 2));
    }

    private static bool IsDarker(byte[] pixels, int width, int height, int x, int y, int reach)
    {
        long sum = 0;
        long count = 0;
        for (int atY = Math.Max(0, y - reach); atY <= Math.Min(height - 1, y + reach); atY++)
        {
            for (int atX = Math.Max(0, x - reach); atX <= Math.Min(width - 1, x + reach); atX++)
            {
                sum += pixels[(atY * width) + atX];
                count++;
            }
        }

        return (pixels[(y * width) + x] + 2) * count < sum;
    }
}
