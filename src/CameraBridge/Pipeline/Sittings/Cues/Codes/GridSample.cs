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
                grid[x, y] = values[(y * columns) + x] < Threshold(values, columns, rows, x, y, byMean) ? Module.Dark : Module.Light;
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

    private static float Threshold(float[] values, int columns, int rows, int x, int y, bool byMean)
    {
        float least = float.MaxValue;
        float most = float.MinValue;
        float sum = 0;
        int count = 0;
        int top = Math.Clamp(y - Neighbours, 0, Math.Max(0, rows - (2 * Neighbours) - 1));
        int left = Math.Clamp(x - Neighbours, 0, Math.Max(0, columns - (2 * Neighbours) - 1));
        for (int row = top; row < Math.Min(rows, top + (2 * Neighbours) + 1); row++)
        {
            for (int column = left; column < Math.Min(columns, left + (2 * Neighbours) + 1); column++)
            {
                float value = values[(row * columns) + column];
                least = Math.Min(least, value);
                most = Math.Max(most, value);
                sum += value;
                count++;
            }
        }

        return byMean ? sum / count : (least + most) / 2;
    }
}
