using System.Buffers.Binary;
using System.Runtime.CompilerServices;

namespace CameraBridge.Dicom.Bitstreams;

/// <summary>How the entropy-coded data of one scan ended.</summary>
internal enum ScanEnd
{
    /// <summary>Every block is there.</summary>
    Whole,

    /// <summary>Blocks are missing before a marker or the end of the file.</summary>
    Short,

    /// <summary>A code that the tables do not have, a run beyond the block, or restart markers out of order.</summary>
    Damaged,
}

/// <summary>One component as a scan takes it: blocks in an MCU and its tables.</summary>
internal readonly record struct ScanComponent(int Blocks, JpegHuffmanTable Dc, JpegHuffmanTable Ac)
{
    /// <summary>See <see cref="JpegHuffmanTable.BeginningsWith"/>.</summary>
    public short[] Beginnings { get; } = Dc.BeginningsWith(Ac);
}

/// <summary>
/// Steps over the blocks of a sequential Huffman scan (ITU-T T.81 sections E.1.2 to E.1.4 and F.2.2) without decoding values, to learn whether
/// all are there. Measured: under 1 ms for 100 KB.
/// </summary>
internal sealed class JpegScanWalk(JpegInput input)
{
    /// <summary>Bytes of data that are made ready at once: small enough to stay in the processor's nearest cache.</summary>
    private const int CleanLength = 8 * 1024;

    /// <summary>Below this coefficient several codes at once cannot reach beyond the block.</summary>
    private const int LastToTakeSeveral = 63 - JpegHuffmanTable.MostCoefficientsAtOnce;

    private readonly byte[] clean = new byte[CleanLength];
    private int position;
    private int end;
    private ulong bits;
    private int bitCount;

    /// <summary>Restart markers passed.</summary>
    public long RestartMarkers { get; private set; }

    /// <summary>Bytes between the last code of an interval and the marker behind it: more than padding bits.</summary>
    public long ExtraBytes { get; private set; }

    /// <summary>MCUs stepped over.</summary>
    public long McuCount { get; private set; }

    /// <summary>Walks the scan. Afterwards the input stands at the marker behind it, or, when damaged, at any place within.</summary>
    // One long loop from the first picture on: it must not begin in unoptimised code.
    [MethodImpl(MethodImplOptions.AggressiveOptimization)]
    public ScanEnd Walk(ReadOnlySpan<ScanComponent> components, long mcus, int restartInterval)
    {
        long untilRestart = restartInterval == 0 ? long.MaxValue : restartInterval;
        int nextRestart = 0;
        for (; McuCount < mcus; McuCount++)
        {
            if (untilRestart == 0)
            {
                if (!TakeRestart(nextRestart, out bool atOther))
                {
                    return atOther ? ScanEnd.Damaged : ScanEnd.Short;
                }

                nextRestart = (nextRestart + 1) & 7;
                untilRestart = restartInterval;
            }

            foreach (ScanComponent component in components)
            {
                for (int block = 0; block < component.Blocks; block++)
                {
                    ScanEnd end = StepOverBlock(component.Beginnings, component.Dc, component.Ac);
                    if (end != ScanEnd.Whole)
                    {
                        return end;
                    }
                }
            }

            untilRestart--;
        }

        SkipToMarker();
        return ScanEnd.Whole;
    }

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private ScanEnd StepOverBlock(short[] beginnings, JpegHuffmanTable dc, JpegHuffmanTable ac)
    {
        ulong window = bits;
        int count = bitCount;
        int at = position;
        short[] several = ac.Several;
        int coefficient = 0;
        Refill(ref window, ref count, ref at);
        int step = beginnings[window >> (64 - JpegHuffmanTable.LookupBits)];
        if (step == 0)
        {
            step = dc.Step(window);
        }

        while (step > 0)
        {
            Take(step, ref window, ref count, ref coefficient);
            if (coefficient < 64)
            {
                // A code and its appended bits take 31 bits at most (16 + 15), several looked up at once 11: of 56 bits both can be taken.
                step = several[window >> (64 - JpegHuffmanTable.LookupBits)];
                if (step != 0 && coefficient <= LastToTakeSeveral)
                {
                    Take(step, ref window, ref count, ref coefficient);
                }
            }

            if (coefficient >= 64)
            {
                bits = window;
                bitCount = count;
                position = at;
                return count < 0 ? ScanEnd.Short
                    : coefficient is 64 or > JpegHuffmanTable.EndOfBlock ? ScanEnd.Whole : ScanEnd.Damaged;
            }

            Refill(ref window, ref count, ref at);
            step = several[window >> (64 - JpegHuffmanTable.LookupBits)];
            if (step == 0 || coefficient > LastToTakeSeveral)
            {
                step = ac.Step(window);
            }
        }

        // Behind the data the window holds zeros; a code that is not there is then no damage but the end.
        return count < 16 ? ScanEnd.Short : ScanEnd.Damaged;
    }

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private static void Take(int step, ref ulong window, ref int count, ref int coefficient)
    {
        window <<= step & 0x3F;
        count -= step & 0x3F;
        coefficient += step >> 8;
    }

