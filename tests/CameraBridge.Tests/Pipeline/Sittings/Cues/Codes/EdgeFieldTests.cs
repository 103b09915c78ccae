using CameraBridge.Pipeline.Sittings.Cues;
using CameraBridge.Pipeline.Sittings.Cues.Codes;
using Xunit;

namespace CameraBridge.Tests.Pipeline.Sittings.Cues.Codes;

public sealed class EdgeFieldTests
{
    [Theory]
    [InlineData(0)]
    [InlineData(3)]
    [InlineData(8)]
    [InlineData(60)]
    public void Quiet_is_what_a_fifth_of_the_squares_stay_under_up_to_nine_grey_levels_a_pixel(int noise)
    {
        var random = new Random(noise);
        byte[] pixels = [.. Enumerable.Range(0, 321 * 241).Select(i => (byte)(100 + random.Next(-noise, noise + 1)))];

        EdgeField edges = EdgeField.Of(new GreyPicture(pixels, 321, 241));

        int[] sums = [.. Enumerable.Range(0, edges.Columns * edges.Rows).Select(i => edges[i % edges.Columns, i / edges.Columns].Sum).Order()];
        Assert.Equal(Math.Min(sums[sums.Length / 5], 9 * 64), edges.Quiet);
    }

    [Fact]
    public void A_picture_without_a_square_is_quiet() => Assert.Equal(0, EdgeField.Of(new GreyPicture([1, 2, 3, 4], 2, 2)).Quiet);
}
