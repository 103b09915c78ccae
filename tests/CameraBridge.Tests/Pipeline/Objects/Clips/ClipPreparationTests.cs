using CameraBridge.Configuration;
using CameraBridge.Dicom.Bitstreams;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Pipeline;
using CameraBridge.Pipeline.Objects;
using CameraBridge.Pipeline.Objects.Clips;
using CameraBridge.Tests.Peers;
using Microsoft.Extensions.Time.Testing;
using Xunit;
using TestClips = CameraBridge.Tests.Dicom.Bitstreams.Clips;

namespace CameraBridge.Tests.Pipeline.Objects.Clips;

public sealed class ClipPreparationTests : IDisposable
{
    private readonly string _spool = Directory.CreateTempSubdirectory("clips-").FullName;
    private readonly DerivedFiles _derived;

    public ClipPreparationTests() => _derived = new DerivedFiles(_spool);

    public void Dispose()
    {
        _derived.Dispose();
        Directory.Delete(_spool, recursive: true);
    }

    [Theory]
    [InlineData("high41.mp4", TransferSyntaxes.MPEG4HP41, 60, 33.333333, 30)]
    [InlineData("high41_index_behind.mp4", TransferSyntaxes.MPEG4HP41, 60, 33.333333, 30)]
    // PS3.5 section 8.2.6, Table 8-3: 29.97 a second is told as Frame Time 33.367 and Cine Rate 30.
    [InlineData("high41_1080p2997.mp4", TransferSyntaxes.MPEG4HP41, 30, 33.366667, 30)]
    [InlineData("high42_1080p60.mp4", TransferSyntaxes.MPEG4HP422D, 60, 16.666667, 60)]
    [InlineData("hevc_main.mp4", TransferSyntaxes.HEVCMP51, 60, 33.333333, 30)]
    [InlineData("high41.ts", TransferSyntaxes.MPEG4HP41, 60, 33.333333, 30)]
    [InlineData("mpeg2_mphl_720p25.ts", TransferSyntaxes.MPEG2MPHL, 25, 40, 25)]
    public void A_conforming_clip_goes_in_whole_bit_for_bit(string name, string TransferSyntaxUID, int frames, double frameTime, int rate)
    {
        string path = TestClips.PathOf(name);

        ClipContent content = Made(path, ffmpeg: false);

        Assert.Equal(TransferSyntaxUID, content.TransferSyntaxUID);
        PixelSource fragment = Assert.Single(content.Fragments);
        byte[] file = File.ReadAllBytes(path);
        // PS3.5 section A.4: one 00H where the length is odd.
        Assert.Equal([.. file, .. new byte[file.Length & 1]], Bytes(fragment));
        Assert.Equal(file.Length, content.StreamLength);
        Assert.Equal((frames, (decimal)frameTime, rate), (content.NumberOfFrames, content.FrameTimeMs, content.CineRate));
        Assert.Null(content.Derivation);
        Assert.Single(content.LossySteps);
        // PS3.5 sections 8.2.5 to 8.2.11.
        Assert.Equal(("YBR_PARTIAL_420", 3, 8, 8), (content.PhotometricInterpretation, content.SamplesPerPixel, content.BitsAllocated, content.BitsStored));
    }

    [Fact]
    public void Ten_bits_become_eight_since_the_classes_take_no_more()
    {
        string path = TestClips.PathOf("hevc_main10.mp4");

        ClipContent content = Made(path);

        // PS3.3 section C.8.12.1.1.2 (edition 2025e): Bits Allocated and Bits Stored are 8, whatever PS3.5 section 8.2.11 has a transfer syntax for.
        Assert.Equal((8, 8), (content.BitsAllocated, content.BitsStored));
        Assert.Equal(8, ClipHeader.ReadFile(FileOf(content), TestContext.Current.CancellationToken).Video!.BitDepth);
        Assert.Equal(["ISO_23008_2", "ISO_14496_10"], content.LossySteps.Select(step => step.Method));
        Assert.True(content.Derivation!.PixelsChanged);
        Assert.Contains("10 bits", content.Derivation.Words, StringComparison.Ordinal);
        Assert.Contains("10 bits", Held(path, ffmpeg: false).Words, StringComparison.Ordinal);
    }

