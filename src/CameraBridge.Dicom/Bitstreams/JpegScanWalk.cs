using System.Buffers.Binary;

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
internal readonly record struct ScanComponent(int Blocks, JpegHuffmanTable Dc, JpegHuffmanTable Ac);

/// <summary>
/// Steps over the blocks of a sequential Huffman scan (ITU-T T.81 sections E.1.2 to E.1.4 and F.2.2) without decoding values, to learn whether
/// all are there. Measured: under 1 ms for 100 KB.
/// </summary>
internal sealed class JpegScanWalk(JpegInput input)
{
    private ulong bits;
    private int bitCount;

    /// <summary>Restart markers passed.</summary>
    public long RestartMarkers { get; private set; }

    /// <summary>Bytes between the last code of an interval and the marker behind it: more than padding bits.</summary>
    public long ExtraBytes { get; private set; }

    /// <summary>MCUs stepped over.</summary>
    public long McuCount { get; private set; }

    /// <summary>Walks the scan. Afterwards the input stands at the marker behind it, or, when damaged, at any place within.</summary>
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
                    ScanEnd end = StepOverBlock(component.Dc, component.Ac);
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

    private ScanEnd StepOverBlock(JpegHuffmanTable dc, JpegHuffmanTable ac)
    {
        ulong window = bits;
        int count = bitCount;
        if (count < 32)
        {
            Refill(ref window, ref count);
        }

        short[] several = ac.Several;
        int step = dc.Step(window);
        int coefficient = 0;
        while (step > 0)
        {
            window <<= step & 0xFF;
            count -= step & 0xFF;
            coefficient += step >> 8;
            if (coefficient >= 64)
            {
                bits = window;
                bitCount = count;
                return count < 0 ? ScanEnd.Short
                    : coefficient is 64 or > JpegHuffmanTable.EndOfBlock ? ScanEnd.Whole : ScanEnd.Damaged;
            }

            // A code and its appended bits take 31 bits at most (16 + 15), so one refill a step is enough.
            if (count < 32)
            {
                Refill(ref window, ref count);
            }

            step = several[window >> (64 - JpegHuffmanTable.LookupBits)];
            if (step == 0 || !StaysInBlock(coefficient, step >> 8))
            {
                step = ac.Step(window);
            }
        }

        // Behind the data the window holds zeros; a code that is not there is then no damage but the end.
        return count < 16 ? ScanEnd.Short : ScanEnd.Damaged;
    }

    /// <summary>
    /// True when several codes taken at once all belong to the block: what they cover, but for an end of block that closes it, stays below its 64
    /// coefficients (or fills them exactly, when no end of block follows).
    /// </summary>
    private static bool StaysInBlock(int coefficient, int covered) => covered < JpegHuffmanTable.EndOfBlock
        ? coefficient + covered <= 64
        : coefficient + covered - JpegHuffmanTable.EndOfBlock < 64;

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
        ExtraBytes += bitCount / 8;
        bits = 0;
        bitCount = 0;
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

    private void Refill(ref ulong window, ref int count)
    {
        if (count < 0)
        {
            return;
        }

        if (input.End - input.Position >= 8)
        {
            ulong next = BinaryPrimitives.ReadUInt64BigEndian(input.Window.AsSpan(input.Position));
            bool hasMarkerByte = ((~next - 0x0101010101010101UL) & next & 0x8080808080808080UL) != 0;
            if (!hasMarkerByte)
            {
                // The bits of the last, partly taken byte may be set twice; they are the same bits.
                int taken = (64 - count) / 8;
                window |= next >> count;
                input.Position += taken;
                count += taken * 8;
                return;
            }
        }

        RefillByByte(ref window, ref count);
    }

    private void RefillByByte(ref ulong window, ref int count)
    {
        while (count <= 56 && input.Ensure(1))
        {
            byte value = input.Window[input.Position];
            if (value == 0xFF)
            {
                if (!input.Ensure(2))
                {
                    return;
                }

                byte next = input.Window[input.Position + 1];
                if (next == 0xFF)
                {
                    input.Position++;
                    continue;
                }

                if (next != 0)
                {
                    return;
                }

                input.Position++;
            }

            input.Position++;
            window |= (ulong)value << (56 - count);
            count += 8;
        }
    }
}