    /// <summary>Takes the restart marker that must stand here, over any bytes that should not.</summary>
    private bool TakeRestart(int number, out bool atOtherRestart)
    {
        atOtherRestart = false;
        if (!SkipToMarker() || !input.Ensure(2))
        {
            return false;
        }

        int marker = input.Window[input.Position + 1];
        if (marker != 0xD0 + number)
        {
            atOtherRestart = marker is >= 0xD0 and <= 0xD7;
            return false;
        }

        input.Position += 2;
        RestartMarkers++;
        return true;
    }

    private bool SkipToMarker()
    {
        ExtraBytes += (Math.Max(bitCount, 0) / 8) + (end - position);
        bits = 0;
        bitCount = 0;
        position = 0;
        end = 0;
        long from = input.Offset;
        bool found = SkipToMarker(input);
        ExtraBytes += input.Offset - from;
        return found;
    }

    /// <summary>Moves to the next FFH that begins a marker; stuffed zeros and fill bytes are passed over.</summary>
    /// <returns>False when the file ends first.</returns>
    public static bool SkipToMarker(JpegInput input)
    {
        while (input.Ensure(2))
        {
            ReadOnlySpan<byte> buffered = input.Buffered;
            int at = buffered.IndexOf((byte)0xFF);
            if (at < 0)
            {
                input.Position = input.End;
            }
            else if (at == buffered.Length - 1)
            {
                input.Position += at;
            }
            else if (buffered[at + 1] is 0x00 or 0xFF)
            {
                // Of fill bytes only the last may begin a marker; a stuffed zero is data.
                input.Position += at + (buffered[at + 1] == 0 ? 2 : 1);
            }
            else
            {
                input.Position += at;
                return true;
            }
        }

        input.Position = input.End;
        return false;
    }

    /// <summary>Brings at least 56 bits into the window, or zeros behind the data.</summary>
    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private void Refill(ref ulong window, ref int count, ref int at)
    {
        if (at <= end - 8)
        {
            // Without a branch: the bits of the last, partly taken byte are set twice, and they are the same bits.
            window |= BinaryPrimitives.ReadUInt64BigEndian(clean.AsSpan(at)) >> count;
            at += (63 - count) >> 3;
            count |= 56;
            return;
        }

        RefillAtTheEnd(ref window, ref count, ref at);
    }

    private void RefillAtTheEnd(ref ulong window, ref int count, ref int at)
    {
        if (count < 0)
        {
            return;
        }

        if (end - at < 8)
        {
            FetchClean(ref at);
        }

        while (count <= 56 && at < end)
        {
            window |= (ulong)clean[at++] << (56 - count);
            count += 8;
        }
    }

    private void FetchClean(ref int at)
    {
        Buffer.BlockCopy(clean, at, clean, 0, end - at);
        end -= at;
        at = 0;
        end += input.TakeEntropyCoded(clean.AsSpan(end));
    }
}
