using CameraBridge.Pipeline.Sittings.Cues.Labels;
using ZXing;
using Point = (double X, double Y);

namespace CameraBridge.Pipeline.Sittings.Cues.Codes;

/// <summary>
/// Reads Data Matrix: two solid sides that meet are one piece of ink, whose hull shows three corners; the fourth corner and the size are those by which
/// the two other sides alternate best (ISO/IEC 16022, 5.2; number from memory).
/// </summary>
internal sealed class DataMatrixSearch
{
    /// <summary>Columns and rows of the symbols of ECC 200 up to 52 by 52 (ISO/IEC 16022, table 7; from memory).</summary>
    private static readonly (int Columns, int Rows)[] Sizes =
    [
        (10, 10), (12, 12), (14, 14), (16, 16), (18, 18), (20, 20), (22, 22), (24, 24), (26, 26), (32, 32), (36, 36), (40, 40), (44, 44), (48, 48), (52, 52),
        (18, 8), (32, 8), (26, 12), (36, 12), (36, 16), (48, 16),
    ];

    /// <summary>Grey levels by which the light modules of the alternating sides must be lighter than the dark ones, at the least.</summary>
    private const double LeastContrast = 18;

    /// <summary>Of the modules of the four sides, so many must be seen as they are.</summary>
    private const double LeastAgreement = 0.85;

    /// <summary>So many sizes, those of the best contrast, are decoded.</summary>
    private const int Decoded = 3;

    /// <summary>Changes between ink and paper along an alternating side: the shortest has eight modules.</summary>
    private const int LeastChanges = 6;

    /// <summary>Two sides that may be the solid ones are so large by the largest two.</summary>
    private const double LeastOfLegs = 0.4;

    private readonly InkShapes _shapes = new();

    private readonly ZXing.Datamatrix.Internal.Decoder _decoder = new();

    /// <summary>Reads the codes whose solid sides are among the shapes.</summary>
    /// <param name="picture">The picture to look at modules in.</param>
    /// <param name="ink">What the shapes are found in.</param>
    /// <param name="factor">The picture's size by that of the one that the ink was made of.</param>
    /// <param name="found">Takes the codes.</param>
    public void Read(GreyPicture picture, InkPicture ink, double factor, List<FoundCode> found)
    {
        foreach ((int X, int Y)[] hull in _shapes.Find(ink, 20))
        {
            (Point Up, Point Corner, Point Right, int MostColumns, int MostRows) legs = Legs(hull)
                .Where(legs => IsSolid(ink, legs.Corner, legs.Up, legs.Right) && IsSolid(ink, legs.Corner, legs.Right, legs.Up))
                .Select(legs => (legs.Up, legs.Corner, legs.Right, MostColumns: MostModules(ink, legs.Corner, legs.Right, legs.Up), MostRows: MostModules(ink, legs.Corner, legs.Up, legs.Right)))
                .FirstOrDefault(legs => legs.MostColumns > 0 && legs.MostRows > 0);
            if (legs.Up == legs.Right)
            {
                continue;
            }

            Point Scaled(Point point) => ((point.X + ink.Area.X) * factor, (point.Y + ink.Area.Y) * factor);
            Point middle = Scaled((hull.Average(corner => corner.X), hull.Average(corner => corner.Y)));
            if (found.Any(code => code.Holds(middle.X, middle.Y)))
            {
                continue;
            }

            if (Read(picture, Scaled(legs.Up), Scaled(legs.Corner), Scaled(legs.Right), legs.MostColumns, legs.MostRows) is { } code)
            {
                code.AddTo(found);
            }
        }
    }

