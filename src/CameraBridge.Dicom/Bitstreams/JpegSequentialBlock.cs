using System.Runtime.CompilerServices;
using System.Runtime.InteropServices;
using static CameraBridge.Dicom.Bitstreams.JpegBits;

namespace CameraBridge.Dicom.Bitstreams;

/// <summary>Takes the coefficients of a block that are not 0, and the first one always, in the order in which they are written.</summary>
internal interface IJpegBlockTarget
{
    /// <summary>Takes one.</summary>
    /// <param name="k">Its place in the zigzag order, 0 to 63.</param>
    /// <param name="value">Its quantized value; the first one with the prediction added.</param>
    void Put(int k, int value);
}

/// <summary>A block of a sequential Huffman scan (ITU-T T.81 section F.2.2), for whoever makes what of its coefficients.</summary>
internal static unsafe class JpegSequentialBlock
{
    /// <summary>Decodes one block.</summary>
    /// <param name="bits">Stands at its beginning, and behind it afterwards.</param>
    /// <param name="dc">The component's table of DC differences ...</param>
    /// <param name="ac">... and of AC coefficients.</param>
    /// <param name="predictor">The DC value of the component's block before, and of this one afterwards.</param>
    /// <param name="target">Takes the coefficients.</param>
    /// <returns>Whether it is whole.</returns>
    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static ScanEnd Decode<TTarget>(JpegBits bits, JpegDecodingTable dc, JpegDecodingTable ac, ref int predictor, ref TTarget target)
        where TTarget : struct, IJpegBlockTarget
    {
        ulong window = bits.Window;
        int count = bits.Count;
        byte* at = bits.At;
        bits.Refill(ref window, ref count, ref at);
        int code = dc.Code(window);
        if (!TakeDifference(code, ref window, ref count, ref predictor))
        {
            return Broken(count);
        }

        // A copy may be kept in registers.
        TTarget taking = target;
        taking.Put(0, predictor);
        ref int values = ref MemoryMarshal.GetArrayDataReference(ac.Values);
        int k = 1;
        do
        {
            if (count < 32)
            {
                bits.Refill(ref window, ref count, ref at);
            }

            // The table has an entry for each value of these bits.
            int value = Unsafe.Add(ref values, (nint)(window >> (64 - JpegDecodingTable.LookupBits)));
            if (value != 0)
            {
                int run = (value >> 8) & 0xFF;
                Drop(value & 0xFF, ref window, ref count);
                if (k + run <= 63)
                {
                    k += run;
                    taking.Put(k++, value >> 16);
                    continue;
                }

                if (run == JpegDecodingTable.EndOfBlock)
                {
                    break;
                }

                return Broken(count);
            }

            code = ac.Code(window);
            if (code == 0)
            {
                return Broken(count);
            }

            Drop(code >> 8, ref window, ref count);
            int size = code & 15;
            int zeros = (code >> 4) & 15;
            if (size == 0)
            {
                if (zeros != 15)
                {
                    break;
                }

                k += 16;
                continue;
            }

            k += zeros;
            if (k > 63)
            {
                return Broken(count);
            }

            taking.Put(k++, Extend(size, ref window, ref count));
        }
        while (k < 64);

        target = taking;
        return k > 64 ? Broken(count) : bits.Keep(window, count, at);
    }
}
