namespace CameraBridge.Pipeline.Sittings.Cues.Codes;

/// <summary>Looks at the middle of each module of a code.</summary>
internal static class GridSample
{
    /// <summary>Modules to each side within which light and dark are told apart: light changes over a card, and glare lies on parts of it.</summary>
    private const int Neighbours = 3;

    /// <summary>Light and dark by the middle between the extremes of the neighbourhood.</summary>
    public static ModuleGrid Read(GreyPicture picture, Projection map, int columns, int rows, bool byMean)
    {
        float[] values = new float[columns * rows];
        for (int y = 0; y < rows; y++)
        {
            for (int x = 0; x < columns; x++)
            {
                values[(y * columns) + x] = Look(picture, map, x + 0.5, y + 0.5);
            }
        }

        var grid = new ModuleGrid(columns, rows);
        for (int y = 0; y < rows; y++)
        {
            for (int x = 0; x < columns; x++)
            {
                grid[x, y] = IsDark(values, columns, Neighbourhood(columns, rows, x, y), x, y, byMean) ? Module.Dark : Module.Light;
            }
        }

        return grid;
    }

    /// <summary>The same for the modules that are known beforehand only; the others stay unknown.</summary>
    public static ModuleGrid ReadKnown(GreyPicture picture, Projection map, ModuleGrid known)
    {
        var values = new float[known.Columns * known.Rows];
        values.AsSpan().Fill(float.NaN);
        var grid = new ModuleGrid(known.Columns, known.Rows);
        for (int y = 0; y < known.Rows; y++)
        {
            for (int x = 0; x < known.Columns; x++)
            {
                if (known[x, y] != Module.Unknown)
                {
                    PixelArea around = Neighbourhood(known.Columns, known.Rows, x, y);
                    Fill(picture, map, values, known.Columns, around);
                    grid[x, y] = IsDark(values, known.Columns, around, x, y, byMean: false) ? Module.Dark : Module.Light;
                }
            }
        }

        return grid;
    }

    private static float Look(GreyPicture picture, Projection map, double x, double y)
    {
        (double atX, double atY) = map.Apply(x, y);
        (double xx, double yx, double xy, double yy) = map.Derivative(x, y);
        const double Off = 0.2;
        return (float)(((2 * picture.At(atX, atY))
            + picture.At(atX + (Off * xx), atY + (Off * yx)) + picture.At(atX - (Off * xx), atY - (Off * yx))
            + picture.At(atX + (Off * xy), atY + (Off * yy)) + picture.At(atX - (Off * xy), atY - (Off * yy))) / 6);
    }

    /// <summary>Looks at those modules that were not looked at before.</summary>
    private static void Fill(GreyPicture picture, Projection map, float[] values, int columns, PixelArea modules)
    {
        for (int y = modules.Y; y < modules.Bottom; y++)
        {
            for (int x = modules.X; x < modules.Right; x++)
            {
                ref float value = ref values[(y * columns) + x];
                value = float.IsNaN(value) ? Look(picture, map, x + 0.5, y + 0.5) : value;
            }
        }
    }

    private static PixelArea Neighbourhood(int columns, int rows, int x, int y)
    {
        int top = Math.Clamp(y - Neighbours, 0, Math.Max(0, rows - (2 * Neighbours) - 1));
        int left = Math.Clamp(x - Neighbours, 0, Math.Max(0, columns - (2 * Neighbours) - 1));
        return new PixelArea(left, top, Math.Min(columns - left, (2 * Neighbours) + 1), Math.Min(rows - top, (2 * Neighbours) + 1));
    }

    private static bool IsDark(float[] values, int columns, PixelArea around, int x, int y, bool byMean)
    {
        float least = float.MaxValue;
        float most = float.MinValue;
        float sum = 0;
        for (int row = around.Y; row < around.Bottom; row++)
        {
            foreach (float value in values.AsSpan((row * columns) + around.X, around.Width))
            {
                least = float.MinNative(least, value);
                most = float.MaxNative(most, value);
                sum += value;
            }
        }

        return values[(y * columns) + x] < (byMean ? sum / (around.Width * around.Height) : (least + most) / 2);
    }
}
