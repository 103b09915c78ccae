using SkiaSharp;

namespace CameraBridge.Commands.Cards;

/// <summary>The typefaces that the program brings, since the machine that prints cards may have none.</summary>
internal static class CardFonts
{
    public static SKTypeface Regular { get; } = Load("DejaVuSansCondensed.ttf");

    public static SKTypeface Bold { get; } = Load("DejaVuSansCondensed-Bold.ttf");

    /// <summary>A font whose letters stand where their outlines say, not on whole units, which are millimetres here.</summary>
    public static SKFont Of(SKTypeface typeface, float size) => new(typeface, size) { Subpixel = true, LinearMetrics = true, Hinting = SKFontHinting.None };

    private static SKTypeface Load(string name)
    {
        using Stream stream = typeof(CardFonts).Assembly.GetManifestResourceStream($"CameraBridge.Commands.Cards.fonts.{name}")!;
        return SKTypeface.FromStream(stream);
    }
}
