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

        InkPicture ink = Whole(new GreyPicture(pixels, width, height), reach);

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
        InkPicture ink = Whole(new GreyPicture([0, 255, 255, 255], 2, 2), 2);

        Assert.True(ink.Has(0.9, 0.9));
        Assert.False(ink.Has(1.1, 0.9));
        Assert.False(ink.Has(-0.1, 0.5));
        Assert.False(ink.Has(0.5, 2));
    }

    [Theory]
    [InlineData(0, 0, 200, 150, 20)]
    [InlineData(37, 61, 90, 33, 20)]
    [InlineData(150, 100, 50, 50, 70)]
    [InlineData(3, 140, 41, 9, 200)]
    public void Ink_in_a_part_is_what_it_is_in_the_whole(int x, int y, int width, int height, int reach)
    {
        byte[] pixels = new byte[200 * 150];
        new Random(6).NextBytes(pixels);
        var sums = new SummedPicture();
        sums.Take(new GreyPicture(pixels, 200, 150));
        var area = new PixelArea(x, y, width, height);

        InkPicture ink = InkPicture.Of(sums, area, reach);

        Assert.Equal(area, ink.Area);
        Assert.All(Enumerable.Range(0, width * height), i =>
            Assert.Equal(IsDarker(pixels, 200, 150, x + (i % width), y + (i / width), reach), ink[i % width, i / width]));
    }

    [Theory]
    [InlineData(1)]
    [InlineData(31)]
    [InlineData(32)]
    [InlineData(33)]
    [InlineData(150)]
    public void Turns_are_where_ink_begins_and_ends(int width)
    {
        byte[] pixels = new byte[width * 9];
        new Random(width).NextBytes(pixels);
        InkPicture ink = Whole(new GreyPicture(pixels, width, 9), 4);

        for (int y = 0; y < 9; y++)
        {
            bool[] drawn = new bool[width];
            int[] turns = ink.Turns(y).ToArray();
            Assert.Equal(turns.Order().Distinct(), turns);
            for (int i = 0; i < turns.Length; i += 2)
            {
                drawn.AsSpan(turns[i]..turns[i + 1]).Fill(true);
            }

            Assert.Equal(Enumerable.Range(0, width).Select(x => ink[x, y]), drawn);
        }
    }

    [Fact]
    public void A_picture_that_is_taken_after_a_larger_one_is_summed_up_anew()
    {
        var sums = new SummedPicture();
        sums.Take(new GreyPicture([.. Enumerable.Repeat((byte)200, 99)], 11, 9));

        sums.Take(new GreyPicture([1, 2, 3, 4, 5, 6], 3, 2));

        Assert.Equal([0, 0, 0, 0], sums.Above(0).ToArray());
        Assert.Equal([0, 1, 3, 6], sums.Above(1).ToArray());
        Assert.Equal([0, 5, 12, 21], sums.Above(2).ToArray());
    }

    /// <summary>The ink of a whole picture.</summary>
    internal static InkPicture Whole(GreyPicture picture, int reach)
    {
        var sums = new SummedPicture();
        sums.Take(picture);
        return InkPicture.Of(sums, new PixelArea(0, 0, picture.Width, picture.Height), reach);
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
