using CameraBridge.Pipeline.Sittings.Cues;
using CameraBridge.Pipeline.Sittings.Cues.Codes;
using Xunit;

namespace CameraBridge.Tests.Pipeline.Sittings.Cues.Codes;

public sealed class FinderMarksTests
{
    /// <summary>Modules of seven rows of a finder pattern (ISO/IEC 18004, 6.3.3; from memory).</summary>
    private static readonly string[] Pattern = ["#######", "#.....#", "#.###.#", "#.###.#", "#.###.#", "#.....#", "#######"];

    [Fact]
    public void A_mark_is_found_where_it_lies_in_the_picture_whatever_part_is_looked_at()
    {
        const int Module = 4;
        byte[] pixels = new byte[160 * 120];
        pixels.AsSpan().Fill(220);
        for (int y = 0; y < 7 * Module; y++)
        {
            for (int x = 0; x < 7 * Module; x++)
            {
                pixels[((y + 50) * 160) + x + 70] = Pattern[y / Module][x / Module] == '#' ? (byte)30 : (byte)220;
            }
        }

        var sums = new SummedPicture();
        sums.Take(new GreyPicture(pixels, 160, 120));

        foreach (PixelArea area in new PixelArea[] { new(0, 0, 160, 120), new(60, 40, 50, 50), new(70, 50, 28, 28) })
        {
            FinderMark mark = Assert.Single(FinderMarks.Find(InkPicture.Of(sums, area, 25)));

            Assert.Equal(84, mark.X, 1.0);
            Assert.Equal(64, mark.Y, 1.0);
            Assert.Equal(Module, mark.Module, 0.3);
            Assert.True(mark.IsSure);
        }
    }

    [Fact]
    public void Stripes_are_no_mark()
    {
        byte[] pixels = [.. Enumerable.Range(0, 120 * 120).Select(i => i % 120 / 4 % 2 == 0 ? (byte)30 : (byte)220)];

        Assert.Empty(FinderMarks.Find(InkPictureTests.Whole(new GreyPicture(pixels, 120, 120), 25)));
    }
}
