using System.Globalization;
using CameraBridge.Pipeline.Sittings.Cues.Codes;

namespace CameraBridge.Pipeline.Sittings.Cues.Cards;

/// <summary>
/// How large the things beside a photographed scale card are: measured on the edges of its code, whose printed size is known. It holds in the plane of the
/// card, at that distance and zoom.
/// </summary>
/// <param name="Spacing">Millimetres between the middles of two neighbouring pixels, at the card's middle, in a plane that faces the camera; above 0.</param>
/// <param name="Uncertainty">
/// Of the spacing, as a share of it (0.01: one per cent): of the fit, of the print (half a per cent, which the line on the card is to show), and of the tilt,
/// by which the card's own plane is drawn out.
/// </param>
/// <param name="Tilt">Degrees between the card and a plane that faces the camera, 0 to <see cref="MostTilt"/>.</param>
/// <param name="Columns">Of the card's picture, in pixels as stored.</param>
/// <param name="Rows">Of the card's picture.</param>
internal sealed record ScaleMeasure(double Spacing, double Uncertainty, double Tilt, int Columns, int Rows)
{
    /// <summary>Beyond this the card's own plane is drawn out by more than 3.5 per cent. No source: our own limit.</summary>
    public const double MostTilt = 15;

    /// <summary>Pixels of the code's side below which no per cent can be promised. No source: our own limit.</summary>
    private const double LeastSide = 80;

    /// <summary>Share of a module by which the edges may lie off the map: beyond, the card is bent or the lens bends the picture. No source: our own limit.</summary>
    private const double MostResidual = 0.06;

    /// <summary>A printer's own error of scale, as a share; the line of 100 mm on the card shows more than that.</summary>
    private const double Print = 0.005;

    /// <summary>Measures a code.</summary>
    /// <param name="code">The code, in pixels of the file.</param>
    /// <param name="printed">Millimetres of the code's side, quiet zone not counted; above 0.</param>
    /// <param name="columns">Of the picture.</param>
    /// <param name="rows">Of the picture.</param>
    /// <returns>The measure, or why there is none, in words without patient data.</returns>
    public static (ScaleMeasure? Measure, string? Refusal) Of(FoundCode code, double printed, int columns, int rows)
    {
        if (code.Place is not { Edges: > 0 } place)
        {
            return (null, "its edges could not be found; photograph it again, sharp and whole");
        }

        // Pixels a module in the direction in which the card is least and most shortened. The optical axis meets the picture in its middle: common practice,
        // no source; a picture that was cut afterwards is off by what the tilt makes of it.
        double module = printed / place.Columns;
        (double xx, double yx, double xy, double yy) = place.Map.Facing(columns / 2.0, rows / 2.0);
        double sum = (xx * xx) + (yx * yx) + (xy * xy) + (yy * yy);
        double area = Math.Abs((xx * yy) - (xy * yx));
        double root = Math.Sqrt(Math.Max(0, (sum * sum / 4) - (area * area)));
        double most = Math.Sqrt((sum / 2) + root);
        double least = area / most;
        double tilt = Math.Acos(Math.Clamp(least / most, 0, 1)) * 180 / Math.PI;
        if (most * place.Columns < LeastSide)
        {
            return (null, "it is too small in the picture; go nearer, or take a larger card");
        }

        if (tilt > MostTilt)
        {
            return (null, string.Create(CultureInfo.InvariantCulture, $"it is tilted by {tilt:F0} degrees, and more than {MostTilt:F0} are too many; hold the camera straight above it"));
        }

        if (place.Residual > MostResidual * most)
        {
            return (null, "its edges do not lie as they do on a flat card; lay it flat, and photograph it sharp");
        }

        double fit = place.Residual / (most * place.Columns);
        double drawn = (1 / Math.Cos(tilt * Math.PI / 180)) - 1;
        double uncertainty = Math.Sqrt((fit * fit) + (Print * Print) + (drawn * drawn));
        return (new ScaleMeasure(module / most, uncertainty, tilt, columns, rows), null);
    }

    /// <summary>The form that the state keeps: five numbers, a blank between.</summary>
    public string ToText() => string.Create(CultureInfo.InvariantCulture, $"{Spacing:R} {Uncertainty:R} {Tilt:R} {Columns} {Rows}");

    /// <summary>Reads that form.</summary>
    /// <exception cref="FormatException">It is another.</exception>
    public static ScaleMeasure? FromText(string? text) => text?.Split(' ') is [var Spacing, var Uncertainty, var Tilt, var Columns, var Rows]
        ? new ScaleMeasure(Number(Spacing), Number(Uncertainty), Number(Tilt), int.Parse(Columns, CultureInfo.InvariantCulture), int.Parse(Rows, CultureInfo.InvariantCulture))
        : text is null ? null : throw new FormatException("The state holds a scale that cannot be read.");

    private static double Number(string text) => double.Parse(text, CultureInfo.InvariantCulture);
}
