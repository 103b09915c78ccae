using System.Diagnostics;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Iods;
using CameraBridge.Dicom.Part10;
using CameraBridge.Tests.Dicom.Iods.Agreement;
using Xunit;

namespace CameraBridge.Tests.Dicom.Iods;

/// <summary>Clips that ffmpeg made, in objects: what transfer syntax and attributes say wrongly of the bit stream (PS3.5 sections 8.2.5 to 8.2.12, 2025e).</summary>
public sealed class ClipRulesTests : IDisposable
{
    private const string Picture = "-f lavfi -i testsrc2=size=320x240:rate=30:duration=1";
    private const string Sound = "-f lavfi -i sine=frequency=440:duration=1 -shortest";
    private const string High = "-c:v libx264 -preset ultrafast -profile:v high -level 4.1 -pix_fmt yuv420p -x264-params cabac=1:8x8dct=1";

    private readonly DirectoryInfo folder = Directory.CreateTempSubdirectory("camerabridge-clips-");

    public void Dispose() => folder.Delete(recursive: true);

    [Theory]
    [InlineData(TransferSyntaxes.MPEG4HP41, Picture + " " + High, "mp4")]
    [InlineData(TransferSyntaxes.MPEG4HP422D, Picture + " " + High, "mp4")]
    [InlineData(TransferSyntaxes.MPEG4HP41, Picture + " " + High, "ts")]
    [InlineData(TransferSyntaxes.HEVCMP51, Picture + " -c:v libx265 -preset ultrafast -x265-params log-level=none -pix_fmt yuv420p", "mp4")]
    [InlineData(TransferSyntaxes.MPEG2MPML, "-f lavfi -i testsrc2=size=720x576:rate=25:duration=1 -c:v mpeg2video -b:v 4M", "ts")]
    public async Task A_clip_of_its_transfer_syntax_has_no_finding_in_its_bit_stream(string syntax, string make, string extension)
    {
        FileReport report = await CheckAsync(syntax, make, extension);

        Assert.DoesNotContain(report.Findings, finding => IsOfStream(finding) && finding.Severity == Severity.Error);
        Assert.True(report.Conforms, string.Join('\n', report.Findings));
    }

    [Theory]
    [InlineData(TransferSyntaxes.HEVCMP51, Picture + " " + High, "mp4", "video.codec", "PS3.5 8.2.10")]
    [InlineData(TransferSyntaxes.MPEG4HP41, Picture + " -c:v libx264 -preset ultrafast -level 5.1 -pix_fmt yuv420p", "mp4", "video.level", "PS3.5 8.2.7")]
    [InlineData(TransferSyntaxes.MPEG4HP41, Picture + " -c:v libx264 -preset ultrafast -profile:v high422 -pix_fmt yuv422p", "mp4", "video.profile", "PS3.5 8.2.7")]
    [InlineData(TransferSyntaxes.MPEG4HP41, Picture + " -c:v libx264 -preset ultrafast -profile:v high422 -pix_fmt yuv422p", "mp4", "video.chroma", "PS3.5 8.2.7")]
    [InlineData(TransferSyntaxes.MPEG4HP41, Picture + " -vf setsar=4/3 " + High, "mp4", "video.square", "PS3.5 8.2.7")]
    [InlineData(TransferSyntaxes.MPEG4HP41BD, Picture + " " + High, "mp4", "video.size", "PS3.5 8.2.7")]
    [InlineData(TransferSyntaxes.MPEG4HP41, Picture + " " + High, "mov", "video.container", "PS3.5 8.2.7")]
    [InlineData(TransferSyntaxes.MPEG4HP41, Picture + " -c:v mjpeg", "avi", "video.codec", "PS3.5 8.2.7")]
    [InlineData(TransferSyntaxes.MPEG4HP41, Picture + " " + Sound + " " + High + " -c:a aac -ar 44100 -ac 1", "mp4", "video.sound", "PS3.5 8.2.12")]
    [InlineData(TransferSyntaxes.MPEG4HP41, Picture + " " + Sound + " " + High + " -c:a aac -ar 48000 -ac 2", "mp4", "type2C.missing", "PS3.3 C.7.6.5")]
    [InlineData(TransferSyntaxes.MPEG2MPHL, "-f lavfi -i testsrc2=size=720x576:rate=25:duration=1 -c:v mpeg2video -b:v 4M", "ts", "video.size", "PS3.5 8.2.6")]
    public async Task What_a_transfer_syntax_does_not_take_is_an_error(string syntax, string make, string extension, string rule, string section)
    {
        FileReport report = await CheckAsync(syntax, make, extension);

        Assert.Contains(report.Findings, finding => finding.Rule == rule && finding.Section == section && finding.Severity == Severity.Error);
    }

