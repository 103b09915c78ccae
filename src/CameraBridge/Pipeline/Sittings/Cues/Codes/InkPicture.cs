namespace CameraBridge.Pipeline.Sittings.Cues.Codes;

/// <summary>A picture in two values: what is darker than its surroundings is ink.</summary>
internal sealed class InkPicture
{
    /// <summary>Grey levels by which ink is darker than the mean around it.</summary>
    private const int Margin = 2;

    private readonly bool[] _ink;

    private InkPicture(bool[] ink, int width, int height)
    {
        _ink = ink;
        Width = width;
        Height = height;
    }

    public int Width { get; }

    public int Height { get; }

    public ReadOnlySpan<bool> Row(int y) => _ink.AsSpan(y * Width, Width);

    public bool this[int x, int y] => _ink[(y * Width) + x];

    /// <summary>Compares each pixel with the mean of a square around it.</summary>
    /// <param name="picture">The picture.</param>
    /// <param name="reach">Pixels from the middle of the square to its side: it must be wider than the largest dark or light area of a code.</param>
    public static InkPicture Of(GreyPicture picture, int reach)
    {
        int width = picture.Width;
        int height = picture.Height;
        bool[] ink = new bool[width * height];

        // Sums of columns over the rows of the square, moved on row by row.
        int[] columns = new int[width];
        byte[] pixels = picture.Pixels;
        int rows = 0;
        for (int y = 0; y < Math.Min(reach, height); y++)
        {
            Add(columns, pixels.AsSpan(y * width, width), 1);
            rows++;
        }

        for (int y = 0; y < height; y++)
        {
            if (y + reach < height)
            {
                Add(columns, pixels.AsSpan((y + reach) * width, width), 1);
                rows++;
            }

            if (y - reach - 1 >= 0)
            {
                Add(columns, pixels.AsSpan((y - reach - 1) * width, width), -1);
                rows--;
            }

            Compare(columns, pixels.AsSpan(y * width, width), ink.AsSpan(y * width, width), reach, rows);
        }

        return new InkPicture(ink, width, height);
    }

    private static void Add(int[] columns, ReadOnlySpan<byte> row, int sign)
    {
        for (int x = 0; x < row.Length; x++)
        {
            columns[x] += sign * row[x];
        }
    }

    private static void Compare(int[] columns, ReadOnlySpan<byte> row, Span<bool> ink, int reach, int rows)
    {
        int width = row.Length;
        int sum = 0;
        int count = 0;
        for (int x = 0; x < Math.Min(reach, width); x++)
        {
            sum += columns[x];
            count += rows;
        }

        for (int x = 0; x < width; x++)
        {
            if (x + reach < width)
            {
                sum += columns[x + reach];
                count += rows;
            }

            if (x - reach - 1 >= 0)
            {
                sum -= columns[x - reach - 1];
                count -= rows;
            }

            ink[x] = (row[x] + Margin) * count < sum;
        }
    }
}
