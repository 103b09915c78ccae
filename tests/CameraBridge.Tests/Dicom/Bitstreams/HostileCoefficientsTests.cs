using System.Diagnostics;
using System.Text.RegularExpressions;
using CameraBridge.Dicom.Bitstreams;
using Xunit;

namespace CameraBridge.Tests.Dicom.Bitstreams;

/// <summary>Seeded changes to progressive and sequential files that are rewritten from their coefficients.</summary>
public sealed partial class HostileCoefficientsTests : IDisposable
{
    private const int Cases = 20_000;

    private static readonly string[] Kinds =
    [
        "-progressive", "-progressive -sample 1x1", "-progressive -sample 2x1 -restart 1", "-progressive -grayscale", "-progressive -optimize -quality 95",
        "-sample 2x2", "-sample 1x2 -restart 1B", "-grayscale -optimize",
    ];

    private readonly JpegTools tools = new();

    public void Dispose() => tools.Dispose();

    [Fact]
    public async Task Changed_files_are_rewritten_or_refused_quickly_and_without_an_exception()
    {
        List<byte[]> seeds = await SeedsAsync();
        var random = new Random(20261125);
        var longest = TimeSpan.Zero;
        int rewritten = 0;
        long before = GC.GetAllocatedBytesForCurrentThread();
        for (int i = 0; i < Cases; i++)
        {
            using var file = new MemoryStream(Change(seeds[i % seeds.Count], random, random.Next(1, 6)));
            long start = Stopwatch.GetTimestamp();
            rewritten += Rewrite(file) is not null ? 1 : 0;
            TimeSpan took = Stopwatch.GetElapsedTime(start);
            longest = took > longest ? took : longest;
        }

        // The window, the tables and the written stream; a length that a file claims gets no memory from the collected heap.
        Assert.InRange((GC.GetAllocatedBytesForCurrentThread() - before) / Cases, 0, 600_000);
        Assert.True(longest < TimeSpan.FromSeconds(5), $"one file took {longest}");
        Assert.InRange(rewritten, Cases / 100, Cases);
    }

    /// <summary>What djpeg calls corrupt must not pass for whole, and what passes must be what djpeg shows.</summary>
    [Fact]
    public async Task What_is_rewritten_shows_the_pixels_that_djpeg_shows_of_the_changed_file()
    {
        List<byte[]> seeds = await SeedsAsync();
        var random = new Random(5);
        var wrong = new List<string>();
        int compared = 0;
        for (int i = 0; i < 2_500 && compared < 200; i++)
        {
            byte[] changed = Change(seeds[i % seeds.Count], random, 1);
            using var file = new MemoryStream(changed);
            if (Rewrite(file) is not { } rewritten)
            {
                continue;
            }

            compared++;
            string one = tools.NewPath(".jpg");
            string other = tools.NewPath(".jpg");
            await File.WriteAllBytesAsync(one, changed, TestContext.Current.CancellationToken);
            await File.WriteAllBytesAsync(other, rewritten, TestContext.Current.CancellationToken);
            string complaint = await tools.ComplaintAsync(one);
            if (complaint.Length > 0 && !Harmless().IsMatch(complaint))
            {
                wrong.Add($"change {i} of {Kinds[i % seeds.Count]}: {complaint}");
            }
            else if ((complaint.Length == 0 || complaint.StartsWith("Corrupt", StringComparison.Ordinal)) && !await tools.ShowTheSameAsync(one, other))
            {
                wrong.Add($"change {i}: other pixels");
            }

            tools.Clear();
        }

        Assert.True(wrong.Count == 0, string.Join("\n", wrong));
        Assert.True(compared >= 100, $"only {compared}");
    }

    /// <summary>Of what is looked at, too, nothing may pass for whole that djpeg calls corrupt; and no change may do more than make it refused.</summary>
    [Fact]
    public async Task The_luminance_of_changed_files_is_decoded_or_refused_as_djpeg_judges_them()
    {
        List<byte[]> seeds = await SeedsAsync();
        var random = new Random(7);
        var wrong = new List<string>();
        int decoded = 0;
        byte[] grey = new byte[45 * 37];
        for (int i = 0; i < Cases; i++)
        {
            byte[] changed = Change(seeds[i % seeds.Count], random, random.Next(1, 3));
            using var file = new MemoryStream(changed);
            if (!JpegLuminance.TryDecode(file, 45, 37, grey) || ++decoded > 150)
            {
                continue;
            }

            string path = tools.NewPath(".jpg");
            await File.WriteAllBytesAsync(path, changed, TestContext.Current.CancellationToken);
            string complaint = await tools.ComplaintAsync(path);
            if (complaint.Length > 0 && !Harmless().IsMatch(complaint))
            {
                wrong.Add($"change {i} of {Kinds[i % seeds.Count]}: {complaint}");
            }

            tools.Clear();
        }

        Assert.True(wrong.Count == 0, string.Join("\n", wrong));
        Assert.True(decoded >= 500, $"only {decoded}");
    }

    /// <summary>Stray bytes before a segment that is no scan's end, on which no pixel depends; and what libjpeg alone does not do, be it used or not.</summary>
    [GeneratedRegex("^(Corrupt JPEG data: [0-9]+ extraneous bytes before marker 0x(c0|c2|c4|da|db|dd|e.)|Bogus Huffman table definition|Fractional sampling not implemented yet|Unsupported marker type.*|Warning: unknown JFIF revision.*)$")]
    private static partial Regex Harmless();

    private async Task<List<byte[]>> SeedsAsync()
    {
        var seeds = new List<byte[]>();
        foreach (string kind in Kinds)
        {
            seeds.Add(await File.ReadAllBytesAsync(await tools.DrawAsync(45, 37, kind.Split(' ')), TestContext.Current.CancellationToken));
        }

        return seeds;
    }

    private static byte[]? Rewrite(MemoryStream file)
    {
        JpegHeader header = JpegHeader.Read(file);
        using JpegCoefficients? coefficients = JpegCoefficients.Read(header, file, out JpegRefusal? refusal, TestContext.Current.CancellationToken);
        Assert.True(coefficients is null == refusal is not null);
        using var target = new MemoryStream();
        JpegOrientation orientation = JpegOrientation.Of(1);
        return coefficients?.WriteBaseline(target, orientation, out _, TestContext.Current.CancellationToken) is null && coefficients is not null ? target.ToArray() : null;
    }

    private static byte[] Change(byte[] seed, Random random, int changes)
    {
        var file = new List<byte>(seed);
        for (; changes > 0; changes--)
        {
            int at = random.Next(2, file.Count);
            switch (random.Next(5))
            {
                case 0:
                    file.RemoveRange(at, Math.Min(random.Next(1, 40), file.Count - at));
                    break;
                case 1:
                    file.InsertRange(at, file.GetRange(at, Math.Min(random.Next(1, 40), file.Count - at)));
                    break;
                case 2:
                    file[at] = (byte)(random.Next(2) * 255);
                    break;
                default:
                    file[at] ^= (byte)(1 << random.Next(8));
                    break;
            }

            if (file.Count < 4)
            {
                break;
            }
        }

        return [.. file];
    }
}
