using CameraBridge.Dicom.Bitstreams;
using Xunit;

namespace CameraBridge.Tests.Dicom.Bitstreams;

public sealed class ClipFormatTests
{
    [Theory]
    [InlineData("high41.mp4", ClipContainer.Mp4)]
    [InlineData("high41.mov", ClipContainer.QuickTime)]
    [InlineData("high41.mkv", ClipContainer.Matroska)]
    [InlineData("high41.ts", ClipContainer.TransportStream)]
    [InlineData("high41.m2ts", ClipContainer.TimedTransportStream)]
    [InlineData("mpeg2_mpml_576p25.mpg", ClipContainer.ProgramStream)]
    [InlineData("mjpeg.avi", ClipContainer.Avi)]
    public void A_clip_is_known_by_its_first_bytes(string name, ClipContainer container)
    {
        byte[] head = File.ReadAllBytes(Clips.PathOf(name))[..ClipFormat.HeadLength];

        Assert.Equal(container, ClipFormat.Of(head));
    }

    // ISO/IEC 23008-12 section 10 and ISO/IEC 23000-22: brands of still pictures.
    [Theory]
    [InlineData("heic")]
    [InlineData("mif1")]
    [InlineData("avif")]
    public void A_still_in_boxes_is_no_clip(string brand) => Assert.False(ClipFormat.IsClip(TestMp4.Box("ftyp", System.Text.Encoding.Latin1.GetBytes(brand), new byte[8])));

    [Theory]
    [InlineData("GIF89a, and a text that begins with a G")]
    [InlineData("")]
    [InlineData("G")]
    public void A_text_is_no_clip(string text) => Assert.False(ClipFormat.IsClip(System.Text.Encoding.Latin1.GetBytes(text)));
}