    [Fact]
    public async Task Main_profile_is_a_warning_since_every_decoder_of_High_plays_it()
    {
        FileReport report = await CheckAsync(TransferSyntaxes.MPEG4HP41, Picture + " -c:v libx264 -preset ultrafast -profile:v main -level 3.1 -pix_fmt yuv420p", "mp4");

        Assert.Equal(Severity.Warning, Assert.Single(report.Findings, finding => finding.Rule == "video.profile").Severity);
        Assert.True(report.Conforms);
    }

    // PS3.3 (2025e) C.7.6.3, C.7.6.5, C.7.6.6: size, number and time of the frames are those of the stream, which wins (PS3.5 8.2.5).
    [Theory]
    [InlineData("Rows", "256")]
    [InlineData("Columns", "352")]
    [InlineData("NumberOfFrames", "31")]
    [InlineData("FrameTime", "40")]
    [InlineData("CineRate", "25")]
    public async Task Attributes_that_differ_from_the_stream_are_told(string keyword, string value)
    {
        FileReport report = await CheckAsync(TransferSyntaxes.MPEG4HP41, Picture + " " + High, "mp4", dataSet => Set(dataSet, keyword, value));

        Assert.Contains(report.Findings, finding => finding.Rule == "stream.differs" && finding.Path == keyword && finding.Severity == Severity.Error);
    }

    [Fact]
    public async Task A_clip_cut_off_is_told()
    {
        string clip = await MakeAsync(Picture + " " + High, "mp4");
        byte[] bytes = await File.ReadAllBytesAsync(clip, TestContext.Current.CancellationToken);

        FileReport report = Check(TransferSyntaxes.MPEG4HP41, bytes[..(bytes.Length / 2)], null);

        Assert.Contains(report.Findings, finding => finding.Rule is "video.torn" or "video.none");
    }

    private static bool IsOfStream(Finding finding) => finding.Rule.StartsWith("video.", StringComparison.Ordinal) || finding.Rule == "stream.differs";

    private static void Set(DataSet dataSet, string keyword, string value)
    {
        Tag tag = SoundObjects.Tag(keyword);
        if (TagDictionary.Find(tag)!.Vr == Vr.US)
        {
            dataSet.SetInt(tag, int.Parse(value, System.Globalization.CultureInfo.InvariantCulture));
        }
        else
        {
            dataSet.Set(tag, value);
        }
    }

    private async Task<FileReport> CheckAsync(string syntax, string make, string extension, Action<DataSet>? change = null) =>
        Check(syntax, await File.ReadAllBytesAsync(await MakeAsync(make, extension), TestContext.Current.CancellationToken), change);

    private static FileReport Check(string syntax, byte[] stream, Action<DataSet>? change)
    {
        DataSet dataSet = SoundObjects.All.Single(sound => sound.Name == "video endoscopic").Make();
        bool isPal = syntax is TransferSyntaxes.MPEG2MPML or TransferSyntaxes.MPEG2MPHL;
        dataSet.SetInt(Tags.Rows, isPal ? 576 : 240);
        dataSet.SetInt(Tags.Columns, isPal ? 720 : 320);
        dataSet.SetInt(Tags.NumberOfFrames, isPal ? 25 : 30);
        dataSet.Set(SoundObjects.Tag("FrameTime"), isPal ? "40" : "33.333");
        dataSet.SetInt(SoundObjects.Tag("CineRate"), isPal ? 25 : 30);
        dataSet.Set(Tags.LossyImageCompressionMethod, isPal ? "ISO_13818_2" : syntax == TransferSyntaxes.HEVCMP51 ? "ISO_23008_2" : "ISO_14496_10");
        dataSet.Put(Element.FromEncapsulated(Tags.PixelData, new EncapsulatedPixels(default, [PixelSource.FromBytes(stream)])));
        change?.Invoke(dataSet);
        return FileCheck.Check(Part10File.Read(FileCheckTests.Bytes(dataSet, TransferSyntax.Find(syntax)!)));
    }

    private async Task<string> MakeAsync(string arguments, string extension)
    {
        Assert.SkipUnless(File.Exists("/usr/bin/ffmpeg"), "The clips need Debian's ffmpeg.");
        string path = Path.Combine(folder.FullName, $"clip.{extension}");
        using var process = Process.Start(new ProcessStartInfo("/usr/bin/ffmpeg", ["-loglevel", "error", "-y", .. arguments.Split(' ', StringSplitOptions.RemoveEmptyEntries), path]))!;
        await process.WaitForExitAsync(TestContext.Current.CancellationToken);
        Assert.Equal(0, process.ExitCode);
        return path;
    }
}
