using System.Text.Json;
using CameraBridge.Dicom.Bitstreams;
using MetadataExtractor;
using MetadataExtractor.Formats.Exif;
using Xunit;

namespace CameraBridge.Tests.Dicom.Bitstreams;

/// <summary>The readers against real photographs, beside Pillow (libjpeg) and MetadataExtractor, which read the same files on their own.</summary>
public sealed class PhotographTests
{
    /// <summary>
    /// Files that Pillow shows although their scans do not decode: libjpeg says "Corrupt JPEG data: 1214 extraneous bytes before marker 0xd0" of the
    /// first, and paints grey where the data fail.
    /// </summary>
    private static readonly string[] DamagedThoughShown = ["hopper_bad_exif.jpg"];

    [Fact]
    public async Task What_is_taken_as_whole_and_baseline_is_so_for_Pillow_too()
    {
        IReadOnlyList<string> photographs = Photographs.All();
        IReadOnlyDictionary<string, JsonElement> pillow = await Photographs.JudgeAsync("pictures", photographs);
        var disagreements = new List<string>();
        int taken = 0;
        foreach (string path in photographs)
        {
            JsonElement facts = pillow[path];
            bool fits = facts.GetProperty("jpeg").GetBoolean() && facts.GetProperty("decodes").GetBoolean()
                && facts.GetProperty("sof") is { ValueKind: JsonValueKind.Number } sof && sof.GetInt32() == 0
                && facts.GetProperty("components").GetInt32() is 1 or 3
                && !DamagedThoughShown.Contains(Path.GetFileName(path));
            JpegRefusal? refusal = JpegBaseline.Judge(JpegHeader.ReadFile(path));
            taken += refusal is null ? 1 : 0;
            if (fits != refusal is null)
            {
                disagreements.Add($"{path}: {refusal?.Text ?? "taken"}");
            }
        }

        Assert.True(disagreements.Count == 0, string.Join("\n", disagreements));
        Assert.True(taken >= 250, $"only {taken} photographs");
    }

    [Theory]
    [InlineData("skimage/data/retina.jpg", null)]
    [InlineData("skimage/data/truncated.jpg", JpegObstacle.Torn)]
    [InlineData("test-suite/images/truncated.jpg", JpegObstacle.Torn)]
    [InlineData("Tests/images/truncated_jpeg.jpg", JpegObstacle.Torn)]
    [InlineData("Tests/images/hopper_bad_exif.jpg", JpegObstacle.Damaged)]
    [InlineData("Tests/images/pil_sample_cmyk.jpg", JpegObstacle.Cmyk)]
    [InlineData("Tests/images/hopper_16bit_qtables.jpg", JpegObstacle.Extended)]
    [InlineData("testimages/testorig12.jpg", JpegObstacle.Extended)]
    [InlineData("testimages/testimgari.jpg", JpegObstacle.OtherProcess)]
    [InlineData("Tests/images/icc_profile_big.jpg", JpegObstacle.Progressive)]
    [InlineData("Tests/images/junk_jpeg_header.jpg", null)]
    [InlineData("Tests/images/jpeg_ff00_header.jpg", null)]
    [InlineData("Tests/images/sugarshack_bad_mpo_header.jpg", null)]
    [InlineData("Tests/images/app13.jpg", null)]
    public void Known_files_are_taken_or_refused_for_their_own_reason(string end, JpegObstacle? obstacle)
    {
        string path = Assert.Single(Photographs.All(), path => path.EndsWith(end, StringComparison.Ordinal));

        Assert.Equal(obstacle, JpegBaseline.Judge(JpegHeader.ReadFile(path))?.Obstacle);
    }

    [Fact]
    public void Exif_is_read_as_MetadataExtractor_reads_it()
    {
        int compared = 0;
        var disagreements = new List<string>();
        foreach (string path in Photographs.All())
        {
            JpegHeader header = JpegHeader.ReadFile(path);
            if (JpegBaseline.Judge(header) is not null || header.Exif.IsEmpty || Directories(path) is not { } directories)
            {
                continue;
            }

            Exif exif = Exif.Read(header.Exif.Span);
            ExifIfd0Directory? main = directories.OfType<ExifIfd0Directory>().FirstOrDefault();
            ExifSubIfdDirectory? detail = directories.OfType<ExifSubIfdDirectory>().FirstOrDefault();
            int? orientation = main?.TryGetInt32(ExifDirectoryBase.TagOrientation, out int value) == true && value is >= 1 and <= 8 ? value : null;
            Compare("orientation", orientation, exif.Orientation);
            Compare("make", Text(main?.GetString(ExifDirectoryBase.TagMake)), exif.Make);
            Compare("model", Text(main?.GetString(ExifDirectoryBase.TagModel)), exif.Model);
            DateTime? original = detail?.TryGetDateTime(ExifDirectoryBase.TagDateTimeOriginal, out DateTime time) == true ? time : null;
            Compare("original", original, exif.Original is { } own ? own.Local.AddTicks(-(own.Local.Ticks % TimeSpan.TicksPerSecond)) : null);
            compared++;

            void Compare(string what, object? theirs, object? ours)
            {
                if (!Equals(theirs, ours))
                {
                    disagreements.Add($"{path} {what}: {theirs} <> {ours}");
                }
            }
        }

        Assert.True(disagreements.Count == 0, string.Join("\n", disagreements));
        Assert.True(compared > 100, $"only {compared} files compared");
    }

    private static IReadOnlyList<MetadataExtractor.Directory>? Directories(string path)
    {
        try
        {
            return ImageMetadataReader.ReadMetadata(path);
        }
        catch (Exception error) when (error is ImageProcessingException or IOException)
        {
            return null;
        }
    }

    private static string? Text(string? text) => text?.Split('\0')[0].Trim() is { Length: > 0 } trimmed ? trimmed : null;
}
