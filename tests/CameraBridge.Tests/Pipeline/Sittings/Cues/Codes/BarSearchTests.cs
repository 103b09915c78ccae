using CameraBridge.Pipeline.Sittings.Cues;
using CameraBridge.Pipeline.Sittings.Cues.Codes;
using Xunit;
using ZXing;
using ZXing.Common;

namespace CameraBridge.Tests.Pipeline.Sittings.Cues.Codes;

public sealed class BarSearchTests
{
    private const int Module = 3;

    [Theory]
    // A bar code proves itself by several lines; its check value alone is modulo 103 (ISO/IEC 15417) and lets one misread line in a hundred pass.
    [InlineData(40, true)]
    [InlineData(3, false)]
    [InlineData(1, false)]
    public void Bars_are_believed_only_when_lines_beside_each_other_say_the_same(int height, bool believed)
    {
        GreyPicture picture = Draw(("P100000007", height));

        FoundCode? found = new BarSearch().Read(picture, [Field(picture, 40)]);

        Assert.Equal(believed ? "P100000007" : null, found?.Text);
    }

    [Fact]
    public void Bars_of_which_every_third_line_says_something_else_are_not_believed()
    {
        GreyPicture picture = Draw(("P100000007", 26), ("P100000008", 14));

        Assert.Null(new BarSearch().Read(picture, [Field(picture, 40)]));
    }

    [Fact]
    public void A_broad_line_over_rows_that_two_narrow_ones_have_read_is_no_third_witness()
    {
        // Bars of six rows, 97 to 102. Of nine lines around row 99 those at 99 and 103.4 touch them; of five broad ones that at 99 alone.
        GreyPicture picture = Draw(("P100000007", 6));

        Assert.Null(new BarSearch().Read(picture, [Field(picture, 40) with { Y = 99 }]));
    }

    [Fact]
    public void Bars_that_are_read_from_behind_have_their_first_corner_where_they_begin()
    {
        GreyPicture picture = Draw(("P100000007", 40));
        BarField turned = Field(picture, 40) with { AcrossX = -1 };

        FoundCode found = new BarSearch().Read(picture, [turned])!;

        Assert.Equal("P100000007", found.Text);
        Assert.InRange(found.Corners[0].X, 58, 62);
        Assert.InRange(found.Corners[1].X, picture.Width - 62, picture.Width - 58);
    }

    [Fact]
    public void Bars_are_found_by_their_edges_and_grass_is_not()
    {
        GreyPicture picture = Draw(("P100000007", 60));

        BarField field = Assert.Single(BarField.Find(EdgeField.Of(picture)));

        Assert.InRange(Math.Abs(field.AcrossX), 0.999, 1);
        Assert.InRange(field.HalfHeight, 24, 44);
        Assert.NotEmpty(BarLook.Align(picture, field));
        byte[] grass = new byte[200 * 200];
        new Random(1).NextBytes(grass);
        Assert.Empty(BarField.Find(EdgeField.Of(new GreyPicture(grass, 200, 200))));
    }

    [Fact]
    public void A_field_whose_line_of_reading_lies_askew_is_laid_along_the_bars_and_kept_as_it_was_for_a_second_try()
    {
        GreyPicture picture = Draw(("P100000007", 60));
        BarField askew = Field(picture, 40) with { Slant = 0.2 };

        IReadOnlyList<BarField> fields = BarLook.Align(picture, askew);

        Assert.Equal(2, fields.Count);
        Assert.InRange(fields[0].Slant, -0.1, 0.1);
        Assert.Equal(askew, fields[1]);
        Assert.Null(new BarSearch().Read(picture, [askew]));
        Assert.Equal("P100000007", new BarSearch().Read(picture, fields)?.Text);
    }

    [Fact]
    public void Lines_that_go_up_and_down_often_but_each_in_its_own_way_are_no_bars()
    {
        // Hair: upright strokes that are broken off and begun anew row by row.
        byte[] pixels = new byte[400 * 200];
        var random = new Random(3);
        for (int y = 0; y < 200; y += 4)
        {
            for (int x = 0; x < 400; x++)
            {
                byte grey = random.Next(2) == 0 ? (byte)40 : (byte)220;
                for (int row = y; row < y + 4; row++)
                {
                    pixels[(row * 400) + x] = grey;
                }
            }
        }

        Assert.Empty(BarLook.Align(new GreyPicture(pixels, 400, 200), new BarField(200, 100, 1, 0, 0, 150, 40, 0)));
    }

    private static BarField Field(GreyPicture picture, int height) =>
        new(picture.Width / 2.0, 100, 1, 0, 0, (picture.Width / 2.0) - 60, height / 2.0, 0);

    /// <summary>Codes below each other without a gap, around the line 100.</summary>
    private static GreyPicture Draw(params (string Text, int Height)[] codes)
    {
        int width = 0;
        byte[] pixels = [];
        int y = 100 - (codes.Sum(code => code.Height) / 2);
        foreach ((string text, int height) in codes)
        {
            BitMatrix bars = new MultiFormatWriter().encode(text, BarcodeFormat.CODE_128, 0, 1, new Dictionary<EncodeHintType, object> { [EncodeHintType.MARGIN] = 0 });
            if (width == 0)
            {
                width = (bars.Width * Module) + 120;
                pixels = new byte[width * 200];
                pixels.AsSpan().Fill(255);
            }

            for (int end = y + height; y < end; y++)
            {
                for (int x = 0; x < bars.Width * Module; x++)
                {
                    pixels[(y * width) + 60 + x] = bars[x / Module, 0] ? (byte)0 : (byte)255;
                }
            }
        }

        return new GreyPicture(pixels, width, 200);
    }
}
