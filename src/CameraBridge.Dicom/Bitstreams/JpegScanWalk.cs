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

/// <summary>
/// Steps over the blocks of a sequential Huffman scan (ITU-T T.81 sections E.1.2 to E.1.4 and F.2.2) without decoding values, to learn whether
/// all are there. Measured: under 1 ms for 100 KB.
/// </summary>
internal sealed class JpegScanWalk(JpegInput input)
{
    /// <summary>Bytes of data that are made ready at once: small enough to stay in the processor's nearest cache.</summary>
    private const int CleanLength = 8 * 1024;

    private readonly byte[] clean = new byte[CleanLength];
    private int end;
    private State state;

    /// <summary>Restart markers passed.</summary>
    public long RestartMarkers { get; private set; }

    /// <summary>Bytes between the last code of an interval and the marker behind it: more than padding bits.</summary>
    public long ExtraBytes { get; private set; }

    /// <summary>
    /// Some of these bytes are not 0. A camera that fills up its data does so with zeros; what else is left over shows that blocks before it were decoded
    /// from changed data.
    /// </summary>
    public bool HasStrayData { get; private set; }

    /// <summary>MCUs stepped over.</summary>
    public long McuCount { get; private set; }

    /// <summary>Walks the scan. Afterwards the input stands at the marker behind it, or, when damaged, at any place within.</summary>
    public ScanEnd Walk(ReadOnlySpan<ScanComponent> components, long mcus, int restartInterval)
    {
        JpegScanSteps steps = JpegScanSteps.For(components);
        int blocks = steps.Places.Length;
        while (McuCount < mcus)
        {
            if (McuCount > 0 && !TakeRestart((int)(RestartMarkers & 7), out bool atOther))
            {
                return atOther ? ScanEnd.Damaged : ScanEnd.Short;
            }

            // A frame of 65,535 by 65,535 samples has 67 million blocks in each component.
            int interval = (int)Math.Min(restartInterval == 0 ? mcus : restartInterval, mcus - McuCount);
            state.BlocksLeft = interval * blocks;
            state.Row = (int)(steps.Places[^1] & 0xFFFF);
            ScanEnd found = WalkInterval(steps);
            McuCount += interval - JpegReader.DivideUp(state.BlocksLeft, blocks);
            if (found != ScanEnd.Whole)
            {
                return found;
            }
        }

        SkipToMarker();
        return ScanEnd.Whole;
    }

    private ScanEnd WalkInterval(JpegScanSteps steps)
    {
        while (true)
        {
            StepOver(ref state, steps.Rows, steps.Places, clean, end - sizeof(ulong));
            if (state.BlocksLeft == 0)
            {
                return ScanEnd.Whole;
            }

            RefillAtTheEnd();
            if (StepOverOneCode(steps) is { } found)
            {
                return found;
            }
        }
    }

    /// <summary>Steps over blocks as long as eight bytes can be read at once and every code is in the rows.</summary>
    // It must not begin in unoptimised code, and it holds no branch that depends on the picture, for each would be guessed wrongly every second time.
    [MethodImpl(MethodImplOptions.AggressiveOptimization)]
    private static void StepOver(ref State state, ReadOnlySpan<short> rows, ReadOnlySpan<uint> places, ReadOnlySpan<byte> data, int lastPosition)
    {
        ulong window = state.Window;
        int count = state.Count;
        int position = state.Position;
        int coefficient = state.Coefficient;
        int place = state.Place;
        int row = state.Row;
        int blocksLeft = state.BlocksLeft;
        uint behind = places[place];
        while (position <= lastPosition)
        {
            // The bits of the last, partly taken byte are set twice, and they are the same bits.
            window |= BinaryPrimitives.ReadUInt64BigEndian(data[position..]) >> count;
            position += (63 - count) >> 3;
            count |= 56;
            int step = rows[row + (int)(window >> (64 - JpegScanSteps.LookupBits))];
            int reached = coefficient + ((step >> 8) & 0x7F);
            if (reached > 63)
            {
                break;
            }

            window <<= step;
            count -= step & 0x3F;
            int ends = step >> 31;
            int inside = row | JpegScanSteps.RowLength;
            coefficient = reached & ~ends;
            row = inside ^ ((inside ^ (int)(behind & 0xFFFF)) & ends);
            place ^= (place ^ (int)(behind >> 16)) & ends;
            behind = places[place];
            blocksLeft += ends;
            if (blocksLeft == 0)
            {
                break;
            }
        }

        state = new State
        {
            Window = window,
            Count = count,
            Position = position,
            Coefficient = coefficient,
            Place = place,
            Row = row,
            BlocksLeft = blocksLeft,
        };
    }

    /// <returns>Null to go on.</returns>
    private ScanEnd? StepOverOneCode(JpegScanSteps steps)
    {
        int step = steps.Step(state.Place, state.Coefficient == 0, state.Window);
        if (step <= 0)
        {
            // Behind the data the window holds zeros; a code that is not there is then no damage but the end.
            return state.Count < 16 ? ScanEnd.Short : ScanEnd.Damaged;
        }

        state.Window <<= step;
        state.Count -= step & 0x3F;
        state.Coefficient += step >> 8;
        if (state.Count < 0)
        {
            return ScanEnd.Short;
        }

        if (state.Coefficient < 64)
        {
            state.Row |= JpegScanSteps.RowLength;
            return null;
        }

        if (state.Coefficient is not 64 and < JpegHuffmanTable.EndOfBlock)
        {
            return ScanEnd.Damaged;
        }

        uint behind = steps.Places[state.Place];
        state.Coefficient = 0;
        state.Row = (int)(behind & 0xFFFF);
        state.Place = (int)(behind >> 16);
        return --state.BlocksLeft == 0 ? ScanEnd.Whole : null;
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
        ExtraBytes += (Math.Max(state.Count, 0) / 8) + (end - state.Position);
        HasStrayData |= HoldsData(state.Window, state.Count) || clean.AsSpan(state.Position, end - state.Position).ContainsAnyExcept((byte)0);
        state = default;
        end = 0;
        long from = input.Offset;
        bool found = SkipToMarker(input);
        ExtraBytes += input.Offset - from;
        HasStrayData |= input.Offset > from;
        return found;
    }

    /// <summary>Whether a whole byte of the window's bits is not 0; the bits before it fill up the byte of the last code.</summary>
    internal static bool HoldsData(ulong window, int count) => count >= 8 && (window << (count & 7)) >> (64 - (count & ~7)) != 0;

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
    private void RefillAtTheEnd()
    {
        if (end - state.Position < sizeof(ulong))
        {
            Buffer.BlockCopy(clean, state.Position, clean, 0, end - state.Position);
            end -= state.Position;
            state.Position = 0;
            end += input.TakeEntropyCoded(clean.AsSpan(end));
        }

        while (state.Count <= 56 && state.Position < end)
        {
            state.Window |= (ulong)clean[state.Position++] << (56 - state.Count);
            state.Count += 8;
        }
    }

    /// <summary>Where the walk stands.</summary>
    private struct State
    {
        /// <summary>The next bits, from the top; and how many of them are data.</summary>
        public ulong Window;
        public int Count;

        /// <summary>The next byte of <see cref="clean"/>.</summary>
        public int Position;

        /// <summary>The next coefficient of the block, in zigzag order.</summary>
        public int Coefficient;

        /// <summary>Which block of the MCU.</summary>
        public int Place;

        /// <summary>The row of <see cref="JpegScanSteps"/> that the next codes are in.</summary>
        public int Row;

        /// <summary>Blocks before the next restart marker, or the end.</summary>
        public int BlocksLeft;
    }
}
