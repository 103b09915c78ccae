using SkiaSharp;
using ZXing;

namespace CameraBridge.Tests.Pipeline.Sittings.Cues.Scenes;

/// <summary>What one drawn scene is like: a card with one code on it, photographed by a camera without lens errors.</summary>
public sealed record SceneSettings
{
    public int Seed { get; init; } = 1;

    public int Width { get; init; } = 1920;

    public int Height { get; init; } = 1080;

    public BarcodeFormat Symbology { get; init; } = BarcodeFormat.QR_CODE;

    public string Text { get; init; } = "P100000007";

    /// <summary>Longer side of the code, without its quiet zone, as a share of the picture's shorter side; 0: by <see cref="Narrow"/>.</summary>
    public double Fill { get; init; } = 0.4;

    /// <summary>Width in pixels of the narrowest bar or module where it is smallest; counts where <see cref="Fill"/> is 0.</summary>
    public double Narrow { get; init; } = 3;

    /// <summary>Degrees between the card's normal and the line of sight.</summary>
    public double Tilt { get; init; }

    /// <summary>Degrees, in the plane of the card: towards where it is tilted.</summary>
    public double TiltTowards { get; init; }

    /// <summary>Degrees, clockwise, by which the card is turned in its plane.</summary>
    public double Roll { get; init; }

    /// <summary>How far off the middle, 0 to 1 of what room there is.</summary>
    public double OffX { get; init; }

    /// <summary>The same downwards, -1 to 1.</summary>
    public double OffY { get; init; }

    /// <summary>Standard deviation in pixels.</summary>
    public double Blur { get; init; }

    /// <summary>Standard deviation in grey levels of 255.</summary>
    public double Noise { get; init; }

    /// <summary>Light added in the middle of a spot somewhere on the card, as a share of white; at 1 nothing is left there.</summary>
    public double Glare { get; init; }

    /// <summary>Diameter of the round picture of an optic as a share of the shorter side; black outside. 0: none.</summary>
    public double Vignette { get; init; }

    /// <summary>Of the JPEG file, 1 to 100.</summary>
    public int Quality { get; init; } = 80;

    /// <summary>A photograph to lay the card on; null: drawn skin.</summary>
    public string? Background { get; init; }

    /// <summary>Printed length in millimetres of the code's longer side.</summary>
    public double Millimetres { get; init; } = 40;
}

/// <summary>A drawn scene and its truth.</summary>
/// <param name="Settings">What it was drawn from.</param>
/// <param name="File">The JPEG file.</param>
/// <param name="Corners">Upper left, upper right, lower right, lower left corner of the code as printed, in pixels, the middle of the first pixel being (0.5, 0.5).</param>
/// <param name="Spacing">Millimetres a pixel, at the middle of the code, in a plane that faces the camera.</param>
/// <param name="LeastModule">Pixels of the narrowest bar or module where it is smallest.</param>
public sealed record CodeScene(SceneSettings Settings, byte[] File, IReadOnlyList<(double X, double Y)> Corners, double Spacing, double LeastModule)
{
    /// <summary>Focal length as a share of the picture's width: about that of a compact camera.</summary>
    private const double Focal = 1.3;

    private const int Samples = 3;

    /// <summary>Draws the scene; the same settings give the same file.</summary>
    public static CodeScene Draw(SceneSettings settings)
    {
        var card = new PrintedCard(settings.Symbology, settings.Text, settings.Millimetres);
        (SceneCamera camera, double module) = Place(settings, card);
        using var bitmap = new SKBitmap(settings.Width, settings.Height, SKColorType.Rgba8888, SKAlphaType.Opaque);
        var random = new Random(settings.Seed);
        DrawBackground(bitmap, settings, random);
        DrawCard(bitmap, card, camera, random);
        byte[] file = SceneLight.Photograph(bitmap, settings, camera.Project(0, 0), module * card.Columns, random);
        double halfX = card.CodeWidth / 2;
        double halfY = card.CodeHeight / 2;
        return new CodeScene(
            settings,
            file,
            [camera.Project(-halfX, -halfY), camera.Project(halfX, -halfY), camera.Project(halfX, halfY), camera.Project(-halfX, halfY)],
            camera.Spacing,
            module);
    }

    private static (SceneCamera Camera, double LeastModule) Place(SceneSettings settings, PrintedCard card)
    {
        double focal = Focal * settings.Width;
        double shorter = Math.Min(settings.Width, settings.Height);
        double perMillimetre = settings.Fill > 0 ? settings.Fill * shorter / Math.Max(card.CodeWidth, card.CodeHeight) : settings.Narrow / card.Module;
        double offX = settings.OffX;
        double offY = settings.OffY;
        for (int round = 0; ; round++)
        {
            var middle = (X: settings.Width / 2.0, Y: settings.Height / 2.0);
            double room = settings.Vignette > 0 ? settings.Vignette * shorter / 2 : 0;
            double roomX = room > 0 ? room * 0.7 : settings.Width / 2.0;
            double roomY = room > 0 ? room * 0.7 : settings.Height / 2.0;
            var camera = new SceneCamera(
                focal, middle, focal / perMillimetre, settings.Tilt, settings.TiltTowards, settings.Roll, (middle.X + (offX * roomX), middle.Y + (offY * roomY)));
            double module = SmallestModule(camera, card);
            bool isInside = IsInside(camera, card, settings.Width, settings.Height, room);
            if (isInside && (settings.Fill > 0 || Math.Abs(module - settings.Narrow) < 0.01 * settings.Narrow || round > 40))
            {
                return (camera, module);
            }

            if (!isInside && Math.Abs(offX) + Math.Abs(offY) > 0.02)
            {
                (offX, offY) = (offX * 0.8, offY * 0.8);
            }
            else if (!isInside)
            {
                // It does not fit: as large as it can be.
                perMillimetre *= 0.97;
            }
            else
            {
                perMillimetre *= settings.Narrow / module;
            }
        }
    }

