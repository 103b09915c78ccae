using CameraBridge.Pipeline.Sittings.Cues;
using Xunit;

namespace CameraBridge.Tests.Pipeline.Sittings.Cues;

public sealed class GreyPictureTests
{
    [Theory]
    [InlineData(3.2, 5.7, 0.5, 0)]
    [InlineData(60.3, 40.1, -0.37, -0.33)]
    [InlineData(-5, 20, 0.9, 0.2)]
    [InlineData(50, 47.9, 0.4, 0.4)]
    [InlineData(-1e9, 1e9, 0.4, 0.4)]
    public void Values_along_a_line_are_those_at_its_points_also_beyond_the_edges(double x, double y, double stepX, double stepY)
    {
        GreyPicture picture = Noise(64, 48);
        float[] sums = [.. Enumerable.Repeat(1000f, 83)];

        picture.AddAlong(x, y, stepX, stepY, sums);

        for (int i = 0; i < sums.Length; i++)
        {
            Assert.Equal(picture.At(x + (i * stepX), y + (i * stepY)), sums[i] - 1000, 0.3);
        }
    }

    [Fact]
    public void In_the_middle_of_a_pixel_its_own_value_stands()
    {
        GreyPicture picture = Noise(64, 48);
        float[] row = new float[64];

        picture.AddAlong(0.5, 17.5, 1, 0, row);

        Assert.Equal(picture.Pixels.Skip(17 * 64).Take(64).Select(pixel => (float)pixel), row);
    }

    [Theory]
    [InlineData(double.NaN)]
    [InlineData(double.PositiveInfinity)]
    public void A_line_that_lies_nowhere_reads_nothing_beside_the_picture(double x)
    {
        float[] sums = new float[16];

        Noise(64, 48).AddAlong(x, 3, x, 1, sums);

        Assert.All(sums, sum => Assert.True(float.IsNaN(sum) || sum is >= 0 and <= 255, $"{sum}"));
    }

    [Fact]
    public void Between_pixels_of_one_row_there_is_nothing() =>
        Assert.Throws<InvalidOperationException>(() => Noise(64, 1).AddAlong(1, 1, 1, 1, new float[8]));

    private static GreyPicture Noise(int width, int height)
    {
        byte[] pixels = new byte[width * height];
        new Random(1).NextBytes(pixels);
        return new GreyPicture(pixels, width, height);
    }
}