    /// <summary>720 by 576 pixels shown as 4:3 have the shape 16:15, wider than high; (0028,0034) is vertical before horizontal (PS3.3 section C.7.6.3.1.7).</summary>
    [Fact]
    public void Main_level_alone_tells_the_shape_of_its_pixels()
    {
        Assert.Equal((15, 16), Made(TestClips.PathOf("mpeg2_mpml_576p25.ts"), ffmpeg: false).PixelAspectRatio);
        Assert.Null(Made(TestClips.PathOf("high41.mp4"), ffmpeg: false).PixelAspectRatio);
    }

    [Theory]
    [InlineData("high41.mov")]
    [InlineData("high41.mkv")]
    [InlineData("high41.m2ts")]
    [InlineData("high41_fragmented.mp4")]
    [InlineData("mpeg2_mpml_576p25.mpg")]
    [InlineData("high51.mp4")]
    [InlineData("high41_aac44_mono.mp4")]
    [InlineData("high41_pcm.mov")]
    [InlineData("mpeg2_mpml_480_mp2.mpg")]
    public async Task What_needs_no_other_pictures_keeps_every_one_of_them(string name)
    {
        string path = TestClips.PathOf(name);

        ClipContent content = Made(path);

        string made = FileOf(content);
        // Judge: the check values of the pictures that ffmpeg decodes from both.
        Assert.Equal(await TestClips.PicturesAsync(path), await TestClips.PicturesAsync(made));
        Assert.False(content.Derivation!.PixelsChanged);
        Assert.Contains("ffmpeg", content.Derivation.Words, StringComparison.Ordinal);
        Assert.Single(content.LossySteps);
        ClipHeader header = ClipHeader.ReadFile(made, TestContext.Current.CancellationToken);
        Assert.All(header.Sounds, sound => Assert.Equal((48000, 2), (sound.SampleRate, sound.Channels)));
        Assert.Equal(content.HasSound, header.Sounds.Count > 0);
        Assert.Equal(name is not ("high41.mov" or "high41_fragmented.mp4" or "mpeg2_mpml_576p25.mpg" or "high51.mp4"), content.HasSound);
    }

    [Theory]
    [InlineData("constrained_baseline31.mp4", 1280, 720, 60)]
    [InlineData("main31.mp4", 1280, 720, 60)]
    [InlineData("high422_10bit.mp4", 640, 480, 50)]
    [InlineData("high444.mp4", 640, 480, 50)]
    [InlineData("high41_rotated90.mp4", 720, 1280, 60)]
    [InlineData("high41_wide_pixels.mp4", 768, 576, 25)]
    [InlineData("high41_full_range.mp4", 640, 480, 50)]
    [InlineData("mjpeg.avi", 640, 480, 50)]
    [InlineData("mpeg4_part2.mp4", 640, 480, 50)]
    public void What_needs_other_pictures_becomes_high_profile_and_says_so(string name, int columns, int rows, int frames)
    {
        ClipContent content = Made(TestClips.PathOf(name));

        Assert.Equal(TransferSyntaxes.MPEG4HP41, content.TransferSyntaxUID);
        Assert.Equal((columns, rows, frames), (content.Columns, content.Rows, content.NumberOfFrames));
        Assert.True(content.Derivation!.PixelsChanged);
        // PS3.16 CID 7203.
        Assert.Equal([new DerivationCode("113040", "DCM", "Lossy Compression")], content.Derivation.Codes);
        Assert.Equal("ISO_14496_10", content.LossySteps[^1].Method);
        Assert.Equal(name == "mpeg4_part2.mp4" ? 1 : 2, content.LossySteps.Count);
        Assert.Equal(name == "mjpeg.avi" ? "ISO_10918_1" : "ISO_14496_10", content.LossySteps[0].Method);
    }

    [Fact]
    public void Uneven_pictures_come_at_an_even_rate()
    {
        ClipContent content = Made(TestClips.PathOf("high41_uneven.mp4"));

        Assert.Contains("even rate", content.Derivation!.Words, StringComparison.Ordinal);
        Assert.True(ClipHeader.ReadFile(FileOf(content), TestContext.Current.CancellationToken).Video!.IsConstantRate);
    }

