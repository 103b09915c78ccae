using CameraBridge.Pipeline.Sittings.Cues;
using CameraBridge.Pipeline.Sittings.Cues.Cards;
using CameraBridge.Pipeline.Sittings.Cues.Codes;
using CameraBridge.Tests.Pipeline.Sittings.Cues.Scenes;
using SkiaSharp;
using Xunit;

namespace CameraBridge.Tests.Pipeline.Sittings.Cues.Cards;

/// <summary>
/// Scale cards drawn through a pinhole camera (<see cref="SceneCamera"/>), whose spacing in the plane that faces it is distance by focal length: what is
/// measured in the JPEG file is held against that.
/// </summary>
public sealed class ScaleMeasureTests
{
    private static readonly SceneRecipe Cards = new()
    {
        Fill = new(0.25, 0.7),
        Tilt = new(0, 12),
        Blur = new(0.4, 1.6),
        Noise = new(2, 8),
        Glare = new(0, 0.4),
        Width = 1632,
        Height = 1224,
    };

    [Fact]
    public void The_spacing_is_right_to_one_per_cent_and_within_its_uncertainty()
    {
        Parallel.For(0, 16, number =>
        {
            SceneSettings settings = Cards.Draw(11, number) with { Text = CardText.Write(new CardCue(CardKeys.Scale, "500")), Millimetres = 50 };
            CodeScene scene = CodeScene.Draw(settings);

            (ScaleMeasure? measure, string? refusal) = Measure(scene, 50);

            Assert.Null(refusal);
            Assert.InRange(measure!.Spacing / scene.Spacing, 0.99, 1.01);
            Assert.InRange(Math.Abs((measure.Spacing / scene.Spacing) - 1), 0, 2 * measure.Uncertainty);
            Assert.InRange(measure.Tilt, settings.Tilt - 2.5, settings.Tilt + 2.5);
            Assert.Equal((1632, 1224), (measure.Columns, measure.Rows));
        });
    }

    [Theory]
    [InlineData(25, 0.5, 1, "tilted")]
    [InlineData(0, 0.06, 0.4, "too small")]
    public void A_card_that_lies_askew_or_far_off_is_refused(double tilt, double fill, double blur, string why)
    {
        CodeScene scene = CodeScene.Draw(new SceneSettings { Text = CardText.Write(new CardCue(CardKeys.Scale, "500")), Millimetres = 50, Tilt = tilt, Fill = fill, Blur = blur, Noise = 1 });

        (ScaleMeasure? measure, string? refusal) = Measure(scene, 50);

        Assert.Null(measure);
        Assert.Contains(why, refusal!, StringComparison.Ordinal);
    }

    [Fact]
    public void A_code_whose_edges_lie_badly_is_refused()
    {
        CodeScene scene = CodeScene.Draw(Cards.Draw(11, 1) with { Text = CardText.Write(new CardCue(CardKeys.Scale, "500")) });
        Look(scene, out FoundCode code);

        Assert.Contains("flat", ScaleMeasure.Of(code with { Place = code.Place! with { Residual = 3 } }, 50, 1632, 1224).Refusal!, StringComparison.Ordinal);
        Assert.Contains("edges", ScaleMeasure.Of(code with { Place = null }, 50, 1632, 1224).Refusal!, StringComparison.Ordinal);
    }

    [Fact]
    public void The_form_that_the_state_keeps_is_read_back()
    {
        var measure = new ScaleMeasure(0.071234567891, 0.0061, 3.25, 1920, 1080);

        Assert.Equal(measure, ScaleMeasure.FromText(measure.ToText()));
        Assert.Null(ScaleMeasure.FromText(null));
        Assert.Throws<FormatException>(() => ScaleMeasure.FromText("0.07 0.006"));
    }

    private static (ScaleMeasure? Measure, string? Refusal) Measure(CodeScene scene, double printed)
    {
        LabelReading reading = Look(scene, out FoundCode code);
        return ScaleMeasure.Of(code, printed, reading.Columns, reading.Rows);
    }

    private static LabelReading Look(CodeScene scene, out FoundCode code)
    {
        using SKData data = SKData.CreateCopy(scene.File);
        LabelReading reading = new LabelReader().Read(data);
        code = Assert.Single(reading.Codes);
        Assert.Equal(scene.Settings.Text, code.Text);
        return reading;
    }
}
