namespace CameraBridge.Pipeline.Sittings.Cues.Codes;

/// <summary>
/// A projective map from a flat code, in modules from its upper left corner, to a picture, in pixels; the middle of the first pixel is (0.5, 0.5).
/// (Hartley and Zisserman, Multiple View Geometry, 2nd edition, section 2.3.)
/// </summary>
internal sealed class Projection
{
    // Row by row, the last entry being 1, about an origin in the middle of the code, so that it stays well conditioned.
    private readonly double[] _map;
    private readonly double _originX;
    private readonly double _originY;
    private readonly double _unit;
    private readonly double _perModule;

    private Projection(double[] map, double originX, double originY, double unit)
    {
        _map = map;
        _originX = originX;
        _originY = originY;
        _unit = unit;
        _perModule = 1 / unit;
    }

    /// <summary>The affine map that takes three points of a code to three of a picture.</summary>
    /// <param name="size">Modules of the code's longer side.</param>
    /// <param name="code">Three points, in modules.</param>
    /// <param name="picture">Where they lie, in pixels.</param>
    public static Projection Affine(int size, ReadOnlySpan<(double X, double Y)> code, ReadOnlySpan<(double X, double Y)> picture)
    {
        double unit = size / 2.0;
        (double ax, double ay) = ((code[0].X / unit) - 1, (code[0].Y / unit) - 1);
        (double bx, double by) = ((code[1].X - code[0].X) / unit, (code[1].Y - code[0].Y) / unit);
        (double cx, double cy) = ((code[2].X - code[0].X) / unit, (code[2].Y - code[0].Y) / unit);
        double det = (bx * cy) - (by * cx);
        double m0 = (((picture[1].X - picture[0].X) * cy) - ((picture[2].X - picture[0].X) * by)) / det;
        double m1 = (((picture[2].X - picture[0].X) * bx) - ((picture[1].X - picture[0].X) * cx)) / det;
        double m3 = (((picture[1].Y - picture[0].Y) * cy) - ((picture[2].Y - picture[0].Y) * by)) / det;
        double m4 = (((picture[2].Y - picture[0].Y) * bx) - ((picture[1].Y - picture[0].Y) * cx)) / det;
        return new Projection(
            [m0, m1, picture[0].X - (m0 * ax) - (m1 * ay), m3, m4, picture[0].Y - (m3 * ax) - (m4 * ay), 0, 0], 1, 1, unit);
    }

    /// <summary>The map that takes the four corners of a code (upper left, then clockwise) to four points of a picture (Heckbert 1989, section 2.2.3).</summary>
    /// <returns>Null where three of the points lie on a line.</returns>
    public static Projection? Corners(int columns, int rows, ReadOnlySpan<(double X, double Y)> p)
    {
        // From the square of -1 to 1: the unit square's map first.
        double sumX = p[0].X - p[1].X + p[2].X - p[3].X;
        double sumY = p[0].Y - p[1].Y + p[2].Y - p[3].Y;
        (double dx1, double dy1) = (p[1].X - p[2].X, p[1].Y - p[2].Y);
        (double dx2, double dy2) = (p[3].X - p[2].X, p[3].Y - p[2].Y);
        double det = (dx1 * dy2) - (dx2 * dy1);
        if (Math.Abs(det) < 1e-6)
        {
            return null;
        }

        double g = ((sumX * dy2) - (dx2 * sumY)) / det;
        double h = ((dx1 * sumY) - (sumX * dy1)) / det;
        double unit = Math.Max(columns, rows) / 2.0;
        (double sx, double sy) = (unit / columns, unit / rows);

        // u = (x' + 1) * sx where x' is in units from the origin (1, 1).
        double a = p[1].X - p[0].X + (g * p[1].X);
        double b = p[3].X - p[0].X + (h * p[3].X);
        double d = p[1].Y - p[0].Y + (g * p[1].Y);
        double e = p[3].Y - p[0].Y + (h * p[3].Y);
        double w = 1 + (g * sx) + (h * sy);
        return new Projection(
            [
                a * sx / w, b * sy / w, ((a * sx) + (b * sy) + p[0].X) / w,
                d * sx / w, e * sy / w, ((d * sx) + (e * sy) + p[0].Y) / w,
                g * sx / w, h * sy / w,
            ],
            1,
            1,
            unit);
    }