    /// <summary>Two straight sides that meet, nearly at a right angle, the longest first: the two that alternate may look as long as the solid ones.</summary>
    private static IEnumerable<(Point Up, Point Corner, Point Right)> Legs((int X, int Y)[] hull)
    {
        List<Point> corners = Simplify(hull);
        var found = new List<(double Size, Point Up, Point Corner, Point Right)>();
        for (int i = 0; i < corners.Count && corners.Count >= 3; i++)
        {
            Point corner = corners[i];
            Point up = corners[(i + corners.Count - 1) % corners.Count];
            Point right = corners[(i + 1) % corners.Count];
            double one = Distance(corner, up);
            double other = Distance(corner, right);
            double cross = ((up.X - corner.X) * (right.Y - corner.Y)) - ((up.Y - corner.Y) * (right.X - corner.X));
            if (Math.Min(one, other) > 0.15 * Math.Max(one, other) && Math.Abs(cross) >= 0.7 * one * other)
            {
                double size = Math.Min(one, other) * (one + other);
                found.Add(cross > 0 ? (size, up, corner, right) : (size, right, corner, up));
            }
        }

        double most = found.Count > 0 ? found.Max(legs => legs.Size) : 0;
        return found.Where(legs => legs.Size > LeastOfLegs * most).OrderByDescending(legs => legs.Size).Select(legs => (legs.Up, legs.Corner, legs.Right));
    }

    /// <summary>Drops, one by one, the corner that stands out least, while it stands out by less than a fortieth of the whole.</summary>
    private static List<Point> Simplify((int X, int Y)[] hull)
    {
        List<Point> corners = [.. hull.Select(corner => ((double)corner.X, (double)corner.Y))];
        double size = Math.Max(hull.Max(corner => corner.X) - hull.Min(corner => corner.X), hull.Max(corner => corner.Y) - hull.Min(corner => corner.Y));

        // Round hulls have many corners: those that stand out by next to nothing go in one sweep.
        for (int i = corners.Count - 1; i > 0 && corners.Count > 12; i--)
        {
            if (Standing(corners, i) < size / 150)
            {
                corners.RemoveAt(i);
            }
        }

        if (corners.Count > 40)
        {
            return [];
        }

        while (corners.Count > 3)
        {
            int least = 0;
            double height = double.MaxValue;
            for (int i = 0; i < corners.Count; i++)
            {
                double standing = Standing(corners, i);
                if (standing < height)
                {
                    (height, least) = (standing, i);
                }
            }

            if (height > size / 40)
            {
                break;
            }

            corners.RemoveAt(least);
        }

        return corners;
    }

    /// <summary>How far a corner stands out over the line between its neighbours.</summary>
    private static double Standing(List<Point> corners, int at)
    {
        Point before = corners[(at + corners.Count - 1) % corners.Count];
        Point after = corners[(at + 1) % corners.Count];
        double area = ((after.X - before.X) * (corners[at].Y - before.Y)) - ((after.Y - before.Y) * (corners[at].X - before.X));
        return Math.Abs(area) / Math.Max(Distance(before, after), 1e-9);
    }

    /// <summary>True where the side from one corner to another is ink just inside, and paper just outside.</summary>
    private static bool IsSolid(InkPicture ink, Point from, Point to, Point inside)
    {
        const int Looks = 40;
        bool IsInk(double share, double depth) => ink.Has(from.X + (share * (to.X - from.X)) + (depth * (inside.X - from.X)), from.Y + (share * (to.Y - from.Y)) + (depth * (inside.Y - from.Y)));

        int best = 0;
        int outside = 0;
        for (int i = 0; i < Looks; i++)
        {
            outside += IsInk(0.02 + (0.95 * i / Looks), -0.035) ? 1 : 0;
        }

        if (outside > Looks * 0.2)
        {
            return false;
        }

        foreach (double depth in new[] { 0.015, 0.025, 0.04 })
        {
            int dark = 0;
            for (int i = 0; i < Looks; i++)
            {
                dark += IsInk(0.02 + (0.95 * i / Looks), depth) ? 1 : 0;
            }

            best = Math.Max(best, dark);
        }

        return best >= Looks * 0.85;
    }

