using System.Globalization;
using ZXing;

namespace CameraBridge.Tests.Pipeline.Sittings.Cues.Scenes;

/// <summary>A range to draw from, evenly: "0.3..0.6", or one number.</summary>
public readonly record struct Extent(double From, double To)
{
    /// <summary>Reads the text form.</summary>
    /// <exception cref="System.FormatException">It is neither a number nor two with two dots between.</exception>
    public static Extent Parse(string text)
    {
        string[] ends = text.Split("..");
        double from = double.Parse(ends[0], CultureInfo.InvariantCulture);
        return new Extent(from, ends.Length == 1 ? from : double.Parse(ends[1], CultureInfo.InvariantCulture));
    }

    public double Draw(Random random) => From + ((To - From) * random.NextDouble());
}

/// <summary>What scenes are drawn from: a range for each setting. Scene number n of a seed is always the same.</summary>
public sealed record SceneRecipe
{
    public BarcodeFormat Symbology { get; init; } = BarcodeFormat.QR_CODE;

    public int Width { get; init; } = 1920;

    public int Height { get; init; } = 1080;

    /// <summary>0: by <see cref="Narrow"/>.</summary>
    public Extent Fill { get; init; } = new(0.34, 0.8);

    public Extent Narrow { get; init; } = new(3, 6);

    public Extent Tilt { get; init; }

    public Extent Roll { get; init; } = new(-180, 180);

    public Extent Blur { get; init; } = new(0.5, 0.5);

    public Extent Noise { get; init; } = new(2, 2);

    public Extent Glare { get; init; }

    public Extent Vignette { get; init; }

    public Extent Quality { get; init; } = new(60, 90);

    /// <summary>Photographs to lay cards on, in turns with drawn skin.</summary>
    public IReadOnlyList<string> Backgrounds { get; init; } = [];

    /// <summary>What scene number n of the hard ones is drawn from: symbologies and sizes in turns, small codes among them, with everything against them.</summary>
    public static SceneRecipe Hard(int number)
    {
        (int width, int height) = (number % 3) switch { 0 => (640, 480), 1 => (1280, 960), _ => (1920, 1080) };
        return new SceneRecipe
        {
            Symbology = (number / 3 % 3) switch { 0 => BarcodeFormat.QR_CODE, 1 => BarcodeFormat.CODE_128, _ => BarcodeFormat.DATA_MATRIX },
            Width = width,
            Height = height,
            Fill = new(0.08, 0.6),
            Tilt = new(0, 45),
            Blur = new(0, 2),
            Noise = new(0, 20),
            Glare = new(0, 1),
            Vignette = number % 2 == 0 ? new(0.85, 1) : default,
        };
    }

    /// <summary>The settings of one scene.</summary>
    /// <param name="seed">Of the whole series.</param>
    /// <param name="number">Of the scene in it, from 0.</param>
    public SceneSettings Draw(int seed, int number)
    {
        int own = unchecked((seed * 1_000_003) + (number * 7919) + (int)Symbology);
        var random = new Random(own);
        return new SceneSettings
        {
            Seed = own,
            Width = Width,
            Height = Height,
            Symbology = Symbology,
            Text = DrawText(random),
            Fill = Fill.Draw(random),
            Narrow = Narrow.Draw(random),
            Tilt = Tilt.Draw(random),
            TiltTowards = random.NextDouble() * 360,
            Roll = Roll.Draw(random),
            OffX = (random.NextDouble() * 2) - 1,
            OffY = (random.NextDouble() * 2) - 1,
            Blur = Blur.Draw(random),
            Noise = Noise.Draw(random),
            Glare = Glare.Draw(random),
            Vignette = Vignette.Draw(random),
            Quality = (int)Math.Round(Quality.Draw(random)),
            Background = Backgrounds.Count > 0 && random.Next(2) == 0 ? Backgrounds[random.Next(Backgrounds.Count)] : null,
        };
    }

    /// <summary>A patient's ID as sites print it: digits, letters and digits, or (in codes of modules) an ID with issuer and birth date.</summary>
    private string DrawText(Random random) => random.Next(Symbology == BarcodeFormat.CODE_128 ? 2 : 3) switch
    {
        0 => random.NextInt64(10_000_000, 9_999_999_999).ToString(CultureInfo.InvariantCulture),
        1 => $"P{random.Next(10_000_000, 99_999_999)}",
        _ => $"{random.Next(1_000_000, 9_999_999)}^HOSPITAL^{random.Next(1930, 2020)}{random.Next(1, 13):00}{random.Next(1, 29):00}",
    };
}
