using CameraBridge.Dicom.Bitstreams;
using Xunit;

namespace CameraBridge.Tests.Dicom.Bitstreams;

/// <summary>Reading JPEG files: ITU-T T.81 Annex B (syntax), A.2 (order of data), E.1.4 (restarts); the files are written by <see cref="TestJpeg"/>.</summary>
public sealed class JpegHeaderTests
{
    [Fact]
    public void A_whole_file_is_read_to_its_last_block()
    {
        JpegHeader header = Read(new TestJpeg { Before = [TestJpeg.Jfif], RestartInterval = 2 });

        Assert.Equal(0xC0, header.FrameMarker);
        Assert.Equal((8, 24, 40, 2, 1), (header.Precision, header.Rows, header.Columns, header.RestartInterval, header.ScanCount));
        Assert.Equal([new(1, 2, 2, 0), new(2, 1, 1, 0), new JpegComponent(3, 1, 1, 0)], header.Components);

        // 40 x 24 at 16 x 16 an MCU: 3 x 2 = 6 MCUs, so two restart markers between three intervals of two.
        Assert.Equal(2, header.RestartMarkerCount);
        Assert.True(header.HasJfif);
        Assert.True(header.BlocksCounted);
        Assert.Equal(header.Length, header.EndOfImage);
        Assert.Empty(header.Findings);
    }

    [Theory]
    [InlineData(true, 0)]
    [InlineData(true, 1)]
    [InlineData(true, 4)]
    [InlineData(false, 0)]
    [InlineData(false, 3)]
    public void Blocks_are_counted_in_every_layout(bool interleaved, int restartInterval)
    {
        foreach (byte luma in (byte[])[0x11, 0x12, 0x21, 0x22, 0x41])
        {
            JpegHeader header = Read(new TestJpeg
            {
                Components = [(1, luma), (2, 0x11), (3, 0x11)],
                Interleaved = interleaved,
                RestartInterval = restartInterval,
                Columns = 131,
                Rows = 67,
            });

            Assert.True(header.BlocksCounted);
            Assert.Empty(header.Findings);
            Assert.Equal(interleaved ? 1 : 3, header.ScanCount);
        }
    }

    [Theory]
    [InlineData(0)]
    [InlineData(2)]
    public void A_file_cut_anywhere_is_torn(int restartInterval)
    {
        byte[] whole = new TestJpeg { Columns = 100, Rows = 100, RestartInterval = restartInterval }.ToBytes();
        for (int length = 2; length < whole.Length; length++)
        {
            Assert.NotNull(Read(whole[..length]).First(JpegFlaw.Torn));
        }
    }

    [Theory]
    [InlineData(0)]
    [InlineData(2)]
    public void A_file_cut_in_its_scan_and_closed_again_is_torn(int restartInterval)
    {
        byte[] whole = new TestJpeg { Columns = 100, Rows = 100, RestartInterval = restartInterval }.ToBytes();
        int scan = Read(whole).Segments.Where(segment => segment.Marker == 0xDA).Select(segment => (int)segment.Offset).Single();
        int firstData = scan + 14;
        for (int length = firstData; length < whole.Length - 2; length++)
        {
            if (whole[length - 1] == 0xFF)
            {
                continue;
            }

            byte[] closed = [.. whole[..length], 0xFF, 0xD9];
            Assert.Equal(JpegObstacle.Torn, JpegBaseline.Judge(Read(closed))?.Obstacle);
        }
    }

    [Fact]
    public void Restart_markers_out_of_order_are_damage()
    {
        byte[] file = new TestJpeg { RestartInterval = 2 }.ToBytes();
        int second = Array.LastIndexOf(file, (byte)0xD1);
        file[second] = 0xD2;

        Assert.NotNull(Read(file).First(JpegFlaw.Damaged));
    }

    [Fact]
    public void A_code_that_the_table_does_not_have_is_damage()
    {
        byte[] file = new TestJpeg { Columns = 200, Rows = 200 }.ToBytes();
        int scan = (int)Read(file).Segments.Single(segment => segment.Marker == 0xDA).Offset;
        file[scan + 20] = 0x7F;

        Assert.NotNull(Read(file).First(JpegFlaw.Damaged));
    }

    [Fact]
    public void Height_zero_is_told_and_not_guessed()
    {
        // T.81 B.2.5: with Y = 0 the number of lines stands in a DNL segment behind the first scan.
        JpegHeader header = Read(new TestJpeg { Rows = 0 });

        Assert.Equal(0, header.Rows);
        Assert.Equal(JpegObstacle.LinesUnknown, JpegBaseline.Judge(header)?.Obstacle);
    }

