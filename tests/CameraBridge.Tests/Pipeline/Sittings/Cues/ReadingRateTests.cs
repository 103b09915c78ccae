using System.Collections.Concurrent;
using CameraBridge.Pipeline.Sittings.Cues;
using CameraBridge.Pipeline.Sittings.Cues.Codes;
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
}
