using System.Globalization;
using System.Text.Json;
using CameraBridge.Dicom.Bitstreams;
using CameraBridge.Dicom.Data;
using Xunit;

namespace CameraBridge.Tests.Dicom.Bitstreams;

public sealed class ClipHeaderTests
{
    [Theory]
    [InlineData("high41.mp4")]
    [InlineData("high41_index_behind.mp4")]
    [InlineData("high41_aac48.mp4")]
    [InlineData("high41_1080p2997.mp4")]
    [InlineData("high42_1080p60.mp4")]
    [InlineData("high41_1080i25.mp4")]
    [InlineData("high41_cropped.mp4")]
    [InlineData("high41.ts")]
    [InlineData("high41.m2ts")]
    [InlineData("high41.mov")]
    [InlineData("high41_fragmented.mp4")]
    [InlineData("high51.mp4")]
    [InlineData("high41_aac44_mono.mp4")]
    [InlineData("high41_pcm.mov")]
    [InlineData("constrained_baseline31.mp4")]
    [InlineData("main31.mp4")]
    [InlineData("high422_10bit.mp4")]
    [InlineData("high444.mp4")]
    [InlineData("high41_rotated90.mp4")]
    [InlineData("high41_wide_pixels.mp4")]
    [InlineData("high41_full_range.mp4")]
    [InlineData("high_2160p.mp4")]
    [InlineData("hevc_main.mp4")]
    [InlineData("hevc_main10.mp4")]
    [InlineData("hevc_in_band.mp4")]
    [InlineData("mpeg2_mpml_576p25.ts")]
    [InlineData("mpeg2_mphl_720p25.ts")]
    [InlineData("mpeg2_mpml_576p25.mpg")]
    [InlineData("mpeg2_mpml_480_mp2.mpg")]
    [InlineData("mjpeg.avi")]
    [InlineData("package_realshort.mp4")]
    [InlineData("package_cockatoo.mp4")]
    public async Task A_clip_is_what_ffprobe_says_it_is(string name)
    {
        string path = Clips.PathOf(name);
        (JsonElement video, IReadOnlyList<JsonElement> sounds) = await Clips.ProbeAsync(path);

        ClipHeader header = ClipHeader.ReadFile(path, TestContext.Current.CancellationToken);

        Assert.Null(header.Flaw);
        ClipVideo ours = header.Video!;
        // Judge: ffprobe of ffmpeg 5.1.
        Assert.Equal((Number(video, "width"), Number(video, "height")), (ours.Columns, ours.Rows));
        string codec = video.GetProperty("codec_name").GetString()!;
        Assert.Equal(codec switch { "h264" => ClipCodec.H264, "hevc" => ClipCodec.Hevc, "mpeg2video" => ClipCodec.Mpeg2, "mjpeg" => ClipCodec.MotionJpeg, _ => ClipCodec.Other }, ours.Codec);
        if (ours.Codec != ClipCodec.MotionJpeg)
        {
            Assert.Equal(video.GetProperty("profile").GetString(), ours.ProfileName);
            // ffprobe gives general_level_idc for HEVC, which is 30 times the level.
            Assert.Equal(Number(video, "level"), ours.Codec == ClipCodec.Hevc ? ours.Level * 3 : ours.Level);
            Assert.Equal(video.GetProperty("pix_fmt").GetString() switch { "yuv422p10le" => (2, 10), "yuv444p" => (3, 8), "yuv420p10le" => (1, 10), _ => (1, 8) }, (ours.ChromaFormat, ours.BitDepth));
            Assert.Equal(video.TryGetProperty("color_range", out JsonElement range) && range.GetString() == "pc", ours.IsFullRange);
        }

        if (video.TryGetProperty("sample_aspect_ratio", out JsonElement shape))
        {
            Assert.Equal(shape.GetString(), string.Create(CultureInfo.InvariantCulture, $"{ours.PixelWidth}:{ours.PixelHeight}"));
        }

        int frames = video.TryGetProperty("nb_frames", out JsonElement told) ? int.Parse(told.GetString()!, CultureInfo.InvariantCulture) : int.Parse(video.GetProperty("nb_read_packets").GetString()!, CultureInfo.InvariantCulture);
        Assert.Equal(frames, ours.Frames);
        Assert.Equal(Ratio(video.GetProperty("r_frame_rate").GetString()!), ours.FrameRate, 3);
        Assert.True(ours.IsConstantRate);
        double duration = frames / Ratio(video.GetProperty("r_frame_rate").GetString()!);
        Assert.Equal(duration, ours.Duration.TotalSeconds, 2);
        Assert.Equal(
            sounds.Select(sound => (int.Parse(sound.GetProperty("sample_rate").GetString()!, CultureInfo.InvariantCulture), Number(sound, "channels"), Codec(sound))),
            header.Sounds.Select(sound => (sound.SampleRate, sound.Channels, sound.Codec)));
        int rotation = video.TryGetProperty("side_data_list", out JsonElement side) && side.EnumerateArray().Any(one => one.TryGetProperty("rotation", out _))
            ? side.EnumerateArray().First(one => one.TryGetProperty("rotation", out _)).GetProperty("rotation").GetInt32()
            : 0;
        // ffprobe counts anticlockwise.
        Assert.Equal((360 - rotation) % 360, header.Rotation);
    }