    [Fact]
    public void What_is_larger_than_h264_holds_becomes_hevc_of_the_same_size()
    {
        ClipContent content = Made(TestClips.PathOf("high_2160p.mp4"));

        Assert.Equal((TransferSyntaxes.HEVCMP51, 3840, 2160), (content.TransferSyntaxUID, content.Columns, content.Rows));
    }

    [Fact]
    public void Sound_is_left_out_where_the_site_says_so()
    {
        ClipContent content = Made(TestClips.PathOf("high41_aac44_mono.mp4"), new ClipConfiguration { UnfitSound = UnfitSound.Drop });

        Assert.False(content.HasSound);
        Assert.Contains("without the sound", content.Derivation!.Words, StringComparison.Ordinal);
    }

    [Theory]
    [InlineData("cut_behind_index.mp4", "clip-torn")]
    [InlineData("cut_before_index.mp4", "clip-torn")]
    [InlineData("cut_fragmented.mp4", "clip-torn")]
    [InlineData("cut.avi", "clip-torn")]
    [InlineData("cut.mpg", "clip-torn")]
    [InlineData("cut.ts", "clip-torn")]
    public void Half_a_clip_is_held_with_ffmpeg_too(string name, string code) => Assert.Equal(code, Held(TestClips.PathOf(name)).Code);

    [Theory]
    [InlineData("high41.mov")]
    [InlineData("mjpeg.avi")]
    [InlineData("high41.mkv")]
    public void Without_ffmpeg_what_does_not_conform_is_held_saying_what_is_missing(string name)
    {
        Reason reason = Held(TestClips.PathOf(name), ffmpeg: false);

        Assert.Equal("clip-needs-ffmpeg", reason.Code);
        Assert.Contains("install it", reason.Words, StringComparison.Ordinal);
    }

    [Fact]
    public void Where_the_site_forbids_it_nothing_is_converted() =>
        Assert.Equal("clip-not-conforming", Held(TestClips.PathOf("high41.mov"), new ClipConfiguration { Convert = false }).Code);

    [Fact]
    public void A_text_with_the_name_of_a_clip_is_held()
    {
        string path = Path.Combine(_spool, "list.mp4");
        File.WriteAllText(path, "ffconcat version 1.0\nfile /etc/passwd\n");

        Assert.Equal("clip-unknown", Held(path).Code);
    }

    [Fact]
    public void The_same_clip_made_again_is_the_same_file()
    {
        string first = FileOf(Made(TestClips.PathOf("high41.mov")));

        Assert.Equal(first, FileOf(Made(TestClips.PathOf("high41.mov"))));
        Assert.Empty(Directory.GetFiles(_spool, "*.part", SearchOption.AllDirectories));
    }

    [Fact]
    public void A_clip_longer_than_a_fragment_is_held_or_parted_by_configuration()
    {
        string path = TestClips.PathOf("high41.mp4");
        Assert.Equal("clip-too-long", Assert.IsType<ContentOutcome.Held>(Parted(path, mayBeFragmentable: false)).Reason.Code);

        var content = (ClipContent)Assert.IsType<ContentOutcome.Made>(Parted(path, mayBeFragmentable: true)).Content;

        Assert.Equal(TransferSyntaxes.MPEG4HP41F, content.TransferSyntaxUID);
        Assert.Equal(8, content.Fragments.Count);
        Assert.All(content.Fragments, fragment => Assert.Equal(0, fragment.Length & 1));
        byte[] file = File.ReadAllBytes(path);
        Assert.Equal([.. file, .. new byte[file.Length & 1]], content.Fragments.SelectMany(Bytes));

        // HEVC is parted in its own transfer syntax (PS3.5 sections 8.2.10 and 8.2.11).
        var hevc = (ClipContent)Assert.IsType<ContentOutcome.Made>(Parted(TestClips.PathOf("hevc_main.mp4"), mayBeFragmentable: false)).Content;
        Assert.Equal((TransferSyntaxes.HEVCMP51, 5), (hevc.TransferSyntaxUID, hevc.Fragments.Count));

        ContentOutcome Parted(string clip, bool mayBeFragmentable)
        {
            using var preparation = new ClipPreparation(new ClipConfiguration(), _derived, null, mayBeFragmentable) { LongestFragment = 200_000, FragmentLength = 100_000 };
            return preparation.Prepare(clip, CancellationToken.None);
        }
    }

