using CameraBridge.Dicom.Bitstreams;
using CameraBridge.Dicom.Part10;
using CameraBridge.Pipeline.Objects;
using CameraBridge.Tests.Dicom.Bitstreams;
using Xunit;

namespace CameraBridge.Tests.Pipeline.Objects.Stills;

/// <summary>JPEG stills, drawn by libjpeg-turbo's cjpeg and compared with its djpeg and jpegtran, and with Pillow.</summary>
public sealed class StillPreparationTests : IDisposable
{
    private readonly StillRig rig = new();
    private readonly JpegTools tools = new();

    public void Dispose()
    {
        rig.Dispose();
        tools.Dispose();
    }

    [Theory]
    [InlineData("-sample 1x1")]
    [InlineData("-sample 2x1")]
    [InlineData("-sample 2x2")]
    [InlineData("-sample 1x2")]
    [InlineData("-grayscale")]
    [InlineData("-sample 2x2 -restart 2B")]
    public async Task Upright_baseline_goes_in_bit_for_bit(string switches)
    {
        string path = await tools.DrawAsync(77, 59, switches.Split(' '));

        StillContent content = rig.Make(path);

        // All pieces but SOI and padding are ranges of the camera's own file, and djpeg sees the same picture.
        Assert.All(content.Fragments[0].Pieces, piece => Assert.True(piece.Path == path || piece.Length <= 18));
        string stream = rig.Write("stream.jpg", StillRig.Bytes(content.Fragments[0]));
        Assert.True(await tools.ShowTheSameAsync(path, stream));
        Assert.Equal(
            (77, 59, TransferSyntax.JpegBaseline.Uid, switches == "-grayscale" ? "MONOCHROME2" : "YBR_FULL_422"),
            (content.Columns, content.Rows, content.TransferSyntaxUID, content.PhotometricInterpretation));
        Assert.Null(content.Derivation);
        Assert.Empty(rig.Spooled());
        // PS3.3 section C.7.6.1.1.5: uncompressed bytes over compressed ones.
        LossyStep step = Assert.Single(content.LossySteps);
        Assert.Equal("ISO_10918_1", step.Method);
        Assert.Equal((decimal)(77 * 59 * content.SamplesPerPixel) / content.StreamLength, step.Ratio);
    }

    [Theory]
    [InlineData("-progressive")]
    [InlineData("-progressive -grayscale")]
    [InlineData("-progressive -sample 2x1 -restart 1")]
    public async Task Progressive_becomes_baseline_with_the_same_pixels_and_stays_ORIGINAL(string switches)
    {
        string path = await tools.DrawAsync(77, 59, switches.Split(' '));

        StillContent content = rig.Make(path);

        string stream = rig.Write("stream.jpg", StillRig.Bytes(content.Fragments[0]));
        Assert.True(await tools.ShowTheSameAsync(path, stream));
        Assert.Equal(0xC0, JpegHeader.ReadFile(stream).FrameMarker);
        Assert.Single(content.LossySteps);
        Assert.False(content.Derivation!.PixelsChanged);
        Assert.Contains("progressive", content.Derivation.Words, StringComparison.Ordinal);
        Assert.Equal(content.StreamLength, new FileInfo(Assert.Single(rig.Spooled())).Length);
    }

