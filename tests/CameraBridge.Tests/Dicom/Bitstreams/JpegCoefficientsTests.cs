using System.Buffers.Binary;
using CameraBridge.Dicom.Bitstreams;
using Xunit;

namespace CameraBridge.Tests.Dicom.Bitstreams;

/// <summary>
/// Pictures written anew from their coefficients, beside libjpeg-turbo: djpeg must show the very same pixels, and jpegtran -perfect must turn them to the same
/// picture, or refuse where the product does.
/// </summary>
public sealed class JpegCoefficientsTests : IDisposable
{
    /// <summary>Refinement of every band in small steps, out of the usual order: DC bits last, one component's bands split (wizard.txt of libjpeg gives the form).</summary>
    private const string OddScans = """
        0,1,2: 0-0, 0, 2;
        0: 1-9, 0, 3;
        2: 1-63, 0, 2;
        0: 10-63, 0, 1;
        1: 1-5, 0, 0;
        0: 1-9, 3, 2;
        2: 1-63, 2, 1;
        0,1,2: 0-0, 2, 1;
        1: 6-63, 0, 1;
        0: 1-9, 2, 1;
        0: 1-9, 1, 0;
        0: 10-63, 1, 0;
        2: 1-63, 1, 0;
        1: 6-63, 1, 0;
        0,1,2: 0-0, 1, 0;
        """;

    private readonly JpegTools tools = new();

    private static readonly (int Width, int Height)[] Sizes = [(96, 64), (101, 83), (64, 71), (83, 96), (8, 8), (1, 1), (17, 3)];

    public static TheoryData<string> Encodings { get; } =
    [
        "-sample 1x1", "-sample 2x1", "-sample 2x2", "-sample 1x2", "-sample 4x1", "-sample 4x2", "-sample 2x2,1x2,2x1", "-grayscale",
        "-grayscale -restart 1B", "-sample 2x2 -restart 3B", "-sample 2x1 -restart 1", "-sample 1x2 -restart 2 -progressive", "-progressive -sample 1x1",
        "-progressive -sample 2x1", "-progressive -sample 2x2", "-progressive -sample 1x2", "-progressive -grayscale", "-progressive -restart 5B",
        "-quality 5 -baseline", "-quality 100 -sample 1x1", "-progressive -quality 100", "-progressive -quality 3 -baseline", "-optimize", "-rgb", "-scans ODD", "-scans ODD -restart 2B",
        "-scans ODD -quality 98", "-scans SEPARATE", "-scans SEPARATE -sample 2x1 -restart 1",
    ];

    public void Dispose() => tools.Dispose();

    [Theory]
    [MemberData(nameof(Encodings))]
    public async Task A_drawn_picture_keeps_its_pixels_and_is_turned_as_jpegtran_turns_it(string switches)
    {
        foreach ((int width, int height) in Sizes)
        {
            string path = await tools.DrawAsync(width, height, await SwitchesAsync(switches));
            string shape = $"{switches}, {width} by {height}";
            for (int orientation = 1; orientation <= 8; orientation++)
            {
                string? reference = await tools.TransformAsync(path, orientation);
                bool fits = JpegOrientation.Of(orientation).FitsGridOf(JpegHeader.ReadFile(path));
                Assert.True(fits == reference is not null, $"{shape}: orientation {orientation} {(fits ? "fits" : "does not fit")} the grid");
                if (!fits)
                {
                    continue;
                }

                (string? turned, JpegRefusal? refusal) = tools.Rewrite(path, orientation);
                Assert.True(turned is not null, $"{shape}: {refusal?.Text}");
                bool same = await tools.ShowTheSameAsync(turned, orientation == 1 ? path : reference!);
                Assert.True(same, $"{shape}: orientation {orientation} has other pixels");
                JpegRefusal? judged = JpegBaseline.Judge(JpegHeader.ReadFile(turned));
                Assert.True(judged is null, $"{shape}: {judged?.Text}");
            }
        }
    }

    [Fact]
    public async Task Sampling_factors_that_are_all_doubled_make_no_difference()
    {
        // Twelve blocks do not fit into one MCU (ITU-T T.81 section B.2.3), so jpegtran cannot write this one; but it is the same picture as at 1x1.
        string doubled = await tools.DrawAsync(88, 72, "-scans", await ScriptAsync("0;\n1;\n2;\n"), "-sample", "2x2,2x2,2x2");
        string single = await tools.DrawAsync(88, 72, "-sample", "1x1");
        for (int orientation = 1; orientation <= 8; orientation++)
        {
            Assert.True(JpegOrientation.Of(orientation).FitsGridOf(JpegHeader.ReadFile(doubled)));
            string reference = (await tools.TransformAsync(single, orientation))!;
            Assert.True(await tools.ShowTheSameAsync(tools.Rewrite(doubled, orientation).Path!, reference), $"orientation {orientation} has other pixels");
        }
    }

