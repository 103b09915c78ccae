namespace CameraBridge.Pipeline.Sittings.Cues.Codes;

/// <summary>How well a code's edges lie where its map says.</summary>
/// <param name="Map">The map.</param>
/// <param name="Edges">Edges that were found in the picture.</param>
/// <param name="Sought">Edges that were looked for.</param>
/// <param name="Residual">Root of the mean square, in pixels, of how far those that were found lie off, outliers weighed down.</param>
internal readonly record struct Fit(Projection Map, int Edges, int Sought, double Residual);

/// <summary>
/// Lays a code's map onto the edges between its light and dark modules: each edge is looked for along its normal to a part of a pixel, and the eight
/// entries of the map follow by weighed least squares (Gauss-Newton).
/// </summary>
internal static class GridFit
{
    private const int MostSteps = 65;

    /// <summary>Fits once.</summary>
    /// <param name="picture">The picture.</param>
    /// <param name="map">Where the code is thought to be.</param>
    /// <param name="grid">Its modules; edges are sought between those that are known and differ.</param>
    /// <param name="reach">How far, in modules, an edge is looked for to both sides.</param>
    public static Fit Improve(GreyPicture picture, Projection map, ModuleGrid grid, double reach)
    {
        var normal = new NormalEquations();
        int sought = 0;
        for (int y = 0; y <= grid.Rows; y++)
        {
            for (int x = 0; x <= grid.Columns; x++)
            {
                Module here = grid[x, y];
                if (here == Module.Unknown)
                {
                    continue;
                }

                Module left = grid[x - 1, y];
                if (left != Module.Unknown && left != here && y < grid.Rows)
                {
                    sought++;
                    Seek(picture, map, x, y + 0.5, true, here == Module.Light, reach, normal);
                }

                Module upper = grid[x, y - 1];
                if (upper != Module.Unknown && upper != here && x < grid.Columns)
                {
                    sought++;
                    Seek(picture, map, x + 0.5, y, false, here == Module.Light, reach, normal);
                }
            }
        }

        return normal.Solve() is { } step
            ? new Fit(map.Plus(step), normal.Count, sought, normal.Residual)
            : new Fit(map, 0, sought, double.PositiveInfinity);
    }

    private static void Seek(GreyPicture picture, Projection map, double x, double y, bool alongX, bool rises, double reach, NormalEquations normal)
    {
        (double atX, double atY) = map.Apply(x, y);
        (double xx, double yx, double xy, double yy) = map.Derivative(x, y);

        // Along the normal of the edge in the picture, which with a tilted code is not the direction of the module.
        (double edgeX, double edgeY) = alongX ? (xy, yy) : (xx, yx);
        (double overX, double overY) = alongX ? (xx, yx) : (xy, yy);
        double edgeLength = Math.Sqrt((edgeX * edgeX) + (edgeY * edgeY));
        if (edgeLength < 1e-9)
        {
            return;
        }

        (double normalX, double normalY) = (-edgeY / edgeLength, edgeX / edgeLength);
        double module = (overX * normalX) + (overY * normalY);
        if (module < 0)
        {
            (normalX, normalY, module) = (-normalX, -normalY, -module);
        }

        // A little along the edge, too: a mean of three is steadier.
        (double stepX, double stepY) = (edgeX * 0.22, edgeY * 0.22);
        double range = reach * module;
        int steps = (int)Math.Clamp(Math.Ceiling(range * 4), 6, MostSteps - 1) | 1;
        double pace = 2 * range / (steps - 1);
        Span<double> profile = stackalloc double[MostSteps];
        for (int i = 0; i < steps; i++)
        {
            double t = (i * pace) - range;
            double px = atX + (t * normalX);
            double py = atY + (t * normalY);
            double value = picture.At(px, py) + picture.At(px - stepX, py - stepY) + picture.At(px + stepX, py + stepY);
            profile[i] = rises ? value : -value;
        }

        // The steepest rise over about half a module.
        int half = Math.Max(1, (int)Math.Round(Math.Max(0.25 * module, 0.7) / pace));
        int best = -1;
        double most = 0;
        for (int i = half; i < steps - half; i++)
        {
            double rise = profile[i + half] - profile[i - half];
            if (rise > most)
            {
                most = rise;
                best = i;
            }
        }

        if (best < 0 || most < 3 * 8)
        {
            return;
        }

        // The rise over so many steps is a hill with a flat top where the edge is sharp: its middle is the middle of what stands out.
        double weights = 0;
        double sum = 0;
        for (int direction = -1; direction <= 1; direction += 2)
        {
            for (int i = direction < 0 ? best : best + 1; i >= half && i < steps - half; i += direction)
            {
                double above = profile[i + half] - profile[i - half] - (0.6 * most);
                if (above <= 0)
                {
                    break;
                }

                weights += above;
                sum += above * i;
            }
        }

        double found = (sum / weights * pace) - range;
        normal.Add(map, x, y, normalX, normalY, found, Math.Max(0.12 * module, 0.3), Math.Min(1, most / (3 * 60)));
    }

