namespace CameraBridge.Dicom.Bitstreams;

/// <summary>The order in which the coefficients of a block are written (ITU-T T.81 Figure A.6), and what turning a block does to it.</summary>
internal static class JpegZigzag
{
    /// <summary>Row (vertical frequency) times 8 plus column (horizontal frequency) of each place in the order.</summary>
    public static ReadOnlySpan<byte> Natural =>
    [
        0, 1, 8, 16, 9, 2, 3, 10, 17, 24, 32, 25, 18, 11, 4, 5, 12, 19, 26, 33, 40, 48, 41, 34, 27, 20, 13, 6, 7, 14, 21, 28,
        35, 42, 49, 56, 57, 50, 43, 36, 29, 22, 15, 23, 30, 37, 44, 51, 58, 59, 52, 45, 38, 31, 39, 46, 53, 60, 61, 54, 47, 55, 62, 63,
    ];

    /// <summary>Where each coefficient goes when the block is turned.</summary>
    public static byte[] Places(JpegOrientation orientation)
    {
        byte[] byNatural = new byte[64];
        for (int k = 0; k < 64; k++)
        {
            byNatural[Natural[k]] = (byte)k;
        }

        byte[] places = new byte[64];
        for (int k = 0; k < 64; k++)
        {
            int natural = Natural[k];
            places[k] = orientation.Transposes ? byNatural[((natural & 7) << 3) | (natural >> 3)] : (byte)k;
        }

        return places;
    }

    /// <summary>
    /// -1 for each coefficient that changes its sign, else 0. The cosines of odd frequencies are odd about the block's middle, so that mirroring is
    /// a change of sign of these (section A.3.3 gives the transform).
    /// </summary>
    public static short[] Signs(JpegOrientation orientation)
    {
        short[] signs = new short[64];
        for (int k = 0; k < 64; k++)
        {
            int row = Natural[k] >> 3;
            int column = Natural[k] & 7;
            (row, column) = orientation.Transposes ? (column, row) : (row, column);
            bool changes = (orientation.MirrorsColumns && (column & 1) != 0) ^ (orientation.MirrorsRows && (row & 1) != 0);
            signs[k] = (short)(changes ? -1 : 0);
        }

        return signs;
    }
}