    /// <summary>
    /// The most modules that the side opposite to a leg may have by how often ink and paper change near it, about where it lies if the look is not slanted: a side of n modules has n
    /// changes where it alternates and about half as many beside it, and some are lost where modules are small. A quick look, before sizes and places are tried.
    /// </summary>
    /// <returns>0 where there are too few changes for any code.</returns>
    private static int MostModules(InkPicture ink, Point corner, Point leg, Point other)
    {
        const int Looks = 72;
        int most = 0;
        for (double place = 0.7; place <= 1.1; place += 0.05)
        {
            int changes = 0;
            bool was = false;
            for (int i = 0; i <= Looks; i++)
            {
                double along = 1.1 * i / Looks;
                bool isInk = ink.Has(
                    corner.X + (along * (leg.X - corner.X)) + (place * (other.X - corner.X)), corner.Y + (along * (leg.Y - corner.Y)) + (place * (other.Y - corner.Y)));
                changes += isInk != was ? 1 : 0;
                was = isInk;
            }

            most = Math.Max(most, changes);
        }

        return most >= LeastChanges ? (2 * most) + 4 : 0;
    }

    private FoundCode? Read(GreyPicture picture, Point up, Point corner, Point right, int mostColumns, int mostRows)
    {
        // The best first; of two alike the one that was tried first.
        var candidates = new List<(double Contrast, int Columns, int Rows, Projection Map)>();
        Quadrangle[] places = [.. Places(up, corner, right)];
        double ratio = Distance(corner, right) / Distance(corner, up);
        foreach ((int columns, int rows) in Sizes)
        {
            double own = columns / (double)rows;
            if (own / ratio > 1.7 || ratio / own > 1.7 || columns > mostColumns || rows > mostRows)
            {
                continue;
            }

            double worst = candidates.Count == Decoded ? candidates[^1].Contrast : LeastContrast;
            if (BestCorner(picture, columns, rows, places, worst) is { } best)
            {
                candidates.Insert(candidates.TakeWhile(candidate => candidate.Contrast >= best.Contrast).Count(), (best.Contrast, columns, rows, best.Map));
                candidates.RemoveRange(Math.Min(Decoded, candidates.Count), Math.Max(0, candidates.Count - Decoded));
            }
        }

        foreach ((double _, int columns, int rows, Projection map) in candidates)
        {
            if (Decode(picture, map, columns, rows) is { } code)
            {
                return code;
            }
        }

        return null;
    }

    /// <summary>Places of the fourth corner around that of a parallelogram.</summary>
    private static IEnumerable<Quadrangle> Places(Point up, Point corner, Point right)
    {
        const double Reach = 0.2;
        const double Pace = 0.04;
        for (double a = -Reach; a <= Reach + 1e-9; a += Pace)
        {
            for (double b = -Reach; b <= Reach + 1e-9; b += Pace)
            {
                double x = up.X + right.X - corner.X + (a * (up.X - corner.X)) + (b * (right.X - corner.X));
                double y = up.Y + right.Y - corner.Y + (a * (up.Y - corner.Y)) + (b * (right.Y - corner.Y));
                Point[] corners = [up, (x, y), right, corner];
                if (Projection.Corners(1, 1, corners) is { } map)
                {
                    yield return new Quadrangle(corners, map);
                }
            }
        }
    }

    /// <summary>The place of the fourth corner by which the two sides that meet there alternate best.</summary>
    /// <returns>Null where the contrast is nowhere above the least.</returns>
    private static (double Contrast, Projection Map)? BestCorner(GreyPicture picture, int columns, int rows, Quadrangle[] places, double least)
    {
        double most = least;
        Point[]? best = null;
        foreach (Quadrangle place in places)
        {
            double contrast = Contrast(picture, place.Map, columns, rows, most);
            if (contrast > most)
            {
                (most, best) = (contrast, place.Corners);
            }
        }

        return best is not null && Projection.Corners(columns, rows, best) is { } map ? (most, map) : null;
    }

    /// <summary>Grey levels between the light and the dark modules of the alternating sides: the smaller of the two sides, or that of the first where it is not above the least.</summary>
    private static double Contrast(GreyPicture picture, Projection map, int columns, int rows, double least)
    {
        double top = 0;
        for (int x = 0; x < columns; x++)
        {
            (double atX, double atY) = map.Apply((x + 0.5) / columns, 0.5 / rows);
            top += x % 2 == 0 ? -picture.At(atX, atY) : picture.At(atX, atY);
        }

        top /= columns / 2.0;
        if (top <= least)
        {
            return top;
        }

        double side = 0;
        for (int y = 0; y < rows; y++)
        {
            (double atX, double atY) = map.Apply((columns - 0.5) / columns, (y + 0.5) / rows);
            side += y % 2 == 1 ? -picture.At(atX, atY) : picture.At(atX, atY);
        }

        return Math.Min(top, side / (rows / 2.0));
    }

