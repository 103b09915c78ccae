using CameraBridge.Pipeline.Sittings.Cues;
using CameraBridge.Pipeline.Sittings.Cues.Codes;
using Xunit;

namespace CameraBridge.Tests.Pipeline.Sittings.Cues.Codes;

public sealed class FinderMarksTests
{
    /// <summary>Modules of seven rows of a finder pattern (ISO/IEC 18004, 6.3.3; from memory).</summary>
    private static readonly string[] Pattern = ["#######", "#.....#", "#.###.#", "#.###.#", "#.###.#", "#.....#", "#######"];

    [Fact]
    public void Marks_of_two_sizes_beside_and_below_each_other_are_each_found_once()
    {
        byte[] pixels = new byte[400 * 400];
        pixels.AsSpan().Fill(220);
        for (int mark = 0; mark < 16; mark++)
        {
            Draw(pixels, 400, 30 + (mark % 4 * 90), 30 + (mark / 4 * 90), mark % 3 == 0 ? 8 : 3, mark % 2 * 0.2);
        }

        var sums = new SummedPicture();
        sums.Take(new GreyPicture(pixels, 400, 400));

        IReadOnlyList<FinderMark> marks = FinderMarks.Find(InkPicture.Of(sums, new PixelArea(0, 0, 400, 400), 60));

        Assert.Equal((16, 6), (marks.Count, marks.Count(mark => Math.Abs(mark.Module - 8) < 0.5)));
        // Each row through the dark middle, three modules high, is counted, but for the corners of what is turned.
        Assert.All(marks, mark => Assert.InRange(mark.Rows, 2.2 * mark.Module, 3.5 * mark.Module));
    }

    [Fact]
    public void A_mark_is_found_where_it_lies_in_the_picture_whatever_part_is_looked_at()
    {
        const int Module = 4;
        byte[] pixels = new byte[160 * 120];
        pixels.AsSpan().Fill(220);
        Draw(pixels, 160, 70, 50, Module);
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

    /// <summary>Draws a mark turned about its middle, by radians.</summary>
    private static void Draw(byte[] pixels, int width, int left, int top, int module, double turn = 0)
    {
        double middle = 3.5 * module;
        for (int y = -module; y < 8 * module; y++)
        {
            for (int x = -module; x < 8 * module; x++)
            {
                (double dx, double dy) = (x + 0.5 - middle, y + 0.5 - middle);
                int column = (int)Math.Floor(((dx * Math.Cos(turn)) + (dy * Math.Sin(turn)) + middle) / module);
                int row = (int)Math.Floor(((dy * Math.Cos(turn)) - (dx * Math.Sin(turn)) + middle) / module);
                if (row is >= 0 and < 7 && column is >= 0 and < 7 && Pattern[row][column] == '#')
                {
                    pixels[((y + top) * width) + x + left] = 30;
                }
            }
        }
    }
}