    [Fact]
    public void Where_the_index_stands_and_when_the_recording_began_are_known()
    {
        Assert.False(Read("high41.mp4").IsIndexBehind);
        Assert.True(Read("high41_index_behind.mp4").IsIndexBehind);
        Assert.True(Read("high41_fragmented.mp4").IsFragmented);
        // As make_clips.sh had ffmpeg write it.
        Assert.Equal(new DateTime(2026, 11, 25, 9, 0, 0, DateTimeKind.Utc), Read("high41.mp4").RecordedAt);
        Assert.Null(Read("high41_index_behind.mp4").RecordedAt);
    }

    [Theory]
    [InlineData("cut_behind_index.mp4")]
    [InlineData("cut_before_index.mp4")]
    [InlineData("cut_fragmented.mp4")]
    [InlineData("cut.avi")]
    [InlineData("cut.mpg")]
    [InlineData("cut.ts")]
    public void A_clip_that_was_cut_off_is_torn(string name) => Assert.Equal(ClipFlaw.Torn, Read(name).Flaw);

    /// <summary>The trap: the index is whole, so ffprobe takes the file for a clip of two seconds.</summary>
    [Fact]
    public async Task A_clip_cut_behind_its_index_is_torn_although_ffprobe_opens_it()
    {
        string path = Clips.PathOf("cut_behind_index.mp4");
        (JsonElement video, _) = await Clips.ProbeAsync(path);
        Assert.Equal("60", video.GetProperty("nb_frames").GetString());

        ClipHeader header = ClipHeader.ReadFile(path, TestContext.Current.CancellationToken);

        Assert.Equal(ClipFlaw.Torn, header.Flaw);
        Assert.Contains("cut off", header.FlawText, StringComparison.Ordinal);
    }

    [Fact]
    public void Uneven_pictures_and_edits_are_seen()
    {
        Assert.False(Read("high41_uneven.mp4").Video!.IsConstantRate);
        Assert.True(Read("high41_edited.mp4").IsEdited);
        Assert.False(Read("high41.mp4").IsEdited);
    }

    [Fact]
    public void Fragments_of_an_object_read_as_the_file_they_make()
    {
        string path = Clips.PathOf("high41_index_behind.mp4");
        long length = new FileInfo(path).Length;
        var parts = PixelSource.Concat(PixelSource.FromFile(path, 0, 70_000), PixelSource.FromBytes(File.ReadAllBytes(path).AsMemory(70_000, 3)), PixelSource.FromFile(path, 70_003, length - 70_003));

        ClipHeader header = ClipHeader.Read(parts, TestContext.Current.CancellationToken);

        Assert.Null(header.Flaw);
        Assert.Equal((60, 41, "High"), ((int)header.Video!.Frames, header.Video.Level, header.Video.ProfileName));
    }

    private static ClipHeader Read(string name) => ClipHeader.ReadFile(Clips.PathOf(name), TestContext.Current.CancellationToken);

    private static int Number(JsonElement stream, string name) => stream.GetProperty(name).GetInt32();

    private static double Ratio(string text)
    {
        string[] parts = text.Split('/');
        return double.Parse(parts[0], CultureInfo.InvariantCulture) / double.Parse(parts[1], CultureInfo.InvariantCulture);
    }

    private static SoundCodec Codec(JsonElement sound) => sound.GetProperty("codec_name").GetString() switch
    {
        "aac" => SoundCodec.Aac,
        "mp3" => SoundCodec.Mp3,
        "mp2" => SoundCodec.MpegLayer2,
        "ac3" => SoundCodec.Ac3,
        "pcm_s16le" => SoundCodec.Pcm,
        _ => SoundCodec.Other,
    };
}
