using System.Text;
using CameraBridge.Pipeline.Captures;
using Xunit;

namespace CameraBridge.Tests.Pipeline.Captures;

public sealed class PlacesTests
{
    [Theory]
    [InlineData("001/IMG_0001.JPG", "001/IMG_0001.JPG")]
    [InlineData("Müller/ü.jpg", "Müller/ü.jpg")]
    [InlineData("a\nb.jpg", @"a\x0Ab.jpg")]
    [InlineData(@"a\b.jpg", @"a\b.jpg")]
    [InlineData(@"a\x41.jpg", @"a\x5Cx41.jpg")]
    [InlineData("a\u0085b", @"a\xC2\x85b")]
    [InlineData("a\u2028b", @"a\xE2\x80\xA8b")]
    [InlineData("😀.jpg", "😀.jpg")]
    public void A_place_is_one_line_of_text(string path, string place) => Assert.Equal(place, Places.FromText(path));

    [Fact]
    public void Bytes_that_are_no_text_are_written_out()
    {
        // "Müller" in ISO 8859-1: FC is u with diaeresis there, and no UTF-8.
        byte[] latin1 = [(byte)'M', 0xFC, (byte)'l', (byte)'l', (byte)'e', (byte)'r'];

        Assert.Equal(@"M\xFCller", Places.FromBytes(latin1));
    }

    [Fact]
    public void Any_bytes_come_back_exactly()
    {
        var random = new Random(20260314);
        byte[] likely = [.. "ax5CF\\\n "u8, 0xFC, 0xC3, 0xBC, 0xED, 0xA0, 0x80, 0xF0, 0x9F, 0x98, 0x80, 0xFF];
        for (int round = 0; round < 20_000; round++)
        {
            byte[] name = new byte[random.Next(1, 20)];
            for (int index = 0; index < name.Length; index++)
            {
                name[index] = likely[random.Next(likely.Length)];
            }

            string place = Places.FromBytes(name);
            byte[] back = Places.ToPath(place, "");

            Assert.Equal(name, back[..^1]);
            Assert.DoesNotContain('\n', place);
            Assert.Equal(place, Encoding.UTF8.GetString(Encoding.UTF8.GetBytes(place)));
        }
    }

    [Fact]
    public void A_path_ends_in_a_zero_and_has_its_root_before_it() =>
        Assert.Equal("/media/x/001/a.jpg\0"u8.ToArray(), Places.ToPath("/media/x", "001/a.jpg"));
}
