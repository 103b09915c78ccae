namespace CameraBridge.Dicom.Bitstreams;

/// <summary>
/// A Huffman table (ITU-T T.81 Annex C) made for stepping over codes: each entry tells how many bits a code and its appended bits take, and
/// how many coefficients it covers. Values themselves are never decoded.
/// </summary>
internal sealed class JpegHuffmanTable
{
    /// <summary>Step of an end-of-block code: beyond any coefficient index that runs of zeros can reach (63 + 16).</summary>
    public const int EndOfBlock = 100;

    /// <summary>Bits looked up at once; longer codes, which are rare, are found by their length.</summary>
    public const int LookupBits = 10;

    /// <summary>A camera writes the same four tables into every picture, so those made last are kept.</summary>
    private const int MostKept = 16;

    private static volatile JpegHuffmanTable[] kept = [];

    private readonly byte[] specification;
    private readonly bool isDc;
    private readonly short[] lookup = new short[1 << LookupBits];
    private readonly byte[] codeLengths = new byte[1 << LookupBits];
    private readonly int[] firstCode = new int[17];
    private readonly int[] count = new int[17];
    private readonly int[] firstIndex = new int[17];
    private readonly short[] entries;

    private JpegHuffmanTable(ReadOnlySpan<byte> counts, ReadOnlySpan<byte> symbols, bool isDc)
    {
        specification = [.. counts, .. symbols];
        this.isDc = isDc;
        entries = new short[symbols.Length];
        int code = 0;
        int index = 0;
        for (int length = 1; length <= 16; length++)
        {
            firstCode[length] = code;
            firstIndex[length] = index;
            count[length] = counts[length - 1];
            for (int i = 0; i < counts[length - 1]; i++, index++, code++)
            {
                short entry = isDc ? DcEntry(symbols[index], length) : AcEntry(symbols[index], length);
                entries[index] = entry;
                if (length <= LookupBits)
                {
                    lookup.AsSpan(code << (LookupBits - length), 1 << (LookupBits - length)).Fill(entry);
                    codeLengths.AsSpan(code << (LookupBits - length), 1 << (LookupBits - length)).Fill((byte)length);
                }
            }

            code <<= 1;
        }
    }

    /// <summary>Makes a table from the 16 counts and the symbols of a DHT segment.</summary>
    /// <returns>Null when the counts describe no prefix code.</returns>
    public static JpegHuffmanTable? Create(ReadOnlySpan<byte> counts, ReadOnlySpan<byte> symbols, bool isDc)
    {
        foreach (JpegHuffmanTable table in kept)
        {
            if (table.isDc == isDc && table.specification.AsSpan().StartsWith(counts) && table.specification.AsSpan(counts.Length).SequenceEqual(symbols))
            {
                return table;
            }
        }

        if (!JpegHuffmanSegment.IsPrefixCode(counts))
        {
            return null;
        }

        var made = new JpegHuffmanTable(counts, symbols, isDc);
        // Two threads that meet here forget one table, which is then made again.
        kept = [made, .. kept.Take(MostKept - 1)];
        return made;
    }

    /// <summary>
    /// The entry of the code at the top of <paramref name="bits"/>: low byte the bits to step over, high byte the coefficients; 0 or less
    /// when no code stands there.
    /// </summary>
    public int Step(ulong bits)
    {
        int entry = lookup[(int)(bits >> (64 - LookupBits))];
        return entry != 0 ? entry : LongStep(bits);
    }

    /// <summary>The same for a pattern of <see cref="LookupBits"/> bits, with the length of the code alone; 0 when no code is so short.</summary>
    public (int Step, int CodeLength) ShortStep(int pattern) => (lookup[pattern], codeLengths[pattern]);

    private int LongStep(ulong bits)
    {
        for (int length = LookupBits + 1; length <= 16; length++)
        {
            int index = (int)(bits >> (64 - length)) - firstCode[length];
            if (index >= 0 && index < count[length])
            {
                return entries[firstIndex[length] + index];
            }
        }

        return -1;
    }

    private static short DcEntry(byte symbol, int length) => symbol > 15 ? (short)-1 : (short)((1 << 8) | (length + symbol));

    private static short AcEntry(byte symbol, int length)
    {
        int run = symbol >> 4;
        int size = symbol & 15;
        int step = size != 0 ? run + 1 : run == 15 ? 16 : EndOfBlock;
        return (short)((step << 8) | (length + size));
    }
}