    [Theory]
    [InlineData(96, 64, "-sample 2x2")]
    [InlineData(96, 64, "-sample 2x1 -progressive")]
    [InlineData(96, 64, "-sample 1x2 -restart 1")]
    [InlineData(96, 64, "-grayscale")]
    [InlineData(101, 83, "-sample 2x2")]
    [InlineData(101, 83, "-grayscale -progressive")]
    [InlineData(120, 80, "-sample 2x2")]
    public async Task Every_orientation_becomes_upright_by_the_mildest_way(int width, int height, string switches)
    {
        string drawn = await tools.DrawAsync(width, height, switches.Split(' '));
        for (int orientation = 2; orientation <= 8; orientation++)
        {
            string path = rig.Turned(drawn, orientation);

            StillContent content = rig.Make(path);

            string stream = rig.Write("stream.jpg", StillRig.Bytes(content.Fragments[0]));
            Assert.Equal(orientation > 4 ? (height, width) : (width, height), (content.Columns, content.Rows));
            Assert.Equal(0xC0, JpegHeader.ReadFile(stream).FrameMarker);
            if (await tools.TransformAsync(drawn, orientation) is { } reference)
            {
                Assert.True(await tools.ShowTheSameAsync(stream, reference), $"orientation {orientation}");
                Assert.False(content.Derivation!.PixelsChanged);
                Assert.Single(content.LossySteps);
            }
            else
            {
                // jpegtran -perfect refuses: nothing is trimmed, the picture is compressed a second time, and the object says so (PS3.3 section C.7.6.1.1.5).
                Assert.True(content.Derivation!.PixelsChanged);
                Assert.Equal(("113040", "DCM", "Lossy Compression"), (content.Derivation.Codes[0].CodeValue, content.Derivation.Codes[0].CodingSchemeDesignator, content.Derivation.Codes[0].CodeMeaning));
                Assert.Equal(["ISO_10918_1", "ISO_10918_1"], content.LossySteps.Select(step => step.Method));
                Assert.Equal((decimal)width * height * content.SamplesPerPixel / content.StreamLength, content.LossySteps[1].Ratio);
            }

            // And in any case the upright picture that Pillow shows of the camera's file; a noisy picture at quality 75 leaves a second compression little to lose.
            (double Mean, int Greatest) difference = (await StillRig.CompareAsync(path, stream))!.Value;
            Assert.True(difference.Mean < 2, $"orientation {orientation}: {difference}");
        }
    }

    [Fact]
    public async Task A_large_picture_that_would_be_compressed_again_goes_in_uncompressed_instead()
    {
        // An encoder that makes its tables for the picture keeps all coefficients: 10 bytes a pixel with the picture itself, which 96 MiB do not hold here.
        string drawn = await tools.DrawAsync(3_700, 2_800, "-sample", "2x2");
        string path = rig.Turned(drawn, 8);

        StillContent content = rig.Make(path);

        Assert.Equal((3_700, 2_800, 3_700L * 2_800 * 3), (content.Rows, content.Columns, content.Native!.Length));
        Assert.Single(content.LossySteps);
        Assert.False(content.Derivation!.PixelsChanged);
    }

    [Theory]
    [InlineData("-rgb", 1)]
    [InlineData("-rgb", 6)]
    [InlineData("-rgb -progressive", 3)]
    [InlineData("-quality 5 -sample 1x1", 1)]
    [InlineData("-quality 5 -grayscale", 5)]
    public async Task What_a_JPEG_viewer_would_show_wrong_goes_in_uncompressed(string switches, int orientation)
    {
        string drawn = await tools.DrawAsync(61, 43, switches.Split(' '));
        string path = rig.Turned(drawn, orientation);
        (int columns, int rows, string mode, string sha256) = await StillRig.PillowAsync(path);

        StillContent content = rig.Make(path);

        byte[] samples = StillRig.Bytes(content.Native!)[..(int)content.StreamLength];
        Assert.Equal(sha256, Convert.ToHexStringLower(System.Security.Cryptography.SHA256.HashData(samples)));
        Assert.Equal((columns, rows, mode == "L" ? "MONOCHROME2" : "RGB"), (content.Columns, content.Rows, content.PhotometricInterpretation));
        // Once lossy, always lossy (PS3.3 section C.7.6.1.1.5), but no second step.
        Assert.Single(content.LossySteps);
        Assert.True(content.LossySteps[0].Ratio > 1);
        Assert.False(content.Derivation!.PixelsChanged);
    }

