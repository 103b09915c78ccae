namespace CameraBridge.Dicom.Bitstreams;

/// <summary>
/// A Huffman table (ITU-T T.81 Annex C) made for decoding: by the next bits at once the symbol, and with it, where code and appended bits are short
/// enough, the coefficient itself.
/// </summary>
internal sealed class JpegDecodingTable
{
    /// <summary>Bits looked up at once.</summary>
    public const int LookupBits = 11;

    /// <summary>Instead of a run of zeros: beyond any that there can be.</summary>
    public const int EndOfBlock = 64;

    private readonly int[] firstCode = new int[17];
    private readonly int[] count = new int[17];
    private readonly int[] firstIndex = new int[17];
    private readonly byte[] symbols;

    private JpegDecodingTable(ReadOnlySpan<byte> counts, ReadOnlySpan<byte> symbols)
    {
        this.symbols = symbols.ToArray();
        int code = 0;
        int index = 0;
        for (int length = 1; length <= 16; length++)
        {
            firstCode[length] = code;
            firstIndex[length] = index;
            count[length] = counts[length - 1];
            for (int i = 0; i < counts[length - 1]; i++, index++, code++)
            {
                if (length <= LookupBits)
                {
                    int first = code << (LookupBits - length);
                    Codes.AsSpan(first, 1 << (LookupBits - length)).Fill((short)((length << 8) | symbols[index]));
                    AddValues(first, length, symbols[index]);
                }
            }

            code <<= 1;
        }
    }

    /// <summary>Length of the code times 256 plus the symbol; 0 when the code is longer than <see cref="LookupBits"/> or there is none.</summary>
    public short[] Codes { get; } = new short[1 << LookupBits];

    /// <summary>
    /// Value in the upper 16 bits, run of zeros before it in bits 8 to 15, length of code and appended bits in the lower 8; <see cref="EndOfBlock"/> for a run where the
    /// block, or the band of it, ends; 0 when they are not all there or the symbol has no value.
    /// </summary>
    public int[] Values { get; } = new int[1 << LookupBits];

    /// <summary>Makes a table from the counts and symbols of a DHT segment.</summary>
    /// <returns>Null when the counts describe no prefix code.</returns>
    public static JpegDecodingTable? Create(ReadOnlySpan<byte> counts, ReadOnlySpan<byte> symbols) =>
        JpegHuffmanSegment.IsPrefixCode(counts) ? new JpegDecodingTable(counts, symbols) : null;

    /// <summary>The code at the top of the window, in the form of <see cref="Codes"/>; 0 when no code stands there.</summary>
    public int Code(ulong window)
    {
        int code = Codes[window >> (64 - LookupBits)];
        return code != 0 ? code : LongCode(window);
    }

    private int LongCode(ulong window)
    {
        for (int length = LookupBits + 1; length <= 16; length++)
        {
            int index = (int)(window >> (64 - length)) - firstCode[length];
            if (index >= 0 && index < count[length])
            {
                return (length << 8) | symbols[firstIndex[length] + index];
            }
        }

        return 0;
    }

    /// <summary>The values (section F.2.2.1, EXTEND) for all appended bits that still fit into the lookup.</summary>
    private void AddValues(int first, int length, byte symbol)
    {
        int size = symbol & 15;
        int left = LookupBits - length;
        if (symbol == 0)
        {
            Values.AsSpan(first, 1 << left).Fill((EndOfBlock << 8) | length);
        }

        if (size == 0 || size > left)
        {
            return;
        }

        for (int bits = 0; bits < 1 << size; bits++)
        {
            int value = bits < 1 << (size - 1) ? bits - (1 << size) + 1 : bits;
            Values.AsSpan(first + (bits << (left - size)), 1 << (left - size)).Fill((value << 16) | ((symbol >> 4) << 8) | (length + size));
        }
    }
}
