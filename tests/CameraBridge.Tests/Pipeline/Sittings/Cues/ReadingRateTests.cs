using System.Collections.Concurrent;
using CameraBridge.Pipeline.Sittings.Cues;
using CameraBridge.Pipeline.Sittings.Cues.Codes;
using CameraBridge.Tests.Dicom.Bitstreams;
using CameraBridge.Tests.Pipeline.Sittings.Cues.Scenes;
using SkiaSharp;
using Xunit;
using ZXing;

namespace CameraBridge.Tests.Pipeline.Sittings.Cues;

/// <summary>
/// Photographed codes drawn from a seed, small series of what the benchmark "reading" measures in thousands: slanted, out of focus, noisy, under glare,
/// in the round picture of an optic, as JPEG of quality 60 to 90. No source for the rates: they are what the site is promised. A code fills a third of
/// the picture's shorter side at least; a narrow bar is 3 pixels at least.
/// </summary>
public sealed class ReadingRateTests
{
    private static readonly SceneRecipe Together = new()
    {
        Tilt = new(0, 35),
        Blur = new(0.5, 2),
        Noise = new(2, 12),
        Glare = new(0, 0.6),
        Vignette = new(0.85, 1),
    };

    /// <summary>Scenes that a search of the whole picture with the library's own reader read, and this program did not at some time.</summary>
    private static readonly Dictionary<string, SceneSettings> OnceLost = new(StringComparer.Ordinal)
    {
        ["a finder pattern under glare"] = new() { Seed = 8151616, Text = "6301414302", Fill = 0.385, Tilt = 2.3, TiltTowards = 17, Roll = -175.6, OffX = 0.24, OffY = 0.3, Blur = 1.66, Noise = 13.7, Glare = 0.65, Vignette = 0.976, Quality = 77 },
        ["a Data Matrix whose alternating sides look longer than the solid ones"] = new() { Seed = 7832840, Width = 1280, Height = 960, Symbology = BarcodeFormat.DATA_MATRIX, Text = "P91173652", Fill = 0.527, Tilt = 34.6, TiltTowards = 91.8, Roll = -61.5, OffX = -0.8, OffY = -0.8, Blur = 1.24, Noise = 12.8, Glare = 0.8, Vignette = 0.968, Quality = 83 },
        ["three marks among many in the noise, looked at aslant"] = new() { Seed = 39655607, Text = "2826640^HOSPITAL^20030708", Fill = 0.36020252807075276, Tilt = 43.1206203, TiltTowards = 298.2623766820237, Roll = 137.74448050081008, OffX = 0.14571208932702984, OffY = 0.369164763656056, Blur = 1.308547872727992, Noise = 19.338783593540445, Glare = 0.20031520640492215, Vignette = 0.8885602620842681, Quality = 88 },
        ["bars out of focus"] = new() { Seed = 41815462, Symbology = BarcodeFormat.CODE_128, Text = "P88412952", Fill = 0.3515930877773059, Tilt = 0.033, TiltTowards = 31, Roll = 78.43751472348231, OffX = 0.048155650053245846, OffY = 0.924958839046284, Blur = 1.5692432530081102, Noise = 13.745661700957296, Glare = 0.6825758985628262, Quality = 87 },
        ["bars whose print hides how they lie"] = new() { Seed = 5314582, Width = 1280, Height = 960, Symbology = BarcodeFormat.CODE_128, Text = "P20875093", Fill = 0.475, Tilt = 8.6, TiltTowards = 40.4, Roll = 167.8, OffX = -0.32, OffY = 0.05, Blur = 0.44, Noise = 1.9, Glare = 0.4, Vignette = 0.948, Quality = 83 },
    };

    [Theory]
    [InlineData(BarcodeFormat.QR_CODE, 30, 30)]
    [InlineData(BarcodeFormat.CODE_128, 30, 28)]
    [InlineData(BarcodeFormat.DATA_MATRIX, 30, 27)]
    public void So_many_are_read_with_everything_against_them_and_none_wrongly(BarcodeFormat symbology, int count, int atLeast)
    {
        SceneRecipe recipe = Together with { Symbology = symbology };
        if (symbology == BarcodeFormat.CODE_128)
        {
            recipe = recipe with { Fill = default, Narrow = new(3, 5), Blur = new(0.25, 1) };
        }

        int read = Read(recipe, 3, count).Count(pair => pair.Reading.Texts.Contains(pair.Scene.Settings.Text));

        Assert.True(read >= atLeast, $"{read} of {count} were read.");
    }

    [Theory]
    [InlineData("a finder pattern under glare")]
    [InlineData("a Data Matrix whose alternating sides look longer than the solid ones")]
    [InlineData("three marks among many in the noise, looked at aslant")]
    [InlineData("bars out of focus")]
    [InlineData("bars whose print hides how they lie")]
    public void What_was_lost_once_is_read(string what)
    {
        SceneSettings settings = OnceLost[what];
        using SKData data = SKData.CreateCopy(CodeScene.Draw(settings).File);

        Assert.Equal(settings.Text, Assert.Single(new LabelReader().Read(data).Texts));
    }

