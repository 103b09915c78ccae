using System.Numerics;
using System.Runtime.CompilerServices;
using static CameraBridge.Dicom.Bitstreams.JpegBits;

namespace CameraBridge.Dicom.Bitstreams;

/// <content>The blocks of each kind of scan (ITU-T T.81 sections F.2.2, G.1.2.1 to G.1.2.3).</content>
internal sealed unsafe partial class JpegCoefficientReader
{
    /// <summary>Blocks that still end without a code of their own (EOBn codes).</summary>
    private int endOfBandRun;

    private ScanEnd DecodeSequential(ScanPart part, short* block)
    {
        int predictor = part.Predictor;
        var target = new Kept(block);
        ScanEnd end = JpegSequentialBlock.Decode(bits, part.Dc, part.Ac, ref predictor, ref target);
        part.Predictor = predictor;
        return end;
    }

    private ScanEnd DecodeDcFirst(ScanPart part, JpegScan scan, short* block)
    {
        ulong window = bits.Window;
        int count = bits.Count;
        byte* at = bits.At;
        bits.Refill(ref window, ref count, ref at);
        int predictor = part.Predictor;
        if (!TakeDifference(part.Dc.Code(window), ref window, ref count, ref predictor))
        {
            return Broken(count);
        }

        part.Predictor = predictor;
        int value = predictor << scan.Low;
        block[0] = (short)value;
        return value is >= short.MinValue and <= short.MaxValue ? bits.Keep(window, count, at) : ScanEnd.Damaged;
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
        return bits.Keep(window, count, at);
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
                int zeros = (value >> 8) & 0xFF;
                Drop(value & 0xFF, ref window, ref count);
                if (zeros == JpegDecodingTable.EndOfBlock)
                {
                    break;
                }

                k += zeros;
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

        return k > scan.Last + 1 ? Broken(count) : bits.Keep(window, count, at);
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

        return bits.Keep(window, count, at);
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

    /// <summary>A block of a sequential scan, as it is written.</summary>
    private readonly struct Kept(short* block) : IJpegBlockTarget
    {
        [MethodImpl(MethodImplOptions.AggressiveInlining)]
        public void Put(int k, int value) => block[k] = (short)value;
    }
}