    [Fact]
    public async Task Every_photograph_is_written_with_its_own_pixels_and_turned_as_jpegtran_turns_it()
    {
        var wrong = new List<string>();
        int written = 0;
        int turned = 0;
        int progressive = 0;
        foreach (string path in Photographs.All())
        {
            JpegHeader header = JpegHeader.ReadFile(path);
            (string? copy, JpegRefusal? refusal) = tools.Rewrite(path, 1);
            if (copy is null)
            {
                // What the judge of baseline files takes must be readable here, too; the rest must be no progressive picture that libjpeg finds whole.
                if (JpegBaseline.Judge(header) is null || (header.FrameMarker == 0xC2 && await tools.ComplaintAsync(path) is "" && refusal!.Obstacle != JpegObstacle.Cmyk))
                {
                    wrong.Add($"{path}: {refusal!.Text}");
                }

                continue;
            }

            written++;
            progressive += header.FrameMarker == 0xC2 ? 1 : 0;
            if (!await tools.ShowTheSameAsync(copy, path))
            {
                wrong.Add($"{path}: other pixels");
            }

            // Of the large ones two turns are enough: all eight are the same code.
            foreach (int orientation in header.Length < 100_000 ? Enumerable.Range(2, 7) : [5, 6])
            {
                string? reference = await tools.TransformAsync(path, orientation);
                bool fits = JpegOrientation.Of(orientation).FitsGridOf(header);
                if (fits != reference is not null)
                {
                    wrong.Add($"{path}: orientation {orientation} fits: {fits}");
                }
                else if (reference is not null)
                {
                    turned++;
                    if (!await tools.ShowTheSameAsync(tools.Rewrite(path, orientation).Path!, reference))
                    {
                        wrong.Add($"{path}: orientation {orientation} has other pixels");
                    }
                }
            }

            tools.Clear();
        }

        Assert.True(wrong.Count == 0, string.Join("\n", wrong));
        Assert.True(written >= 250 && turned >= 500 && progressive >= 5, $"only {written} photographs, {turned} turns, {progressive} progressive");
    }

    [Theory]
    [InlineData("-quality 5", JpegObstacle.Extended)]
    [InlineData("-arithmetic", JpegObstacle.OtherProcess)]
    [InlineData("-arithmetic -progressive", JpegObstacle.OtherProcess)]
    public async Task What_baseline_does_not_have_is_refused(string switches, JpegObstacle obstacle)
    {
        string path = await tools.DrawAsync(40, 40, switches.Split(' '));

        Assert.Equal(obstacle, tools.Rewrite(path, 1).Refusal?.Obstacle);
    }

    [Fact]
    public async Task A_progressive_file_cut_anywhere_and_closed_again_is_refused()
    {
        byte[] whole = await File.ReadAllBytesAsync(await tools.DrawAsync(101, 83, "-progressive"), TestContext.Current.CancellationToken);
        var taken = new List<int>();
        for (int length = 2; length < whole.Length - 3; length++)
        {
            using var cut = new MemoryStream([.. whole[..length], 0xFF, 0xD9]);
            using JpegCoefficients? coefficients = JpegCoefficients.Read(JpegHeader.Read(cut), cut, out JpegRefusal? refusal, TestContext.Current.CancellationToken);
            if (coefficients is not null)
            {
                taken.Add(length);
            }
            else
            {
                Assert.True(refusal!.Obstacle is JpegObstacle.Torn or JpegObstacle.Damaged or JpegObstacle.Malformed, $"{length}: {refusal.Obstacle}");
            }
        }

        // What is cut off then are bits of filling alone: no block misses them.
        Assert.True(taken.Count == 0, $"{string.Join(", ", taken)} of {whole.Length}");
    }

    [Fact]
    public void A_picture_beyond_the_memory_limit_is_refused_before_memory_is_taken()
    {
        // 65,000 by 65,000 at 4:4:4 would be 25 GB of coefficients.
        byte[] file = new TestJpeg { FrameMarker = 0xC2, Components = [(1, 0x11), (2, 0x11), (3, 0x11)] }.ToBytes();
        int frame = file.AsSpan().IndexOf((ReadOnlySpan<byte>)[0xFF, 0xC2]);
        BinaryPrimitives.WriteUInt16BigEndian(file.AsSpan(frame + 5), 65_000);
        BinaryPrimitives.WriteUInt16BigEndian(file.AsSpan(frame + 7), 65_000);
        using var stream = new MemoryStream(file);
        long before = Environment.WorkingSet;

        Assert.Null(JpegCoefficients.Read(JpegHeader.Read(stream), stream, out JpegRefusal? refusal, TestContext.Current.CancellationToken));

        Assert.Equal(JpegObstacle.TooLarge, refusal!.Obstacle);
        Assert.Contains("96 MiB", refusal.Text, StringComparison.Ordinal);
        Assert.InRange(Environment.WorkingSet - before, long.MinValue, 64L << 20);
    }

    private async Task<string[]> SwitchesAsync(string switches)
    {
        var words = new List<string>();
        foreach (string word in switches.Split(' '))
        {
            words.Add(word switch
            {
                "ODD" => await ScriptAsync(OddScans),
                "SEPARATE" => await ScriptAsync("0;\n1;\n2;\n"),
                _ => word,
            });
        }

        return [.. words];
    }

    private async Task<string> ScriptAsync(string text)
    {
        string path = tools.NewPath(".scans");
        await File.WriteAllTextAsync(path, text, TestContext.Current.CancellationToken);
        return path;
    }
}