    /// <summary>
    /// Hard scenes that the same readers found without a screen before them, or with ink of another reach, and the program did not at some time: of every symbology, in the halved,
    /// the small and the fine picture.
    /// </summary>
    [Theory]
    [InlineData(7, 320)]
    [InlineData(7, 1337)]
    [InlineData(7, 294)]
    [InlineData(7, 861)]
    [InlineData(7, 942)]
    [InlineData(7, 969)]
    [InlineData(7, 1068)]
    [InlineData(7, 172)]
    [InlineData(7, 1134)]
    [InlineData(7, 1377)]
    [InlineData(5, 401)]
    [InlineData(5, 4019)]
    [InlineData(8, 1202)]
    [InlineData(5, 1221)]
    [InlineData(8, 170)]
    [InlineData(5, 790)]
    [InlineData(5, 4993)]
    [InlineData(5, 1)]
    [InlineData(5, 4618)]
    [InlineData(5, 1431)]
    [InlineData(5, 2754)]
    [InlineData(8, 9)]
    [InlineData(14, 1122)]
    public void What_the_screen_once_passed_over_is_read(int seed, int number) => AssertReadOnce(seed, number);

    /// <summary>Found by the halved picture and again in a part of the small one; by three marks and again by others of the same.</summary>
    [Theory]
    [InlineData(116)]
    [InlineData(117)]
    [InlineData(154)]
    [InlineData(169)]
    [InlineData(333)]
    public void A_code_that_several_looks_find_is_one(int number) => AssertReadOnce(9, number);

    [Theory]
    [InlineData(7, 1435)]
    [InlineData(9, 121)]
    [InlineData(9, 482)]
    public void Bars_that_were_found_and_not_read_are_read_by_their_edges_in_the_fine_picture(int seed, int number) => AssertReadOnce(seed, number);

    [Fact]
    public void Corners_are_found_to_a_third_of_a_pixel_whatever_the_slant()
    {
        foreach ((CodeScene scene, LabelReading reading) in Read(Together with { Vignette = default }, 5, 12))
        {
            FoundCode code = Assert.Single(reading.Codes);
            Assert.Equal(BarcodeFormat.QR_CODE, code.Symbology);
            for (int corner = 0; corner < 4; corner++)
            {
                Assert.InRange(code.Corners[corner].X - scene.Corners[corner].X, -0.34, 0.34);
                Assert.InRange(code.Corners[corner].Y - scene.Corners[corner].Y, -0.34, 0.34);
            }
        }
    }

    [Fact]
    public void The_same_seed_draws_the_same_file()
    {
        Assert.Equal(CodeScene.Draw(Together.Draw(7, 3)).File, CodeScene.Draw(Together.Draw(7, 3)).File);
        Assert.NotEqual(CodeScene.Draw(Together.Draw(7, 3)).File, CodeScene.Draw(Together.Draw(8, 3)).File);
    }

    /// <summary>Draws and reads a series; a text that no scene bears fails at once.</summary>
    private static ConcurrentBag<(CodeScene Scene, LabelReading Reading)> Read(SceneRecipe recipe, int seed, int count)
    {
        var pairs = new ConcurrentBag<(CodeScene Scene, LabelReading Reading)>();
        Parallel.For(0, count, number =>
        {
            CodeScene scene = CodeScene.Draw(recipe.Draw(seed, number));
            using SKData data = SKData.CreateCopy(scene.File);
            LabelReading reading = new LabelReader().Read(data);
            Assert.All(reading.Texts, text => Assert.Equal(scene.Settings.Text, text));
            pairs.Add((scene, reading));
        });
        return pairs;
    }

    /// <summary>
    /// More stark parts than are looked at lie behind the label; no part is stark; the field of bars reaches out of the part that is; ink is told from what lies farther.
    /// </summary>
    [Theory]
    [InlineData(11, 3785, "rotation/4.jpg")]
    [InlineData(14, 478, "short-ascii-MM.jpg")]
    [InlineData(14, 356, "Tests/Data/nikonMakernoteType2b.jpg")]
    [InlineData(14, 2580, "example/Bloated-Hero.jpg")]
    public void Codes_before_a_busy_background_are_read(int seed, int number, string background) =>
        AssertReadOnce(seed, number, Photographs.All().First(path => path.EndsWith(background, StringComparison.Ordinal)));

    private static void AssertReadOnce(int seed, int number, params string[] backgrounds)
    {
        CodeScene scene = CodeScene.Draw((SceneRecipe.Hard(number) with { Backgrounds = backgrounds }).Draw(seed, number));
        using SKData data = SKData.CreateCopy(scene.File);

        Assert.Equal(scene.Settings.Text, Assert.Single(new LabelReader().Read(data).Codes).Text);
    }
}