    /// <summary>Sums of the weighed normal equations of eight unknowns.</summary>
    private sealed class NormalEquations
    {
        private const int Unknowns = 8;

        private readonly double[] _matrix = new double[Unknowns * (Unknowns + 1)];
        private double _squares;
        private double _weights;

        public int Count { get; private set; }

        public double Residual => _weights > 0 ? Math.Sqrt(_squares / _weights) : double.PositiveInfinity;

        public void Add(Projection map, double x, double y, double normalX, double normalY, double off, double usual, double trust)
        {
            // Weights after Geman and McClure: what lies far off hardly counts.
            double ratio = off / usual;
            double weight = trust / ((1 + (ratio * ratio)) * (1 + (ratio * ratio)));
            Span<double> row = stackalloc double[Unknowns];
            map.Row(x, y, normalX, normalY, row);
            for (int i = 0; i < Unknowns; i++)
            {
                double scaled = row[i] * weight;
                for (int j = i; j < Unknowns; j++)
                {
                    _matrix[(i * (Unknowns + 1)) + j] += scaled * row[j];
                }

                _matrix[(i * (Unknowns + 1)) + Unknowns] += scaled * off;
            }

            _squares += weight * off * off;
            _weights += weight;
            Count++;
        }

        /// <summary>By Gauss's elimination with pivots; null where the edges leave something open.</summary>
        public double[]? Solve()
        {
            const int Row = Unknowns + 1;
            if (Count < 2 * Unknowns)
            {
                return null;
            }

            for (int i = 0; i < Unknowns; i++)
            {
                for (int j = 0; j < i; j++)
                {
                    _matrix[(i * Row) + j] = _matrix[(j * Row) + i];
                }

                // A touch of damping for the entries of perspective, which few edges decide.
                _matrix[(i * Row) + i] *= 1 + 1e-6;
            }

            for (int column = 0; column < Unknowns; column++)
            {
                int pivot = column;
                for (int i = column + 1; i < Unknowns; i++)
                {
                    pivot = Math.Abs(_matrix[(i * Row) + column]) > Math.Abs(_matrix[(pivot * Row) + column]) ? i : pivot;
                }

                if (Math.Abs(_matrix[(pivot * Row) + column]) < 1e-9)
                {
                    return null;
                }

                for (int j = 0; j < Row && pivot != column; j++)
                {
                    (_matrix[(pivot * Row) + j], _matrix[(column * Row) + j]) = (_matrix[(column * Row) + j], _matrix[(pivot * Row) + j]);
                }

                for (int i = 0; i < Unknowns; i++)
                {
                    double factor = i == column ? 0 : _matrix[(i * Row) + column] / _matrix[(column * Row) + column];
                    for (int j = column; j < Row && factor != 0; j++)
                    {
                        _matrix[(i * Row) + j] -= factor * _matrix[(column * Row) + j];
                    }
                }
            }

            double[] step = new double[Unknowns];
            for (int i = 0; i < Unknowns; i++)
            {
                step[i] = _matrix[(i * Row) + Unknowns] / _matrix[(i * Row) + i];
            }

            return step;
        }
    }
}
