using System.Diagnostics;
using System.Globalization;
using System.Text;
using CameraBridge.Dicom.Bitstreams;
using Xunit;

namespace CameraBridge.Tests.Dicom.Bitstreams;

/// <summary>
/// The luminance that is looked at, compared value by value with djpeg of libjpeg-turbo, whose reduced pictures are means too. Its integer arithmetic rounds twice, ours once, so that a
/// value may be one off; ITU-T T.83 section A.1 allows a decoder as much in a coefficient.
/// </summary>
public sealed class JpegLuminanceTests : IDisposable
{
    /// <summary>Of all values, so many may be one off: measured are 0.6 per cent, and 0 of the smallest size.</summary>
    private const double MostRoundedOtherwise = 0.02;

    private static readonly int[] Divisors = [1, 2, 4, 8];

    private readonly JpegTools _tools = new();

    public void Dispose() => _tools.Dispose();

    [Theory]
    [InlineData("-sample 1x1")]
    [InlineData("-sample 2x1")]
    [InlineData("-sample 1x2")]
    [InlineData("-sample 2x2")]
    [InlineData("-sample 4x1")]
    [InlineData("-sample 2x2,2x1,1x1")]
    [InlineData("-sample 2x2 -optimize -quality 98")]
    [InlineData("-sample 2x2 -quality 10")]
    [InlineData("-sample 2x2 -restart 3B")]
    [InlineData("-sample 2x1 -restart 1")]
    [InlineData("-grayscale")]
    [InlineData("-grayscale -sample 2x2")]
    public async Task Every_sampling_is_decoded_as_djpeg_does_in_every_size_up_to_the_last_column_and_row(string switches)
    {
        foreach ((int width, int height) in new[] { (161, 97), (8, 8), (1, 1), (33, 200) })
        {
            string path = await _tools.DrawAsync(width, height, switches.Split(' '));
            foreach (int divisor in Divisors)
            {
                Assert.True(await IsAsDjpegDecodesAsync(path, divisor), $"{width} by {height}, 1/{divisor}");
            }
        }
    }

    [Fact]
    public async Task Photographs_are_decoded_as_djpeg_does_in_every_size()
    {
        int compared = 0;
        foreach (string photograph in Photographs.All().Where((_, number) => number % 6 == 0))
        {
            foreach (int divisor in Divisors)
            {
                compared += await IsAsDjpegDecodesAsync(photograph, divisor) ? 1 : 0;
            }
        }

        Assert.True(compared >= 150, $"only {compared} were compared");
    }

    [Fact]
    public async Task A_quarter_decoded_at_once_is_the_mean_of_the_whole()
    {
        string path = await _tools.DrawAsync(160, 96, "-quality", "90");
        byte[] whole = Decode(path, 160, 96)!;
        byte[] quarter = Decode(path, 40, 24)!;

        for (int y = 0; y < 24; y++)
        {
            for (int x = 0; x < 40; x++)
            {
                double mean = Enumerable.Range(0, 16).Average(i => whole[((((y * 4) + (i / 4)) * 160) + (x * 4)) + (i % 4)]);
                // Where samples were cut off at black or white the mean of what is left is another.
                Assert.InRange(quarter[(y * 40) + x] - mean, -3, 3);
            }
        }
    }

    [Theory]
    [InlineData("-progressive")]
    [InlineData("-rgb")]
    [InlineData("-arithmetic")]
    public async Task What_cameras_do_not_write_is_left_to_others(string switches)
    {
        string path = await _tools.DrawAsync(64, 48, switches);

        Assert.Null(Decode(path, 64, 48));
    }

    [Fact]
    public void Neither_several_scans_nor_a_luminance_that_is_coarser_than_the_colours_nor_inks_are_decoded()
    {
        Assert.NotNull(Decode(new TestJpeg().ToBytes(), 40, 24));
        Assert.Null(Decode(new TestJpeg { Interleaved = false }.ToBytes(), 40, 24));
        Assert.Null(Decode(new TestJpeg { Components = [(1, 0x11), (2, 0x22), (3, 0x11)] }.ToBytes(), 40, 24));
        Assert.Null(Decode(new TestJpeg { Components = [(1, 0x11), (2, 0x11), (3, 0x11), (4, 0x11)] }.ToBytes(), 40, 24));
        Assert.Null(Decode(new TestJpeg { Before = [TestJpeg.Adobe(0)] }.ToBytes(), 40, 24));
        Assert.Null(Decode(new TestJpeg { Precision = 12, FrameMarker = 0xC1 }.ToBytes(), 40, 24));
        Assert.Null(Decode("no picture at all"u8.ToArray(), 8, 8));
        Assert.Null(Decode([], 8, 8));
    }