    /// <summary>A program that never ends, in place of ffmpeg: ended by the time limit, of a clock that only the test moves.</summary>
    [Fact]
    public async Task A_conversion_that_takes_too_long_is_ended_and_the_clip_held()
    {
        var clock = new FakeTimeProvider();
        using var preparation = Endless(clock);
        string path = TestClips.PathOf("high41.mov");

        Task<ContentOutcome> running = Task.Run(() => preparation.Prepare(path, CancellationToken.None), TestContext.Current.CancellationToken);
        // The limit counts from the start of the program, which is some real time away.
        while (!running.IsCompleted)
        {
            clock.Advance(TimeSpan.FromMinutes(1));
            await Task.WhenAny(running, Task.Run(Thread.Yield, TestContext.Current.CancellationToken));
        }

        Reason reason = Assert.IsType<ContentOutcome.Held>(await running).Reason;
        Assert.Equal("clip-not-converted", reason.Code);
        Assert.Contains("the longest that is allowed", reason.Words, StringComparison.Ordinal);
    }

    [Fact]
    public async Task A_service_that_stops_kills_the_conversion()
    {
        using var stop = new CancellationTokenSource();
        using var preparation = Endless(new FakeTimeProvider());
        string path = TestClips.PathOf("high41.mov");

        Task<ContentOutcome> running = Task.Run(() => preparation.Prepare(path, stop.Token), TestContext.Current.CancellationToken);
        await stop.CancelAsync();

        await Assert.ThrowsAnyAsync<OperationCanceledException>(() => running);
        Assert.Empty(Directory.GetFiles(_spool, "*.part", SearchOption.AllDirectories));
    }

    private ClipPreparation Endless(TimeProvider clock)
    {
        string program = Path.Combine(_spool, "endless");
        File.WriteAllText(program, "#!/bin/sh\nexec sleep 3600\n");
        File.SetUnixFileMode(program, UnixFileMode.UserRead | UnixFileMode.UserExecute | UnixFileMode.UserWrite);
        return new ClipPreparation(new ClipConfiguration(), _derived, Ffmpeg.Find(program, clock), mayBeFragmentable: false);
    }

    private ClipContent Made(string path, ClipConfiguration? settings = null, bool ffmpeg = true)
    {
        ContentOutcome outcome = Prepare(path, settings, ffmpeg);
        Assert.True(outcome is ContentOutcome.Made, outcome is ContentOutcome.Held held ? held.Reason.Words : "");
        return (ClipContent)((ContentOutcome.Made)outcome).Content;
    }

    private ClipContent Made(string path, bool ffmpeg) => Made(path, null, ffmpeg);

    private Reason Held(string path, ClipConfiguration? settings = null, bool ffmpeg = true) => Assert.IsType<ContentOutcome.Held>(Prepare(path, settings, ffmpeg)).Reason;

    private ContentOutcome Prepare(string path, ClipConfiguration? settings, bool ffmpeg)
    {
        if (ffmpeg)
        {
            OutsideProgram.Require("ffmpeg");
        }

        using var preparation = new ClipPreparation(settings ?? new ClipConfiguration(), _derived, ffmpeg ? Ffmpeg.Find(null, TimeProvider.System) : null, mayBeFragmentable: false);
        return preparation.Prepare(path, TestContext.Current.CancellationToken);
    }

    private static string FileOf(ClipContent content) => content.Fragments[0].Pieces[0].Path!;

    private static byte[] Bytes(PixelSource source)
    {
        byte[] bytes = new byte[source.Length];
        using Stream stream = source.OpenRead();
        stream.ReadExactly(bytes);
        return bytes;
    }
}
