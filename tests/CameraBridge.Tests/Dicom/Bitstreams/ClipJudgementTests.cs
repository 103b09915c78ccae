using CameraBridge.Dicom.Bitstreams;
using CameraBridge.Dicom.Dictionary;
using Xunit;

namespace CameraBridge.Tests.Dicom.Bitstreams;

/// <summary>The choice of the transfer syntax by PS3.5 sections 8.2.5 to 8.2.11 (edition 2017c), and what is in the way of it.</summary>
public sealed class ClipJudgementTests
{
    // What each file is, make_clips.sh says; which syntax takes it, PS3.5 says.
    [Theory]
    [InlineData("high41.mp4", TransferSyntaxes.MPEG4HP41)]
    [InlineData("high41_index_behind.mp4", TransferSyntaxes.MPEG4HP41)]
    [InlineData("high41_aac48.mp4", TransferSyntaxes.MPEG4HP41)]
    [InlineData("high41_1080p2997.mp4", TransferSyntaxes.MPEG4HP41)]
    [InlineData("high41_1080i25.mp4", TransferSyntaxes.MPEG4HP41)]
    [InlineData("high41.ts", TransferSyntaxes.MPEG4HP41)]
    [InlineData("high42_1080p60.mp4", TransferSyntaxes.MPEG4HP422D)]
    [InlineData("hevc_main.mp4", TransferSyntaxes.HEVCMP51)]
    [InlineData("hevc_in_band.mp4", TransferSyntaxes.HEVCMP51)]
    [InlineData("hevc_main10.mp4", TransferSyntaxes.HEVCM10P51)]
    [InlineData("mpeg2_mpml_576p25.ts", TransferSyntaxes.MPEG2MPML)]
    [InlineData("mpeg2_mphl_720p25.ts", TransferSyntaxes.MPEG2MPHL)]
    public void A_conforming_clip_gets_its_transfer_syntax(string name, string TransferSyntaxUID)
    {
        ClipVerdict verdict = Judge(name);

        Assert.Empty(verdict.Obstacles.Select(obstacle => obstacle.Text));
        Assert.Equal(TransferSyntaxUID, verdict.Syntax!.TransferSyntaxUID);
        Assert.Equal(ClipStep.None, verdict.Step);
    }

    [Theory]
    [InlineData("high41.mov", ClipStep.Container, ClipObstacleKind.Container)]
    [InlineData("high41.m2ts", ClipStep.Container, ClipObstacleKind.Container)]
    [InlineData("high41.mkv", ClipStep.Container, ClipObstacleKind.NotRead)]
    [InlineData("mpeg2_mpml_576p25.mpg", ClipStep.Container, ClipObstacleKind.Container)]
    [InlineData("high41_fragmented.mp4", ClipStep.Container, ClipObstacleKind.Fragmented)]
    [InlineData("high51.mp4", ClipStep.Label, ClipObstacleKind.Level)]
    [InlineData("high41_aac44_mono.mp4", ClipStep.Sound, ClipObstacleKind.Sound)]
    [InlineData("high41_pcm.mov", ClipStep.Sound, ClipObstacleKind.Sound)]
    [InlineData("mpeg2_mpml_480_mp2.mpg", ClipStep.Sound, ClipObstacleKind.Sound)]
    [InlineData("constrained_baseline31.mp4", ClipStep.Picture, ClipObstacleKind.Profile)]
    [InlineData("main31.mp4", ClipStep.Picture, ClipObstacleKind.Profile)]
    [InlineData("high422_10bit.mp4", ClipStep.Picture, ClipObstacleKind.Profile)]
    [InlineData("high444.mp4", ClipStep.Picture, ClipObstacleKind.Sampling)]
    [InlineData("high41_rotated90.mp4", ClipStep.Picture, ClipObstacleKind.Rotation)]
    [InlineData("high41_uneven.mp4", ClipStep.Picture, ClipObstacleKind.VariableRate)]
    [InlineData("high41_wide_pixels.mp4", ClipStep.Picture, ClipObstacleKind.PixelShape)]
    [InlineData("high41_full_range.mp4", ClipStep.Picture, ClipObstacleKind.FullRange)]
    [InlineData("high41_edited.mp4", ClipStep.Picture, ClipObstacleKind.Edited)]
    [InlineData("high_2160p.mp4", ClipStep.Picture, ClipObstacleKind.TooLarge)]
    [InlineData("hevc_high_tier.mp4", ClipStep.Picture, ClipObstacleKind.Level)]
    [InlineData("mjpeg.avi", ClipStep.Picture, ClipObstacleKind.Codec)]
    [InlineData("mpeg4_part2.mp4", ClipStep.Picture, ClipObstacleKind.Codec)]
    [InlineData("cut_behind_index.mp4", ClipStep.Never, ClipObstacleKind.NotWhole)]
    public void What_does_not_conform_is_told_with_the_mildest_step(string name, ClipStep step, ClipObstacleKind kind)
    {
        ClipVerdict verdict = Judge(name);

        Assert.Null(verdict.Syntax);
        Assert.Equal(step, verdict.Step);
        Assert.Contains(verdict.Obstacles, obstacle => obstacle.Kind == kind);
    }

    [Theory]
    [InlineData("constrained_baseline31.mp4")]
    [InlineData("main31.mp4")]
    public void Lesser_profiles_pass_where_the_site_says_so(string name)
    {
        ClipVerdict verdict = ClipJudgement.Judge(ClipHeader.ReadFile(Clips.PathOf(name), TestContext.Current.CancellationToken), acceptsLesserProfiles: true);

        Assert.Equal(TransferSyntaxes.MPEG4HP41, verdict.Syntax?.TransferSyntaxUID);
        Assert.Contains(verdict.Notes, note => note.Contains("by configuration", StringComparison.Ordinal));
    }

    /// <summary>Every UID of the table is a transfer syntax of PS3.6 Annex A, and each fragmentable one is the other with ".1".</summary>
    [Fact]
    public void The_table_holds_registered_transfer_syntaxes()
    {
        foreach (ClipSyntax syntax in ClipSyntaxes.All)
        {
            Assert.Equal("Transfer Syntax", UidRegistry.Find(syntax.TransferSyntaxUID)?.Type);
            if (syntax.FragmentableUID is { } fragmentable)
            {
                Assert.Equal($"{syntax.TransferSyntaxUID}.1", fragmentable);
                Assert.StartsWith("Fragmentable", UidRegistry.NameOf(fragmentable), StringComparison.Ordinal);
            }
            else
            {
                Assert.Equal(ClipCodec.Hevc, syntax.Codec);
            }
        }
    }

    private static ClipVerdict Judge(string name) =>
        ClipJudgement.Judge(ClipHeader.ReadFile(Clips.PathOf(name), TestContext.Current.CancellationToken), acceptsLesserProfiles: false);
}
