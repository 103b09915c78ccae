using CameraBridge.Pipeline.Sittings.Cues;
using Xunit;
using ZXing;
using ZXing.Common;

namespace CameraBridge.Tests.Pipeline.Sittings.Cues;

public sealed class CodeFinderTests
{
    [Theory]
    // A bar code proves itself by several lines; its check value alone is modulo 103 (ISO/IEC 15417) and lets one misread line in a hundred pass.
    [InlineData(40, true)]
    [InlineData(3, true)]
    [InlineData(1, false)]
    public void Bars_are_believed_only_when_lines_beside_each_other_say_the_same(int height, bool believed)
    {
        var texts = new HashSet<string>();

        new CodeFinder().Read(Draw(height, upright: true), texts);

        Assert.Equal(believed ? ["P100000007"] : [], texts);
    }

    [Fact]
    public void Bars_that_stand_on_their_side_are_read_too()
    {
        var texts = new HashSet<string>();

        new CodeFinder().Read(Draw(40, upright: false), texts);

        Assert.Equal(["P100000007"], texts);
    }

    [Fact]
    public void What_was_read_is_covered_and_is_not_read_again()
    {
        GreyPicture picture = Draw(40, upright: true);
        var finder = new CodeFinder();

        Assert.Single(finder.Read(picture, new HashSet<string>()));
        Assert.Empty(finder.Read(picture, new HashSet<string>()));
    }

    [Theory]
    [InlineData(0)]
    [InlineData(17)]
    [InlineData(-38)]
    public void A_grids_angle_is_measured(double degrees)
    {
        byte[] pixels = new byte[200 * 200];
        for (int i = 0; i < pixels.Length; i++)
        {
            pixels[i] = (((i % 200) / 16) + (i / 200 / 16)) % 2 == 0 ? (byte)20 : (byte)230;
        }

        GreyPicture turned = new GreyPicture(pixels, 200, 200).Rotate(degrees);

        Assert.InRange(turned.Cut(new PixelArea((turned.Width / 2) - 60, (turned.Height / 2) - 60, 120, 120)).Halve().GridAngle() - degrees, -3, 3);
    }

    private static GreyPicture Draw(int height, bool upright)
    {
        const int Module = 3;
        BitMatrix code = new MultiFormatWriter().encode("P100000007", BarcodeFormat.CODE_128, 0, 1, new Dictionary<EncodeHintType, object> { [EncodeHintType.MARGIN] = 0 });
        int width = (code.Width * Module) + 120;
        byte[] pixels = new byte[width * 200];
        pixels.AsSpan().Fill(255);
        for (int y = 100 - (height / 2); y < 100 - (height / 2) + height; y++)
        {
            for (int x = 0; x < code.Width * Module; x++)
            {
                pixels[(y * width) + 60 + x] = code[x / Module, 0] ? (byte)0 : (byte)255;
            }
        }

        var picture = new GreyPicture(pixels, width, 200);
        return upright ? picture : (GreyPicture)picture.rotateCounterClockwise();
    }
}
