namespace CameraBridge.Dicom.Bitstreams;

/// <summary>
/// What makes a stored picture upright, as Exif numbers it (tag Orientation, CIPA DC-008): rows and columns change places first, then the picture
/// is mirrored left to right and top to bottom.
/// </summary>
/// <param name="Transposes">Rows become columns.</param>
/// <param name="MirrorsColumns">Then left and right change places.</param>
/// <param name="MirrorsRows">Then top and bottom change places.</param>
public readonly record struct JpegOrientation(bool Transposes, bool MirrorsColumns, bool MirrorsRows)
{
    /// <summary>Nothing is to be done.</summary>
    public bool IsUpright => !Transposes && !MirrorsColumns && !MirrorsRows;

    /// <summary>Of the Exif number 1 to 8.</summary>
    /// <exception cref="ArgumentOutOfRangeException">Another number.</exception>
    public static JpegOrientation Of(int exif) => exif switch
    {
        1 => default,
        2 => new(false, true, false),
        3 => new(false, true, true),
        4 => new(false, false, true),
        5 => new(true, false, false),
        6 => new(true, true, false),
        7 => new(true, true, true),
        8 => new(true, false, true),
        _ => throw new ArgumentOutOfRangeException(nameof(exif), exif, "An Exif orientation is a number from 1 to 8."),
    };

    /// <summary>
    /// Whether a picture can be turned without decoding it: a mirrored side must end with a whole MCU (ITU-T T.81 section A.2.4), else the filling
    /// behind the picture's edge would come to stand before it.
    /// </summary>
    public bool FitsGridOf(JpegHeader header)
    {
        ArgumentNullException.ThrowIfNull(header);
        // A picture of one component is not interleaved: its MCU is one block, whatever its sampling factors say (section A.2.2).
        bool alone = header.Components.Count == 1;
        int width = 8 * (alone ? 1 : JpegSampling.Greatest(header.Components, vertical: false));
        int height = 8 * (alone ? 1 : JpegSampling.Greatest(header.Components, vertical: true));
        bool mirrorsStoredColumns = Transposes ? MirrorsRows : MirrorsColumns;
        bool mirrorsStoredRows = Transposes ? MirrorsColumns : MirrorsRows;
        return (!mirrorsStoredColumns || header.Columns % width == 0) && (!mirrorsStoredRows || header.Rows % height == 0);
    }
}

/// <summary>Sampling factors in their lowest terms.</summary>
internal static class JpegSampling
{
    /// <summary>The greatest factor of all components when no common divisor is left in them.</summary>
    public static int Greatest(IReadOnlyList<JpegComponent> components, bool vertical)
    {
        int greatest = 1;
        foreach (JpegComponent component in components)
        {
            greatest = Math.Max(greatest, vertical ? component.Vertical : component.Horizontal);
        }

        return greatest / CommonDivisor(components, vertical);
    }

    /// <summary>What all factors can be divided by: 2 where each is 2 or 4.</summary>
    public static int CommonDivisor(IReadOnlyList<JpegComponent> components, bool vertical)
    {
        int divisor = 0;
        foreach (JpegComponent component in components)
        {
            int factor = vertical ? component.Vertical : component.Horizontal;
            while (factor != 0)
            {
                (divisor, factor) = (factor, divisor % factor);
            }
        }

        return Math.Max(1, divisor);
    }
}
