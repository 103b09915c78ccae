using System.Text;
using CameraBridge.Pipeline.Captures;
using Xunit;

namespace CameraBridge.Tests.Pipeline.Captures;

/// <summary>What a name and the first bytes say. Which names systems and cameras use is common practice, no source.</summary>
public sealed class CaptureNamesTests
{
    [Theory]
    [InlineData("IMG_0001.JPG", "Capture")]
    [InlineData("clip.mp4", "Capture")]
    [InlineData("camerabridge.json", "Capture")]
    [InlineData("IMG_0001.JPG.json", "Capture")]
    [InlineData("settings.json", "Candidate")]
    [InlineData("IMG_0001", "Candidate")]
    [InlineData("-rf", "Candidate")]
    [InlineData(".IMG_0001.JPG.Xa3", "Hidden")]
    [InlineData("camerabridge-released.txt", "Marker")]
    [InlineData("Thumbs.db", "System")]
    [InlineData("IMG_0001.JPG.part", "Unfinished")]
    [InlineData("a.tmp", "Unfinished")]
    public void A_files_name_says(string name, string verdict) =>
        Assert.Equal(Enum.Parse<NameVerdict>(verdict), CaptureNames.OfFile(Encoding.UTF8.GetBytes(name)));

    [Theory]
    [InlineData("001", "Candidate")]
    [InlineData(".Trashes", "Hidden")]
    [InlineData("System Volume Information", "System")]
    [InlineData("$RECYCLE.BIN", "System")]
    [InlineData("lost+found", "System")]
    public void A_folders_name_says(string name, string verdict) =>
        Assert.Equal(Enum.Parse<NameVerdict>(verdict), CaptureNames.OfFolder(Encoding.UTF8.GetBytes(name)));

    [Theory]
    [InlineData("FFD8FFE000104A46", true)] // SOI, APP0: JPEG (ISO/IEC 10918-1 Table B.1)
    [InlineData("0000001866747970", true)] // box of 24 bytes, 'ftyp' (ISO/IEC 14496-12 section 4.3)
    [InlineData("89504E470D0A1A0A", true)] // PNG signature
    [InlineData("49492A0008000000", true)] // TIFF, little endian, first IFD at 8
    [InlineData("52494646000000004156 4920", true)] // RIFF, length, 'AVI '
    [InlineData("424D 46000000 0000 0000 36000000 28000000", true)] // 'BM', length, reserved, offset, BITMAPINFOHEADER of 40 bytes
    [InlineData("424D20697320 6E6F206269746D6170202020", false)] // 'BM is no bitmap': a text
    [InlineData("5249464600000000 57415645", false)] // RIFF, length, 'WAVE': a sound
    [InlineData("4D5A900003000000", false)] // 'MZ': a program
    [InlineData("255044462D312E37", false)] // '%PDF-1.7'
    [InlineData("FFD8", false)]
    [InlineData("", false)]
    public void The_first_bytes_say(string hex, bool isPictureOrClip) =>
        Assert.Equal(isPictureOrClip, ContentSignature.IsPictureOrClip(Convert.FromHexString(hex.Replace(" ", "", StringComparison.Ordinal))));
}
