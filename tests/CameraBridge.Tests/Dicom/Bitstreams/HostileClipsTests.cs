using System.Diagnostics;
using System.Globalization;
using CameraBridge.Dicom.Bitstreams;
using CameraBridge.Dicom.Data;
using Xunit;

namespace CameraBridge.Tests.Dicom.Bitstreams;

public sealed class HostileClipsTests
{
    [Fact]
    public void A_clip_of_boxes_is_read()
    {
        byte[] index = TestMp4.Index(50, 100, 28 + 16);
        byte[] file = [.. TestMp4.FileType(), .. TestMp4.LargeBox("mdat", 16 + 5000, new byte[5000]), .. index];

        ClipHeader header = Read(file);

        Assert.Null(header.Flaw);
        Assert.Equal((50, 25, 16, 16, 41, "High"), ((int)header.Video!.Frames, (int)header.Video.FrameRate, header.Video.Columns, header.Video.Rows, header.Video.Level, header.Video.ProfileName));
        Assert.True(header.IsIndexBehind);
        Assert.Equal(5000, header.Video.Bytes);
    }

    /// <summary>An index that is whole and tells of one byte more than there is.</summary>
    [Fact]
    public void One_byte_short_is_torn()
    {
        byte[] start = [.. TestMp4.FileType(), .. TestMp4.Index(50, 100, 0)];
        byte[] index = TestMp4.Index(50, 100, (ulong)(start.Length + 8));
        byte[] whole = [.. TestMp4.FileType(), .. index, .. TestMp4.Box("mdat", new byte[5000])];
        Assert.Null(Read(whole).Flaw);
        byte[] closed = [.. TestMp4.FileType(), .. index, .. TestMp4.Box("mdat", new byte[4999])];

        Assert.Equal(ClipFlaw.Torn, Read(closed).Flaw);
        Assert.Equal(ClipFlaw.Torn, Read(whole[..^1]).Flaw);
    }

    [Theory]
    [InlineData(0xFFFFFFFFU, 0xFFFFFFFFU, 0UL)]
    [InlineData(0xFFFFFFFFU, 0U, 0UL)]
    [InlineData(1U, 1U, 0xFFFFFFFFFFFFFFFFUL)]
    [InlineData(0xFFFFFFFFU, 1U, 0x7FFFFFFFFFFFFFFFUL)]
    public void Numbers_beyond_all_sense_are_a_flaw_at_once(uint samples, uint size, ulong offset)
    {
        byte[] file = [.. TestMp4.FileType(), .. TestMp4.Index(samples, size, offset, step: 0xFFFFFFFF), .. TestMp4.Box("mdat", new byte[100])];

        ClipHeader header = Read(file);

        Assert.NotNull(header.Flaw);
    }

    [Fact]
    public void Boxes_in_boxes_without_end_are_no_stack_overflow()
    {
        byte[] inner = new byte[8];
        for (int i = 0; i < 20_000; i++)
        {
            inner = [.. TestMp4.Box("mdia", inner)[..8], .. inner];
            if (inner.Length > 100_000)
            {
                break;
            }
        }

        byte[] file = [.. TestMp4.FileType(), .. TestMp4.Box("moov", TestMp4.Box("trak", inner)), .. TestMp4.Box("mdat", new byte[10])];

        Assert.NotNull(Read(file).Flaw);
    }

    /// <summary>Bytes changed at random, and lengths cut at random, with a seed that is told: an answer, in time, whatever they are.</summary>
    [Theory]
    [InlineData("high41.mp4", 1)]
    [InlineData("high41_index_behind.mp4", 2)]
    [InlineData("high41_fragmented.mp4", 3)]
    [InlineData("high41_aac48.mp4", 4)]
    [InlineData("high41_pcm.mov", 5)]
    [InlineData("hevc_main.mp4", 6)]
    [InlineData("hevc_in_band.mp4", 7)]
    [InlineData("mjpeg.avi", 8)]
    [InlineData("high41.ts", 9)]
    [InlineData("mpeg2_mpml_480_mp2.mpg", 10)]
    [InlineData("mpeg2_mphl_720p25.ts", 11)]
    [InlineData("high41.m2ts", 12)]
    public void Damaged_clips_give_an_answer(string name, int seed)
    {
        byte[] whole = File.ReadAllBytes(Clips.PathOf(name));
        var random = new Random(seed);
        var watch = Stopwatch.StartNew();
        int index = Math.Max(0, whole.AsSpan().IndexOf("moov"u8));
        long before = GC.GetAllocatedBytesForCurrentThread();
        const int rounds = 150;
        for (int round = 0; round < rounds; round++)
        {
            byte[] bytes = [.. whole];
            int changes = random.Next(1, 20);
            for (int i = 0; i < changes; i++)
            {
                // Half of the changes where the index or the headers are.
                int at = random.Next(2) == 0 ? Math.Min(index + random.Next(3000), bytes.Length - 1) : random.Next(bytes.Length);
                bytes[at] = random.Next(3) switch { 0 => 0xFF, 1 => 0, _ => (byte)random.Next(256) };
            }

            int length = random.Next(4) == 0 ? random.Next(bytes.Length) : bytes.Length;
            ClipHeader header = ClipHeader.Read(PixelSource.FromBytes(bytes.AsMemory(0, length)), TestContext.Current.CancellationToken);
            ClipVerdict verdict = ClipJudgement.Judge(header, acceptsLesserProfiles: false);
            Assert.True(verdict.Syntax is not null || verdict.Obstacles.Count > 0, string.Create(CultureInfo.InvariantCulture, $"seed {seed}, round {round}"));
        }

        long perRound = (GC.GetAllocatedBytesForCurrentThread() - before) / rounds;
        Assert.InRange(perRound - whole.Length, 0, 2_000_000);
        Assert.True(watch.Elapsed < TimeSpan.FromSeconds(60), watch.Elapsed.ToString());
    }

    private static ClipHeader Read(byte[] file) => ClipHeader.Read(PixelSource.FromBytes(file), TestContext.Current.CancellationToken);
}
