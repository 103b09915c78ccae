using CameraBridge.Dicom.Bitstreams;
using CameraBridge.Dicom.Data;
using Xunit;

namespace CameraBridge.Tests.Dicom.Bitstreams;

/// <summary>The bit stream for an object: PS3.5 (2025e) section 8.2.1, Table 8.2.1-1 and section A.4; what each colour is, JFIF (ITU-T T.871) and Adobe TN 5116.</summary>
public sealed class JpegBaselineTests
{
    [Fact]
    public void The_stream_has_the_tables_frame_and_scan_and_nothing_else()
    {
        byte[] plain = new TestJpeg { Columns = 90, Rows = 70, RestartInterval = 3 }.ToBytes();
        byte[] dressed = new TestJpeg
        {
            Columns = 90,
            Rows = 70,
            RestartInterval = 3,
            Before =
            [
                TestJpeg.Jfif, TestJpeg.Segment(0xE1, [.. "Exif\0\0"u8, .. new byte[300]]), TestJpeg.Segment(0xE2, [.. "ICC_PROFILE\0"u8, 1, 1, 0]),
                TestJpeg.Segment(0xFE, [.. "made for tests"u8]), TestJpeg.Adobe(1),
            ],
            Behind = new byte[500],
        }.ToBytes();

        byte[] stream = Plan(dressed, out JpegStream plan);

        Assert.Equal(plain, stream[..(int)plan.StreamLength]);
        Assert.Equal(("YBR_FULL_422", 3, 70, 90), (plan.PhotometricInterpretation, plan.SamplesPerPixel, plan.Rows, plan.Columns));
    }

    [Theory]
    [InlineData(40)]
    [InlineData(41)]
    [InlineData(200)]
    [InlineData(340)]
    public void The_stream_is_padded_behind_its_end_to_an_even_length(int columns)
    {
        byte[] stream = Plan(new TestJpeg { Columns = columns }.ToBytes(), out JpegStream plan);

        Assert.Equal(0, stream.Length % 2);
        Assert.InRange(stream.Length - plan.StreamLength, 0, 1);
        Assert.Equal([0xFF, 0xD9], stream[(int)(plan.StreamLength - 2)..(int)plan.StreamLength]);
        Assert.All(stream[(int)plan.StreamLength..], padding => Assert.Equal(0, padding));
    }

    [Fact]
    public void The_pixels_are_ranges_of_the_file()
    {
        string path = TestFiles.Write(new TestJpeg { Before = [TestJpeg.Jfif] }.ToBytes());
        JpegStream plan = JpegBaseline.Plan(JpegHeader.ReadFile(path), path);

        // Two literal bytes (start of image), one range, perhaps one byte of padding.
        Assert.Single(plan.Pixels.Pieces, piece => piece.Path is not null);
        Assert.True(plan.Pixels.Pieces.Where(piece => piece.Path is null).Sum(piece => piece.Length) <= 3);
    }

    [Theory]
    [InlineData("ids 1 2 3", "YBR_FULL_422")]
    [InlineData("ids 0 1 2", "YBR_FULL_422")]
    [InlineData("ids RGB", "RGB")]
    [InlineData("adobe 0", "RGB")]
    [InlineData("adobe 1", "YBR_FULL_422")]
    [InlineData("jfif, adobe 0", "YBR_FULL_422")]
    [InlineData("jfif, ids RGB", "YBR_FULL_422")]
    [InlineData("adobe 1, ids RGB", "YBR_FULL_422")]
    [InlineData("grey", "MONOCHROME2")]
    public void The_colour_is_read_from_the_stream_and_stays_what_it_was(string kind, string PhotometricInterpretation)
    {
        List<byte[]> before = [];
        if (kind.Contains("jfif", StringComparison.Ordinal))
        {
            before.Add(TestJpeg.Jfif);
        }

        if (kind.Contains("adobe", StringComparison.Ordinal))
        {
            before.Add(TestJpeg.Adobe((byte)(kind.Contains("adobe 0", StringComparison.Ordinal) ? 0 : 1)));
        }

        (byte, byte)[] components = kind switch
        {
            "grey" => TestJpeg.Grey,
            _ when kind.Contains("RGB", StringComparison.Ordinal) => [((byte)'R', 0x11), ((byte)'G', 0x11), ((byte)'B', 0x11)],
            "ids 0 1 2" => [(0, 0x22), (1, 0x11), (2, 0x11)],
            _ => [(1, 0x22), (2, 0x11), (3, 0x11)],
        };

        byte[] stream = Plan(new TestJpeg { Components = components, Before = before }.ToBytes(), out JpegStream plan);

        Assert.Equal(PhotometricInterpretation, plan.PhotometricInterpretation);

        // A decoder that only sees the stream must come to the same colour.
        Assert.Equal(PhotometricInterpretation, JpegBaseline.Plan(JpegHeaderTests.Read(stream), "/none").PhotometricInterpretation);
    }

    [Theory]
    [InlineData(0xC1, 8, 3, JpegObstacle.Extended)]
    [InlineData(0xC1, 12, 1, JpegObstacle.Extended)]
    [InlineData(0xC0, 12, 1, JpegObstacle.Extended)]
    [InlineData(0xC2, 8, 3, JpegObstacle.Progressive)]
    [InlineData(0xC3, 8, 3, JpegObstacle.OtherProcess)]
    [InlineData(0xC5, 8, 3, JpegObstacle.OtherProcess)]
    [InlineData(0xC9, 8, 3, JpegObstacle.OtherProcess)]
    [InlineData(0xCA, 8, 3, JpegObstacle.OtherProcess)]
    [InlineData(0xC0, 8, 4, JpegObstacle.Cmyk)]
    [InlineData(0xC0, 8, 2, JpegObstacle.Components)]
    public void What_is_not_baseline_is_refused_with_its_own_reason(byte frame, byte precision, int components, JpegObstacle obstacle)
    {
        JpegHeader header = JpegHeaderTests.Read(new TestJpeg
        {
            FrameMarker = frame,
            Precision = precision,
            Components = [.. Enumerable.Range(1, components).Select(id => ((byte)id, (byte)0x11))],
        });

        Assert.Equal(obstacle, JpegBaseline.Judge(header)?.Obstacle);
        Assert.Throws<InvalidOperationException>(() => JpegBaseline.Plan(header, "/none"));
    }

    [Fact]
    public void Chroma_finer_than_luma_is_refused()
    {
        JpegHeader header = JpegHeaderTests.Read(new TestJpeg { Components = [(1, 0x11), (2, 0x22), (3, 0x11)] });

        Assert.Equal(JpegObstacle.Components, JpegBaseline.Judge(header)?.Obstacle);
    }

    private static byte[] Plan(byte[] file, out JpegStream plan)
    {
        string path = TestFiles.Write(file);
        plan = JpegBaseline.Plan(JpegHeader.ReadFile(path), path);
        return Bytes(plan.Pixels);
    }

    internal static byte[] Bytes(PixelSource source)
    {
        byte[] bytes = new byte[source.Length];
        using Stream stream = source.OpenRead();
        stream.ReadExactly(bytes);
        return bytes;
    }
}