    [Theory]
    [InlineData(new byte[] { 0, 0, 0 }, JpegTrailer.Zeros)]
    [InlineData(new byte[] { 0, 0xFF, 0xD8, 0xFF, 0xE1 }, JpegTrailer.Picture)]
    [InlineData(new byte[] { 1, 2 }, JpegTrailer.Other)]
    public void What_follows_the_end_of_the_image_is_known(byte[] behind, JpegTrailer trailer)
    {
        JpegHeader header = Read(new TestJpeg { Behind = behind });

        Assert.Equal(behind.Length, header.TrailingBytes);
        Assert.Equal(trailer, header.Trailer);
        Assert.Null(JpegBaseline.Judge(header));
    }

    [Fact]
    public void Bytes_between_segments_are_passed_over()
    {
        JpegHeader header = Read(new TestJpeg { Before = [[0, 0, 1], TestJpeg.Jfif, [0xFF, 0xFF, 0xFF]] });

        Assert.True(header.HasJfif);
        Assert.Equal(JpegFlaw.Oddity, Assert.Single(header.Findings.Select(finding => finding.Flaw).Distinct()));
        Assert.Null(JpegBaseline.Judge(header));
    }

    [Fact]
    public void Application_segments_are_found()
    {
        byte[] tiff = [(byte)'I', (byte)'I', 42, 0, 8, 0, 0, 0, 0, 0];
        JpegHeader header = Read(new TestJpeg
        {
            Before =
            [
                TestJpeg.Segment(0xE1, [.. "Exif\0\0"u8, .. tiff]),
                TestJpeg.Segment(0xE1, [.. "http://ns.adobe.com/xap/1.0/\0"u8, 1, 2, 3]),
                TestJpeg.Segment(0xE2, [.. "ICC_PROFILE\0"u8, 2, 2, 7, 8]),
                TestJpeg.Segment(0xE2, [.. "ICC_PROFILE\0"u8, 1, 2, 5, 6]),
                TestJpeg.Segment(0xE2, [.. "MPF\0"u8, 0]),
                TestJpeg.Adobe(1),
                TestJpeg.Segment(0xFE, [.. "a comment"u8]),
            ],
        });

        Assert.Equal(tiff, header.Exif.ToArray());
        Assert.Equal([(2, 2), (1, 2)], header.IccChunks.Select(chunk => ((int)chunk.Number, (int)chunk.Count)));
        Assert.True(header.HasMultiPictureIndex);
        Assert.Equal(1, header.AdobeTransform);
        Assert.Empty(header.Findings);
    }

    [Fact]
    public void A_flood_of_tiny_segments_ends()
    {
        byte[] flood = [0xFF, 0xD8, .. Enumerable.Repeat(new byte[] { 0xFF, 0xE5, 0, 2 }, 20_000).SelectMany(segment => segment)];

        JpegHeader header = Read(flood);

        Assert.True(header.Segments.Count <= 10_000);
        Assert.NotNull(header.First(JpegFlaw.Malformed));
    }

    [Theory]
    [InlineData(new byte[0])]
    [InlineData(new byte[] { 0xFF })]
    [InlineData(new byte[] { 0x89, 0x50, 0x4E, 0x47 })]
    public void What_is_no_JPEG_is_said_to_be_none(byte[] file) =>
        Assert.Equal(JpegObstacle.NotJpeg, JpegBaseline.Judge(Read(file))?.Obstacle);

    [Fact]
    public void The_reader_works_with_any_sizes_of_reads()
    {
        byte[] file = new TestJpeg { Columns = 3000, Rows = 2000, RestartInterval = 7, Before = [TestJpeg.Segment(0xE1, new byte[65_000])] }.ToBytes();
        using var stream = new DripStream(file);

        JpegHeader header = JpegHeader.Read(stream);

        Assert.Empty(header.Findings);
        Assert.True(header.BlocksCounted);
    }

    internal static JpegHeader Read(TestJpeg file) => Read(file.ToBytes());

    internal static JpegHeader Read(byte[] file)
    {
        using var stream = new MemoryStream(file);
        return JpegHeader.Read(stream);
    }

    /// <summary>Gives 1 to 13 bytes at a time.</summary>
    private sealed class DripStream(byte[] bytes) : MemoryStream(bytes)
    {
        private int turn;

        public override int Read(byte[] buffer, int offset, int count) => base.Read(buffer, offset, Math.Min(count, 1 + (turn++ % 13)));

        public override int Read(Span<byte> buffer) => base.Read(buffer[..Math.Min(buffer.Length, 1 + (turn++ % 13))]);
    }
}
