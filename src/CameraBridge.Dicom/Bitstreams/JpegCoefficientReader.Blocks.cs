using System.Numerics;
using System.Runtime.CompilerServices;

namespace CameraBridge.Dicom.Bitstreams;

/// <content>The blocks of each kind of scan (ITU-T T.81 sections F.2.2, G.1.2.1 to G.1.2.3).</content>
internal sealed unsafe partial class JpegCoefficientReader
{
    /// <summary>Blocks that still end without a code of their own (EOBn codes).</summary>
    private int endOfBandRun;

    private ScanEnd DecodeSequential(ScanPart part, short* block)
    {
        ulong window = bits.Window;
        int count = bits.Count;
        byte* at = bits.At;
        bits.Refill(ref window, ref count, ref at);
        int code = part.Dc.Code(window);
        if (!TakeDifference(code, ref window, ref count, part))
        {
            return Broken(count);
        }

        block[0] = (short)part.Predictor;
        JpegDecodingTable table = part.Ac;
        int[] values = table.Values;
        int k = 1;
        do
        {
            if (count < 32)
            {
                bits.Refill(ref window, ref count, ref at);
            }

            int value = values[window >> (64 - JpegDecodingTable.LookupBits)];
            if (value != 0)
            {
                k += (value >> 8) & 0xFF;
                Drop(value & 0xFF, ref window, ref count);
                if (k > 63)
                {
                    return Broken(count);
                }

                block[k++] = (short)(value >> 16);
                continue;
            }

            code = table.Code(window);
            if (code == 0)
            {
                return Broken(count);
            }

            Drop(code >> 8, ref window, ref count);
            int size = code & 15;
            int run = (code >> 4) & 15;
            if (size == 0)
            {
                if (run != 15)
                {
                    break;
                }

                k += 16;
                continue;
            }

            k += run;
            if (k > 63)
            {
                return Broken(count);
            }

            block[k++] = (short)Extend(size, ref window, ref count);
        }
        while (k < 64);

        return k > 64 ? Broken(count) : Keep(window, count, at);
    }

    private ScanEnd DecodeDcFirst(ScanPart part, JpegScan scan, short* block)
    {
        ulong window = bits.Window;
        int count = bits.Count;
        byte* at = bits.At;
        bits.Refill(ref window, ref count, ref at);
        if (!TakeDifference(part.Dc.Code(window), ref window, ref count, part))
        {
            return Broken(count);
        }

        int value = part.Predictor << scan.Low;
        block[0] = (short)value;
        return value is >= short.MinValue and <= short.MaxValue ? Keep(window, count, at) : ScanEnd.Damaged;
    }

    private ScanEnd RefineDc(JpegScan scan, short* block)
    {
        ulong window = bits.Window;
        int count = bits.Count;
        byte* at = bits.At;
        if (count < 1)
        {
            bits.Refill(ref window, ref count, ref at);
        }

        block[0] |= (short)((int)(window >> 63) << scan.Low);
        Drop(1, ref window, ref count);
        return Keep(window, count, at);
    }

    private ScanEnd DecodeAcFirst(ScanPart part, JpegScan scan, short* block)
    {
        if (endOfBandRun > 0)
        {
            endOfBandRun--;
            return ScanEnd.Whole;
        }

        ulong window = bits.Window;
        int count = bits.Count;
        byte* at = bits.At;
        int[] values = part.Ac.Values;
        int k = scan.First;
        while (k <= scan.Last)
        {
            if (count < 32)
            {
                bits.Refill(ref window, ref count, ref at);
            }

            int value = values[window >> (64 - JpegDecodingTable.LookupBits)];
            if (value != 0)
            {
                k += (value >> 8) & 0xFF;
                Drop(value & 0xFF, ref window, ref count);
                if (k > scan.Last)
                {
                    return Broken(count);
                }

                block[k++] = (short)((value >> 16) << scan.Low);
                continue;
            }

            int code = part.Ac.Code(window);
            if (code == 0)
            {
                return Broken(count);
            }

            Drop(code >> 8, ref window, ref count);
            int size = code & 15;
            int run = (code >> 4) & 15;
            if (size == 0)
            {
                if (run != 15)
                {
                    endOfBandRun = TakeRun(run, ref window, ref count) - 1;
                    break;
                }

                k += 16;
                continue;
            }

            k += run;
            int extended = Extend(size, ref window, ref count) << scan.Low;
            if (k > scan.Last || extended is < short.MinValue or > short.MaxValue)
            {
                return Broken(count);
            }

            block[k++] = (short)extended;
        }

        return k > scan.Last + 1 ? Broken(count) : Keep(window, count, at);
    }