    /// <summary>The pixel of a point of the code.</summary>
    public (double X, double Y) Apply(double x, double y)
    {
        double nx = (x * _perModule) - _originX;
        double ny = (y * _perModule) - _originY;
        ReadOnlySpan<double> map = _map.AsSpan(0, 8);
        double share = 1 / ((map[6] * nx) + (map[7] * ny) + 1);
        return (((map[0] * nx) + (map[1] * ny) + map[2]) * share, ((map[3] * nx) + (map[4] * ny) + map[5]) * share);
    }

    /// <summary>How the picture changes with the code at a point: pixels a module along x (first two) and along y.</summary>
    public (double XX, double YX, double XY, double YY) Derivative(double x, double y)
    {
        double nx = (x * _perModule) - _originX;
        double ny = (y * _perModule) - _originY;
        double w = (_map[6] * nx) + (_map[7] * ny) + 1;
        double px = ((_map[0] * nx) + (_map[1] * ny) + _map[2]) / w;
        double py = ((_map[3] * nx) + (_map[4] * ny) + _map[5]) / w;
        double scale = 1 / (w * _unit);
        return (
            (_map[0] - (_map[6] * px)) * scale, (_map[3] - (_map[6] * py)) * scale,
            (_map[1] - (_map[7] * px)) * scale, (_map[4] - (_map[7] * py)) * scale);
    }

    /// <summary>
    /// The derivative at the middle of the code as it would be if the optical axis met the picture there: focal length by distance times the upper left part
    /// of the rotation (Hartley and Zisserman, section 8.1.1), whatever the focal length. Its greater singular value is the scale of a plane that faces the
    /// camera at that distance, the ratio of both the cosine of the tilt.
    /// </summary>
    /// <param name="axisX">Where the optical axis meets the picture, in pixels.</param>
    /// <param name="axisY">The same.</param>
    public (double XX, double YX, double XY, double YY) Facing(double axisX, double axisY) => (
        (_map[0] - (_map[6] * axisX)) / _unit, (_map[3] - (_map[6] * axisY)) / _unit,
        (_map[1] - (_map[7] * axisX)) / _unit, (_map[4] - (_map[7] * axisY)) / _unit);

    /// <summary>The row of the normal equations of one edge: how its place along the direction changes with the eight entries.</summary>
    public void Row(double x, double y, double alongX, double alongY, Span<double> row)
    {
        double nx = (x * _perModule) - _originX;
        double ny = (y * _perModule) - _originY;
        double w = (_map[6] * nx) + (_map[7] * ny) + 1;
        double px = ((_map[0] * nx) + (_map[1] * ny) + _map[2]) / w;
        double py = ((_map[3] * nx) + (_map[4] * ny) + _map[5]) / w;
        double along = (px * alongX) + (py * alongY);
        row[0] = nx * alongX / w;
        row[1] = ny * alongX / w;
        row[2] = alongX / w;
        row[3] = nx * alongY / w;
        row[4] = ny * alongY / w;
        row[5] = alongY / w;
        row[6] = -nx * along / w;
        row[7] = -ny * along / w;
    }

    /// <summary>The map with its entries changed.</summary>
    public Projection Plus(ReadOnlySpan<double> step)
    {
        double[] map = [.. _map];
        for (int i = 0; i < map.Length; i++)
        {
            map[i] += step[i];
        }

        return new Projection(map, _originX, _originY, _unit);
    }

    /// <summary>The same map into a picture that is larger or smaller by a factor.</summary>
    public Projection Scale(double factor)
    {
        double[] map = [.. _map];
        for (int i = 0; i < 6; i++)
        {
            map[i] *= factor;
        }

        return new Projection(map, _originX, _originY, _unit);
    }

    /// <summary>The same map into a picture whose origin lies elsewhere.</summary>
    public Projection Move(double x, double y)
    {
        // (p + t w) / w
        double[] map = [.. _map];
        map[0] += x * map[6];
        map[1] += x * map[7];
        map[2] += x;
        map[3] += y * map[6];
        map[4] += y * map[7];
        map[5] += y;
        return new Projection(map, _originX, _originY, _unit);
    }
}
