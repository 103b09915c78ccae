namespace CameraBridge.Dicom.Bitstreams;

/// <summary>What a DHT segment holds (ITU-T T.81 section B.2.4.2), whoever makes tables of it.</summary>
internal static class JpegHuffmanSegment
{
    /// <summary>Takes one table.</summary>
    /// <param name="isDc">For DC differences; else for AC coefficients.</param>
    /// <param name="number">Its place, 0 to 3.</param>
    /// <param name="counts">Number of codes of each length from 1 to 16.</param>
    /// <param name="symbols">The symbols in the order of their codes.</param>
    /// <returns>False when it is no table.</returns>
    public delegate bool Taking(bool isDc, int number, ReadOnlySpan<byte> counts, ReadOnlySpan<byte> symbols);

    /// <summary>Goes through the tables of a segment.</summary>
    /// <returns>False when one cannot be what it says.</returns>
    public static bool Read(ReadOnlySpan<byte> body, Taking take)
    {
        while (body.Length >= 17)
        {
            int symbols = 0;
            foreach (byte count in body.Slice(1, 16))
            {
                symbols += count;
            }

            int kind = body[0] >> 4;
            int number = body[0] & 15;
            if (kind > 1 || number > 3 || symbols > 256 || body.Length < 17 + symbols || !take(kind == 0, number, body.Slice(1, 16), body.Slice(17, symbols)))
            {
                return false;
            }

            body = body[(17 + symbols)..];
        }

        return true;
    }

    /// <summary>Whether there is a prefix code with so many codes of each length (ITU-T T.81 Annex C).</summary>
    public static bool IsPrefixCode(ReadOnlySpan<byte> counts)
    {
        int free = 1;
        foreach (byte ofLength in counts)
        {
            free = (free << 1) - ofLength;
            if (free < 0)
            {
                return false;
            }
        }

        return true;
    }
}