    private FoundCode? Decode(GreyPicture picture, Projection map, int columns, int rows)
    {
        var always = new ModuleGrid(columns, rows);
        for (int x = 0; x < columns; x++)
        {
            always[x, 0] = x % 2 == 0 ? Module.Dark : Module.Light;
        }

        for (int y = 0; y < rows; y++)
        {
            always[columns - 1, y] = y % 2 == 1 ? Module.Dark : Module.Light;
            always[0, y] = Module.Dark;
        }

        for (int x = 0; x < columns; x++)
        {
            always[x, rows - 1] = Module.Dark;
        }

        map = GridFit.Improve(picture, GridFit.Improve(picture, map, always, 0.7).Map, always, 0.6).Map;
        for (int round = 0; round < 3; round++)
        {
            ModuleGrid modules = GridSample.Read(picture, map, columns, rows, byMean: round == 2);
            if (always.Agreement(modules) < LeastAgreement)
            {
                return null;
            }

            if (HasQuietZone(picture, map, modules) && _decoder.decode(modules.ToBits()) is { Text.Length: > 0 } read)
            {
                Fit fit = GridFit.Improve(picture, GridFit.Improve(picture, map, modules, 0.5).Map, modules, 0.5);
                return new FoundCode(
                    CodeMark.TextOf(read, BarcodeFormat.DATA_MATRIX, "]d"),
                    BarcodeFormat.DATA_MATRIX,
                    [fit.Map.Apply(0, 0), fit.Map.Apply(columns, 0), fit.Map.Apply(columns, rows), fit.Map.Apply(0, rows)],
                    new GridPlace(fit.Map, columns, rows, fit.Residual, fit.Edges));
            }

            map = GridFit.Improve(picture, map, modules, 0.6).Map;
        }

        return null;
    }

    /// <summary>True when nearly all that lies a module outside is as light as the light modules: what is within another code is none.</summary>
    private static bool HasQuietZone(GreyPicture picture, Projection map, ModuleGrid modules)
    {
        double light = 0;
        double dark = 0;
        int lights = 0;
        for (int y = 0; y < modules.Rows; y++)
        {
            for (int x = 0; x < modules.Columns; x++)
            {
                (double atX, double atY) = map.Apply(x + 0.5, y + 0.5);
                bool isLight = modules[x, y] == Module.Light;
                lights += isLight ? 1 : 0;
                light += isLight ? picture.At(atX, atY) : 0;
                dark += isLight ? 0 : picture.At(atX, atY);
            }
        }

        double middle = ((light / Math.Max(1, lights)) + (dark / Math.Max(1, (modules.Columns * modules.Rows) - lights))) / 2;
        int quiet = 0;
        int all = 0;
        void Look(double x, double y)
        {
            (double atX, double atY) = map.Apply(x, y);
            if (atX >= 0 && atY >= 0 && atX < picture.Width && atY < picture.Height)
            {
                all++;
                quiet += picture.At(atX, atY) > middle ? 1 : 0;
            }
        }

        for (int x = 0; x < modules.Columns; x++)
        {
            Look(x + 0.5, -0.8);
            Look(x + 0.5, modules.Rows + 0.8);
        }

        for (int y = 0; y < modules.Rows; y++)
        {
            Look(-0.8, y + 0.5);
            Look(modules.Columns + 0.8, y + 0.5);
        }

        return quiet >= 0.85 * all;
    }

    /// <param name="Corners">Upper left, then clockwise.</param>
    /// <param name="Map">From a square of side 1.</param>
    private sealed record Quadrangle(Point[] Corners, Projection Map);

    private static double Distance(Point a, Point b) => Math.Sqrt(((a.X - b.X) * (a.X - b.X)) + ((a.Y - b.Y) * (a.Y - b.Y)));
}