    [Theory]
    [InlineData("-arithmetic", "picture-other-process")]
    [InlineData("-arithmetic -progressive", "picture-other-process")]
    public async Task Other_processes_are_held(string switches, string code)
    {
        Assert.Equal(code, rig.HoldCode(await tools.DrawAsync(40, 40, switches.Split(' '))));
    }

    [Theory]
    [InlineData("-progressive", 1)]
    [InlineData("-progressive", 6)]
    [InlineData("-progressive -rgb", 1)]
    [InlineData("-sample 2x2", 6)]
    [InlineData("-sample 2x2", 5)]
    public async Task Half_a_picture_is_never_filed(string switches, int orientation)
    {
        byte[] whole = await File.ReadAllBytesAsync(rig.Turned(await tools.DrawAsync(101, 83, switches.Split(' ')), orientation), TestContext.Current.CancellationToken);
        foreach (int length in Enumerable.Range(1, 40).Select(i => whole.Length * i / 41))
        {
            Assert.True(rig.Prepare(rig.Write("cut.jpg", whole[..length])) is ContentOutcome.Held, $"cut at {length}");
            Assert.True(rig.Prepare(rig.Write("closed.jpg", [.. whole[..length], 0xFF, 0xD9])) is ContentOutcome.Held, $"cut at {length} and closed");
        }

        Assert.Empty(rig.Spooled());
    }

    [Fact]
    public async Task Only_the_first_picture_of_several_is_filed_and_the_note_says_so()
    {
        byte[] first = await File.ReadAllBytesAsync(await tools.DrawAsync(32, 32), TestContext.Current.CancellationToken);
        byte[] second = await File.ReadAllBytesAsync(await tools.DrawAsync(16, 16), TestContext.Current.CancellationToken);

        StillContent both = rig.Make(rig.Write("two.jpg", [.. first, .. second]));
        StillContent trailed = rig.Make(rig.Write("trailer.jpg", [.. first, .. "maker's data"u8]));

        Assert.Equal((32, 32), (both.Columns, both.Rows));
        Assert.Contains(both.Notes, note => note.Contains("first one is filed", StringComparison.Ordinal));
        Assert.Contains("12 bytes", Assert.Single(trailed.Notes), StringComparison.Ordinal);
        Assert.Equal(both.StreamLength, trailed.StreamLength);
    }

    [Fact]
    public async Task The_same_file_prepared_again_is_the_same_file_in_the_spool()
    {
        string path = await tools.DrawAsync(64, 64, "-progressive");

        StillContent first = rig.Make(path);
        StillContent again = rig.Make(path);

        Assert.Equal(first.Fragments[0].Pieces[0].Path, again.Fragments[0].Pieces[0].Path);
        Assert.Single(rig.Spooled());
    }

    [Fact]
    public async Task Changed_progressive_files_are_prepared_or_held_and_nothing_else()
    {
        byte[][] seeds =
        [
            await File.ReadAllBytesAsync(await tools.DrawAsync(40, 24, "-progressive"), TestContext.Current.CancellationToken),
            await File.ReadAllBytesAsync(rig.Turned(await tools.DrawAsync(40, 24, "-progressive", "-sample", "2x1", "-restart", "2B"), 6), TestContext.Current.CancellationToken),
            await File.ReadAllBytesAsync(rig.Turned(await tools.DrawAsync(41, 24, "-sample", "1x1"), 8), TestContext.Current.CancellationToken),
        ];
        var random = new Random(20261125);
        int made = 0;
        for (int i = 0; i < 600; i++)
        {
            byte[] file = [.. seeds[i % seeds.Length]];
            for (int changes = random.Next(1, 4); changes > 0; changes--)
            {
                file[random.Next(file.Length)] ^= (byte)(1 << random.Next(8));
            }

            made += rig.Prepare(rig.Write("changed.jpg", file)) is ContentOutcome.Made ? 1 : 0;
        }

        Assert.InRange(made, 1, 599);
    }
}