    /// <summary>The smallest distance of two module edges, along either side (bars: across them only), over the corners.</summary>
    private static double SmallestModule(SceneCamera camera, PrintedCard card)
    {
        double least = double.MaxValue;
        foreach ((double x, double y) in new[] { (-0.5, -0.5), (0.5, -0.5), (0.5, 0.5), (-0.5, 0.5) })
        {
            (double atX, double atY) = (x * (card.CodeWidth - card.Module), y * (card.CodeHeight - card.Module));
            double half = card.Module / 2;
            least = Math.Min(least, Distance(camera.Project(atX - half, atY), camera.Project(atX + half, atY)));
            if (!card.IsBars)
            {
                least = Math.Min(least, Distance(camera.Project(atX, atY - half), camera.Project(atX, atY + half)));
            }
        }

        return least;
    }

    private static double Distance((double X, double Y) a, (double X, double Y) b) => Math.Sqrt(((a.X - b.X) * (a.X - b.X)) + ((a.Y - b.Y) * (a.Y - b.Y)));

    private static bool IsInside(SceneCamera camera, PrintedCard card, int width, int height, double radius)
    {
        // With half of the quiet zone, as who photographs a label sees to.
        double x = (card.CodeWidth / 2) + (card.Quiet / 2);
        double y = (card.CodeHeight / 2) + (card.Quiet / 2);
        foreach ((double atX, double atY) in new[] { (-x, -y), (x, -y), (x, y), (-x, y) })
        {
            (double pixelX, double pixelY) = camera.Project(atX, atY);
            bool isIn = radius > 0
                ? Distance((pixelX, pixelY), (width / 2.0, height / 2.0)) < radius * 0.97
                : pixelX > 1 && pixelY > 1 && pixelX < width - 1 && pixelY < height - 1;
            if (!isIn)
            {
                return false;
            }
        }

        return true;
    }

    private static void DrawBackground(SKBitmap bitmap, SceneSettings settings, Random random)
    {
        using var canvas = new SKCanvas(bitmap);
        if (settings.Background is { } path && SKBitmap.Decode(path) is { } photograph)
        {
            using (photograph)
            using (SKImage image = SKImage.FromBitmap(photograph))
            {
                canvas.DrawImage(image, new SKRect(0, 0, bitmap.Width, bitmap.Height), new SKSamplingOptions(SKFilterMode.Linear, SKMipmapMode.Linear));
            }

            return;
        }

        LabelScenes.Skin(canvas, random, bitmap.Width, bitmap.Height);
    }

    /// <summary>Each pixel is the mean of nine looks through it at the card, so no other sampling stands between the geometry and the picture.</summary>
    private static void DrawCard(SKBitmap bitmap, PrintedCard card, SceneCamera camera, Random random)
    {
        double paper = 205 + (40 * random.NextDouble());
        double ink = 15 + (45 * random.NextDouble());
        (int left, int top, int right, int bottom) = Bounds(bitmap, card, camera);
        Span<byte> bytes = bitmap.GetPixelSpan();
        for (int y = top; y < bottom; y++)
        {
            int at = (y * bitmap.RowBytes) + (left * 4);
            for (int x = left; x < right; x++, at += 4)
            {
                int covered = 0;
                int inked = 0;
                for (int sample = 0; sample < Samples * Samples; sample++)
                {
                    (double cardX, double cardY) = camera.Unproject(
                        x + (((sample % Samples) + 0.5) / Samples), y + (((sample / Samples) + 0.5) / Samples));
                    if (card.Holds(cardX, cardY))
                    {
                        covered++;
                        inked += card.IsInk(cardX, cardY) ? 1 : 0;
                    }
                }

                if (covered > 0)
                {
                    double light = ((inked * ink) + ((covered - inked) * paper)) / covered;
                    double share = covered / (double)(Samples * Samples);
                    for (int channel = 0; channel < 3; channel++)
                    {
                        bytes[at + channel] = (byte)((bytes[at + channel] * (1 - share)) + (light * share));
                    }
                }
            }
        }
    }

    private static (int Left, int Top, int Right, int Bottom) Bounds(SKBitmap bitmap, PrintedCard card, SceneCamera camera)
    {
        (double X, double Y)[] corners =
        [
            camera.Project(-card.Width / 2, -card.Height / 2), camera.Project(card.Width / 2, -card.Height / 2),
            camera.Project(card.Width / 2, card.Height / 2), camera.Project(-card.Width / 2, card.Height / 2),
        ];
        return (
            (int)Math.Clamp(Math.Floor(corners.Min(corner => corner.X)), 0, bitmap.Width),
            (int)Math.Clamp(Math.Floor(corners.Min(corner => corner.Y)), 0, bitmap.Height),
            (int)Math.Clamp(Math.Ceiling(corners.Max(corner => corner.X)), 0, bitmap.Width),
            (int)Math.Clamp(Math.Ceiling(corners.Max(corner => corner.Y)), 0, bitmap.Height));
    }
}
