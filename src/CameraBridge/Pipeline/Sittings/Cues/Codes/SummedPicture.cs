namespace CameraBridge.Pipeline.Sittings.Cues.Codes;

/// <summary>
/// A picture with the sum of all that lies above and left of each pixel, by which the mean of any rectangle costs the same (summed-area table: Crow, SIGGRAPH 1984). Keeps its
/// memory from picture to picture; not thread-safe.
/// </summary>
internal sealed class SummedPicture
{
    /// <summary>A row and a column more than the picture, the first of each being 0. Sums may run over; their differences are right all the same.</summary>
    private int[] _sums = [];

    public GreyPicture Picture { get; private set; } = new([0], 1, 1);

    /// <summary>The sums above a row, 0 to the picture's height: of the pixels left of each column, 0 to its width.</summary>
    public ReadOnlySpan<int> Above(int y) => _sums.AsSpan(y * (Picture.Width + 1), Picture.Width + 1);

    /// <summary>Sums up another picture.</summary>
    public void Take(GreyPicture picture)
    {
        Picture = picture;
        int size = (picture.Width + 1) * (picture.Height + 1);
        if (_sums.Length < size)
        {
            _sums = new int[size];
        }

        _sums.AsSpan(0, picture.Width + 1).Clear();
        for (int y = 0; y < picture.Height; y++)
        {
            ReadOnlySpan<byte> row = picture.Pixels.AsSpan(y * picture.Width, picture.Width);
            ReadOnlySpan<int> above = Above(y);
            Span<int> below = _sums.AsSpan((y + 1) * (picture.Width + 1), picture.Width + 1);
            int sum = 0;
            below[0] = 0;
            for (int x = 0; x < row.Length; x++)
            {
                sum = unchecked(sum + row[x]);
                below[x + 1] = unchecked(above[x + 1] + sum);
            }
        }
    }
}