    /// <summary>ITU-T T.81 Table B.3: of a sequential scan Ss is 0, Se 63, Ah and Al 0. The three bytes stand at the end of its header.</summary>
    [Theory]
    [InlineData(1, 1)]
    [InlineData(2, 62)]
    [InlineData(3, 1)]
    public void A_scan_of_a_part_of_the_coefficients_is_left_to_others(int place, byte value)
    {
        byte[] file = new TestJpeg().ToBytes();
        int scan = file.AsSpan().IndexOf<byte>([0xFF, 0xDA, 0, 12]);
        file[scan + 10 + place] = value;

        Assert.True(scan > 0);
        Assert.Null(Decode(file, 40, 24));
    }

    /// <summary>ITU-T T.81 section A.3.1: without a difference to the block before, a first block of 0 is the middle of the range, 128.</summary>
    [Fact]
    public void A_picture_of_zeros_is_middle_grey() => Assert.All(Decode(new TestJpeg().ToBytes(), 20, 12)!, value => Assert.Equal(128, value));

    [Theory]
    [InlineData(41, 24)]
    [InlineData(40, 25)]
    [InlineData(20, 24)]
    [InlineData(80, 48)]
    public void A_size_that_the_file_has_not_is_refused(int width, int height) => Assert.Null(Decode(new TestJpeg().ToBytes(), width, height));

    [Fact]
    public void Too_little_room_is_a_mistake_of_the_caller() =>
        Assert.Throws<ArgumentOutOfRangeException>(() => JpegLuminance.TryDecode(new MemoryStream(new TestJpeg().ToBytes()), 40, 24, new byte[(40 * 24) - 1]));

    [Fact]
    public async Task A_file_that_was_cut_anywhere_is_not_decoded()
    {
        byte[] whole = await File.ReadAllBytesAsync(await _tools.DrawAsync(96, 64, "-restart", "2B"), TestContext.Current.CancellationToken);

        Assert.NotNull(Decode(whole, 96, 64));
        for (int length = 0; length < whole.Length - 2; length += 7)
        {
            Assert.Null(Decode(whole[..length], 96, 64));
        }
    }

    private static byte[]? Decode(string path, int width, int height) => Decode(File.ReadAllBytes(path), width, height);

    private static byte[]? Decode(byte[] file, int width, int height)
    {
        byte[] grey = new byte[width * height];
        using var stream = new MemoryStream(file);
        return JpegLuminance.TryDecode(stream, width, height, grey) ? grey : null;
    }

    /// <returns>False when it was not decoded.</returns>
    private static async Task<bool> IsAsDjpegDecodesAsync(string path, int divisor)
    {
        JpegHeader header = JpegHeader.ReadFile(path);
        (int width, int height) = ((header.Columns + divisor - 1) / divisor, (header.Rows + divisor - 1) / divisor);
        if (width == 0 || height == 0 || Decode(path, width, height) is not { } ours)
        {
            return false;
        }

        byte[] theirs = await DjpegAsync(path, divisor);
        int farthest = ours.Zip(theirs, (one, other) => Math.Abs(one - other)).Max();
        double rounded = ours.Where((value, at) => value != theirs[at]).Count() / (double)ours.Length;
        Assert.Equal(theirs.Length, ours.Length);
        Assert.True(farthest <= 1, string.Create(CultureInfo.InvariantCulture, $"{Path.GetFileName(path)}, 1/{divisor}: {farthest} off"));
        Assert.True(rounded <= MostRoundedOtherwise || ours.Length < 1000, string.Create(CultureInfo.InvariantCulture, $"{Path.GetFileName(path)}, 1/{divisor}: {100 * rounded:F1} % are off"));
        return true;
    }

    /// <summary>Grey values by djpeg, which writes them as PGM: "P5", columns, rows, 255, each with a line's end, and then the values.</summary>
    private static async Task<byte[]> DjpegAsync(string path, int divisor)
    {
        using var process = Process.Start(new ProcessStartInfo("djpeg", ["-grayscale", "-dct", "int", "-scale", $"1/{divisor}", "-pnm", path]) { RedirectStandardOutput = true })!;
        using var output = new MemoryStream();
        await process.StandardOutput.BaseStream.CopyToAsync(output, TestContext.Current.CancellationToken);
        await process.WaitForExitAsync(TestContext.Current.CancellationToken);
        byte[] pnm = output.ToArray();
        string[] head = Encoding.ASCII.GetString(pnm, 0, Math.Min(pnm.Length, 64)).Split('\n', 4);
        Assert.Equal(("P5", "255"), (head[0], head[2]));
        return pnm[(head[0].Length + head[1].Length + head[2].Length + 3)..];
    }
}
