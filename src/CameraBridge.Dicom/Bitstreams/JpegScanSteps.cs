namespace CameraBridge.Dicom.Bitstreams;

/// <summary>One component as a scan takes it: blocks in an MCU and its tables.</summary>
internal readonly record struct ScanComponent(int Blocks, JpegHuffmanTable Dc, JpegHuffmanTable Ac);

/// <summary>
/// What a scan's next bits mean, looked up for as many codes at once as begin in them, so that <see cref="JpegScanWalk"/> needs neither a branch nor a
/// second table at the end of a block.
/// </summary>
/// <remarks>
/// A component's entries are two rows: the first for the beginning of a block (a DC code, and the AC codes behind it), the second for its inside. An entry
/// holds the bits to step over in its low six bits, the coefficients covered in the seven bits from the eighth on, and is negative when a block ends with it.
/// Only the codes themselves have to stand in the looked-up bits: what is appended to the last of them is stepped over unseen. Where no code of the
/// table is short enough, the coefficients are beyond any block.
/// </remarks>
internal sealed class JpegScanSteps
{
    /// <summary>Bits looked up at once: with more, the rows of two components leave the processor's nearest cache, which costs more than it saves (measured).</summary>
    public const int LookupBits = JpegHuffmanTable.LookupBits;

    /// <summary>Length of a row, and so the distance from a component's first row to its second.</summary>
    public const int RowLength = 1 << LookupBits;

    /// <summary>Coefficients of an entry that stands for no step: more than a block has.</summary>
    private const int NoStep = 127;

    /// <summary>So many bits fit into the six of an entry and, with those of a whole code, into a window of 56.</summary>
    private const int MostBits = 25;

    /// <summary>A camera's pictures are all made alike, so what was made last is kept.</summary>
    private static volatile JpegScanSteps? last;

    private readonly ScanComponent[] components;
    private readonly short[] rows;
    private readonly uint[] places;
    private readonly JpegHuffmanTable[] dc;
    private readonly JpegHuffmanTable[] ac;

    private JpegScanSteps(ScanComponent[] components)
    {
        this.components = components;
        rows = new short[components.Length * 2 * RowLength];
        int blocks = components.Sum(component => component.Blocks);
        places = new uint[blocks];
        dc = new JpegHuffmanTable[blocks];
        ac = new JpegHuffmanTable[blocks];
        int[] firstRows = new int[blocks];
        int place = 0;
        for (int i = 0; i < components.Length; i++)
        {
            // Components that share their tables, as the two of colour do, share their rows.
            int first = Array.FindIndex(components, other => other.Dc == components[i].Dc && other.Ac == components[i].Ac) * 2 * RowLength;
            Fill(rows.AsSpan(first, RowLength), components[i].Dc, components[i].Ac);
            Fill(rows.AsSpan(first + RowLength, RowLength), components[i].Ac, components[i].Ac);
            for (int block = 0; block < components[i].Blocks; block++, place++)
            {
                firstRows[place] = first;
                dc[place] = components[i].Dc;
                ac[place] = components[i].Ac;
            }
        }

        for (int i = 0; i < blocks; i++)
        {
            int behind = (i + 1) % blocks;
            places[i] = (uint)firstRows[behind] | ((uint)behind << 16);
        }
    }

    /// <summary>The rows of all components, one behind the other.</summary>
    public ReadOnlySpan<short> Rows => rows;

    /// <summary>For each block of an MCU, of the block behind it: where its first row begins (low 16 bits) and which place it has (high 16 bits).</summary>
    public ReadOnlySpan<uint> Places => places;

    /// <summary>Makes the steps for a scan of these components.</summary>
    public static JpegScanSteps For(ReadOnlySpan<ScanComponent> components)
    {
        if (last is { } kept && components.SequenceEqual(kept.components))
        {
            return kept;
        }

        return last = new JpegScanSteps(components.ToArray());
    }

    /// <summary>The one code that stands at the top of the bits (see <see cref="JpegHuffmanTable.Step"/>).</summary>
    /// <param name="place">Which block of the MCU.</param>
    /// <param name="atBeginning">Whether the block begins here.</param>
    /// <param name="bits">The next bits, from the top.</param>
    public int Step(int place, bool atBeginning, ulong bits) => (atBeginning ? dc : ac)[place].Step(bits);

    private static void Fill(Span<short> row, JpegHuffmanTable first, JpegHuffmanTable others)
    {
        for (int pattern = 0; pattern < row.Length; pattern++)
        {
            int bits = 0;
            int coefficients = 0;
            int end = 0;
            while (bits < LookupBits && end == 0)
            {
                // Zeros are shifted in from below, so a code counts only when all its own bits were in the pattern.
                (int step, int codeLength) = (bits == 0 ? first : others).ShortStep((pattern << bits) & (RowLength - 1));
                bool endsBlock = step >> 8 == JpegHuffmanTable.EndOfBlock;
                int covered = coefficients + (endsBlock ? 0 : step >> 8);
                if (step <= 0 || bits + codeLength > LookupBits || bits + (step & 0xFF) > MostBits || covered > 63)
                {
                    break;
                }

                bits += step & 0xFF;
                coefficients = covered;
                end = endsBlock ? short.MinValue : 0;
            }

            row[pattern] = (short)(end | ((bits == 0 ? NoStep : coefficients) << 8) | bits);
        }
    }
}
