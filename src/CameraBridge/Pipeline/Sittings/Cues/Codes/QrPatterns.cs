namespace CameraBridge.Pipeline.Sittings.Cues.Codes;

/// <summary>The modules that all QR codes of a version have: finder, timing and the last alignment pattern (ISO/IEC 18004, 6.3; numbers from memory).</summary>
internal static class QrPatterns
{
    private static readonly string[] Finder =
    [
        "#######",
        "#.....#",
        "#.###.#",
        "#.###.#",
        "#.###.#",
        "#.....#",
        "#######",
    ];

    private static readonly string[] Alignment =
    [
        "#####",
        "#...#",
        "#.#.#",
        "#...#",
        "#####",
    ];

    /// <summary>The three finder patterns with their separators.</summary>
    public static ModuleGrid Finders(int version)
    {
        int size = 17 + (4 * version);
        var grid = new ModuleGrid(size, size);
        for (int i = 0; i < 8; i++)
        {
            grid.Put(7, i, ".");
            grid.Put(i, 7, ".");
            grid.Put(size - 8, i, ".");
            grid.Put(size - 8 + i, 7, ".");
            grid.Put(i, size - 8, ".");
            grid.Put(7, size - 8 + i, ".");
        }

        grid.Put(0, 0, Finder);
        grid.Put(size - 7, 0, Finder);
        grid.Put(0, size - 7, Finder);
        return grid;
    }

    /// <summary>The same with the timing patterns and, from version 2 on, the alignment pattern nearest to the fourth corner.</summary>
    public static ModuleGrid All(int version)
    {
        ModuleGrid grid = Finders(version);
        int size = grid.Columns;
        for (int i = 8; i < size - 8; i++)
        {
            grid.Put(i, 6, i % 2 == 0 ? "#" : ".");
            grid.Put(6, i, i % 2 == 0 ? "#" : ".");
        }

        if (version > 1)
        {
            grid.Put(size - 9, size - 9, Alignment);
        }

        return grid;
    }

    /// <summary>Moves the fourth corner of the map so that the alignment pattern lies where the picture shows it best.</summary>
    public static Projection Align(GreyPicture picture, Projection map, int version)
    {
        int size = 17 + (4 * version);
        double middle = size - 6.5;
        double reach = Math.Min(1.5 + (0.25 * version), 4);
        double best = 0;
        (double X, double Y) at = (0, 0);
        for (double dy = -reach; dy <= reach; dy += 0.5)
        {
            for (double dx = -reach; dx <= reach; dx += 0.5)
            {
                double likeness = Likeness(picture, map, middle + dx, middle + dy) - (2 * (Math.Abs(dx) + Math.Abs(dy)));
                if (likeness > best)
                {
                    best = likeness;
                    at = (dx, dy);
                }
            }
        }

        if (best < 12 || (Math.Abs(at.X) < 0.6 && Math.Abs(at.Y) < 0.6))
        {
            return map;
        }

        // The whole map, with the fourth corner drawn along.
        double share = size / middle;
        (double X, double Y) corner = map.Apply(size + (at.X * share), size + (at.Y * share));
        return Projection.Corners(size, size, [map.Apply(0, 0), map.Apply(size, 0), corner, map.Apply(0, size)]) ?? map;
    }

    /// <summary>Grey levels by which the light modules of an alignment pattern around a point are lighter than its dark ones.</summary>
    private static double Likeness(GreyPicture picture, Projection map, double x, double y)
    {
        double light = 0;
        double dark = 0;
        for (int row = 0; row < 5; row++)
        {
            for (int column = 0; column < 5; column++)
            {
                (double atX, double atY) = map.Apply(x - 2 + column, y - 2 + row);
                double value = picture.At(atX, atY);
                if (Alignment[row][column] == '#')
                {
                    dark += value / 17;
                }
                else
                {
                    light += value / 8;
                }
            }
        }

        return light - dark;
    }
}