    private ScanEnd RefineAc(ScanPart part, JpegScan scan, short* block)
    {
        // Bits of the coefficients of the band that are known not to be 0: each gets a bit of correction as the scan passes it.
        ulong known = JpegBlocks.NonZero(block) & (ulong.MaxValue << scan.First) & (ulong.MaxValue >> (63 - scan.Last));
        int k = scan.First;
        int plus = 1 << scan.Low;
        ulong window = bits.Window;
        int count = bits.Count;
        byte* at = bits.At;
        while (endOfBandRun == 0 && k <= scan.Last)
        {
            if (count < 32)
            {
                bits.Refill(ref window, ref count, ref at);
            }

            int code = part.Ac.Code(window);
            if (code == 0)
            {
                return Broken(count);
            }

            Drop(code >> 8, ref window, ref count);
            int run = (code >> 4) & 15;
            int value = 0;
            if ((code & 15) == 0)
            {
                if (run != 15)
                {
                    endOfBandRun = TakeRun(run, ref window, ref count);
                    break;
                }
            }
            else if ((code & 15) == 1)
            {
                value = (long)window < 0 ? plus : -plus;
                Drop(1, ref window, ref count);
            }
            else
            {
                return Broken(count);
            }

            // Over so many zeros that stay zeros, and to the one behind them.
            while (true)
            {
                int next = known >> k == 0 ? scan.Last + 1 : k + BitOperations.TrailingZeroCount(known >> k);
                if (run < next - k)
                {
                    k += run;
                    break;
                }

                run -= next - k;
                k = next;
                if (k > scan.Last)
                {
                    break;
                }

                Correct(block + k, plus, ref window, ref count, ref at);
                if (++k > scan.Last)
                {
                    break;
                }
            }

            if (value != 0)
            {
                if (k > scan.Last)
                {
                    return Broken(count);
                }

                block[k] = (short)value;
            }

            k++;
        }

        if (endOfBandRun > 0)
        {
            for (known = k > 63 ? 0 : known & (ulong.MaxValue << k); known != 0; known &= known - 1)
            {
                Correct(block + BitOperations.TrailingZeroCount(known), plus, ref window, ref count, ref at);
            }

            endOfBandRun--;
        }

        return Keep(window, count, at);
    }

    /// <summary>One more bit of a coefficient that is not 0.</summary>
    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private void Correct(short* coefficient, int plus, ref ulong window, ref int count, ref byte* at)
    {
        if (count < 1)
        {
            bits.Refill(ref window, ref count, ref at);
        }

        if ((long)window < 0 && (*coefficient & plus) == 0)
        {
            *coefficient += (short)(*coefficient >= 0 ? plus : -plus);
        }

        Drop(1, ref window, ref count);
    }

    /// <summary>Blocks that an EOBn code covers: 2^n, and n appended bits (Table G.1).</summary>
    private static int TakeRun(int exponent, ref ulong window, ref int count)
    {
        int run = (1 << exponent) + (exponent == 0 ? 0 : (int)(window >> (64 - exponent)));
        Drop(exponent, ref window, ref count);
        return run;
    }

    /// <summary>The difference to the DC value before (section F.2.2.1); false when there is none, or the sum is beyond what 8-bit samples give.</summary>
    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private static bool TakeDifference(int code, ref ulong window, ref int count, ScanPart part)
    {
        int size = code & 0xFF;
        if (code == 0 || size > 15)
        {
            return false;
        }

        Drop(code >> 8, ref window, ref count);
        if (size != 0)
        {
            part.Predictor += Extend(size, ref window, ref count);
        }

        return part.Predictor is >= short.MinValue and <= short.MaxValue;
    }

    /// <summary>The appended bits as a value (section F.2.2.1, EXTEND).</summary>
    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private static int Extend(int size, ref ulong window, ref int count)
    {
        int value = (int)(window >> (64 - size));
        int negative = ~((int)((long)window >> 63));
        Drop(size, ref window, ref count);
        return value + (negative & (1 - (1 << size)));
    }

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private static void Drop(int length, ref ulong window, ref int count)
    {
        window <<= length;
        count -= length;
    }

    /// <summary>Behind the data the window holds zeros; what they mean is then no damage but the end.</summary>
    private static ScanEnd Broken(int count) => count < 16 ? ScanEnd.Short : ScanEnd.Damaged;

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private ScanEnd Keep(ulong window, int count, byte* at)
    {
        bits.Window = window;
        bits.Count = count;
        bits.At = at;
        return count < 0 ? ScanEnd.Short : ScanEnd.Whole;
    }
}
