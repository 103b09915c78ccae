using System.Buffers.Binary;

namespace CameraBridge.Dicom.Bitstreams;

/// <summary>A Huffman table made for the symbols that occur (ITU-T T.81 Annex K.2), in the forms in which it is written down and used.</summary>
internal sealed class JpegOptimalTable
{
    private const int LongestCode = 16;

    /// <summary>One more than the symbols: a code for it takes the place of the one that may not be, all of ones (section K.2).</summary>
    private const int Reserved = 256;

    private readonly byte[] counts = new byte[LongestCode + 1];
    private readonly List<byte> symbols = [];

    private JpegOptimalTable()
    {
    }

    /// <summary>
    /// For each symbol its code with room for the appended bits behind it in the upper 27 bits, and the length of both in the lower 5; 0 for a
    /// symbol that did not occur. The bits of a DC symbol are all of it, those of an AC symbol its lower half.
    /// </summary>
    public uint[] Codes { get; } = new uint[256];

    /// <summary>Makes the table.</summary>
    /// <param name="frequencies">How often each of the 256 symbols occurs.</param>
    public static JpegOptimalTable For(ReadOnlySpan<long> frequencies)
    {
        var table = new JpegOptimalTable();
        int[] lengths = LengthsOf(frequencies);
        for (int length = 1; length <= LongestCode; length++)
        {
            for (int symbol = 0; symbol < Reserved; symbol++)
            {
                if (lengths[symbol] == length)
                {
                    table.symbols.Add((byte)symbol);
                    table.counts[length]++;
                }
            }
        }

        table.AssignCodes();
        return table;
    }

    /// <summary>The table as a DHT segment has it, behind the segment's length.</summary>
    /// <param name="target">Where it is written.</param>
    /// <param name="kindAndNumber">Tc and Th.</param>
    public void WriteTo(List<byte> target, byte kindAndNumber)
    {
        Span<byte> head = stackalloc byte[2];
        target.AddRange([0xFF, 0xC4]);
        BinaryPrimitives.WriteUInt16BigEndian(head, (ushort)(2 + 1 + LongestCode + symbols.Count));
        target.AddRange(head);
        target.Add(kindAndNumber);
        target.AddRange(counts.AsSpan(1));
        target.AddRange(symbols);
    }

    private void AssignCodes()
    {
        uint code = 0;
        int index = 0;
        for (int length = 1; length <= LongestCode; length++)
        {
            for (int i = 0; i < counts[length]; i++, index++, code++)
            {
                int appended = symbols[index] & 15;
                Codes[symbols[index]] = (((code << appended) << 5) | (uint)(length + appended));
            }

            code <<= 1;
        }
    }

    /// <summary>
    /// Code lengths of up to 16 bits. Halving frequencies that give longer codes (and never to 0) costs a little of the optimum and is only needed for pictures
    /// whose rarest symbol occurs once in more than a thousand.
    /// </summary>
    private static int[] LengthsOf(ReadOnlySpan<long> frequencies)
    {
        long[] weights = new long[Reserved + 1];
        frequencies.CopyTo(weights);
        while (true)
        {
            weights[Reserved] = 1;
            int[] lengths = Lengths(weights);
            int longest = lengths.Max();
            if (longest <= LongestCode)
            {
                // Of the longest codes the last one must be the reserved symbol's, which has the greatest number of all.
                (lengths[Array.IndexOf(lengths, longest)], lengths[Reserved]) = (lengths[Reserved], longest);
                return lengths;
            }

            for (int symbol = 0; symbol < Reserved; symbol++)
            {
                weights[symbol] = weights[symbol] == 0 ? 0 : Math.Max(1, weights[symbol] >> 1);
            }
        }
    }

    /// <summary>Huffman's procedure.</summary>
    private static int[] Lengths(long[] weights)
    {
        int[] parents = new int[2 * weights.Length];
        var queue = new PriorityQueue<int, (long Weight, int Order)>();
        for (int symbol = 0; symbol < weights.Length; symbol++)
        {
            if (weights[symbol] > 0)
            {
                queue.Enqueue(symbol, (weights[symbol], -symbol));
            }
        }

        int next = weights.Length;
        while (queue.Count > 1)
        {
            _ = queue.TryDequeue(out int one, out (long Weight, int Order) first);
            _ = queue.TryDequeue(out int other, out (long Weight, int Order) second);
            parents[one] = next;
            parents[other] = next;
            queue.Enqueue(next, (first.Weight + second.Weight, next));
            next++;
        }

        int root = next - 1;
        int[] depths = new int[next];
        for (int node = root - 1; node >= 0; node--)
        {
            depths[node] = parents[node] == 0 ? 0 : depths[parents[node]] + 1;
        }

        return depths[..weights.Length];
    }
}
