using ZXing;

namespace CameraBridge.Pipeline.Sittings.Cues.Codes;

/// <summary>A code that was read.</summary>
/// <param name="Text">What it says.</param>
/// <param name="Symbology">Its kind.</param>
/// <param name="Corners">Its corners, upper left first as printed, then clockwise, in pixels of the searched picture; the middle of the first pixel is (0.5, 0.5).</param>
/// <param name="Place">Codes of modules: where each lies in the picture, and how well.</param>
internal sealed record FoundCode(string Text, BarcodeFormat Symbology, IReadOnlyList<(double X, double Y)> Corners, GridPlace? Place = null)
{
    /// <summary>True for a point within its corners.</summary>
    public bool Holds(double x, double y)
    {
        bool? side = null;
        for (int i = 0; i < Corners.Count; i++)
        {
            (double ax, double ay) = Corners[i];
            (double bx, double by) = Corners[(i + 1) % Corners.Count];
            bool left = ((bx - ax) * (y - ay)) - ((by - ay) * (x - ax)) > 0;
            if (side is { } other && other != left)
            {
                return false;
            }

            side = left;
        }

        return true;
    }

    /// <summary>Adds it to those that were found, unless one of them lies there: several looks find the same code, and a card that is seen twice would count as two.</summary>
    public void AddTo(List<FoundCode> found)
    {
        (double x, double y) = (Corners.Average(corner => corner.X), Corners.Average(corner => corner.Y));
        if (!found.Any(known => known.Holds(x, y)))
        {
            found.Add(this);
        }
    }

    /// <summary>The same in a picture that is larger or smaller.</summary>
    public FoundCode Scale(double factor) => this with
    {
        Corners = [.. Corners.Select(corner => (corner.X * factor, corner.Y * factor))],
        Place = Place is { } place ? place with { Map = place.Map.Scale(factor), Residual = place.Residual * factor } : null,
    };

    /// <summary>The same in a picture of which the searched one is a part.</summary>
    public FoundCode Move(double x, double y) => this with
    {
        Corners = [.. Corners.Select(corner => (corner.X + x, corner.Y + y))],
        Place = Place is { } place ? place with { Map = place.Map.Move(x, y) } : null,
    };
}

/// <summary>Where a code's modules lie.</summary>
/// <param name="Map">Modules to pixels.</param>
/// <param name="Columns">Modules in a row.</param>
/// <param name="Rows">Rows of modules.</param>
/// <param name="Residual">Root mean square of its edges' distance from the map, pixels.</param>
/// <param name="Edges">Edges that the map was laid on.</param>
internal sealed record GridPlace(Projection Map, int Columns, int Rows, double Residual, int Edges);
