using System.Runtime.CompilerServices;
using System.Runtime.Intrinsics;

namespace CameraBridge.Dicom.Bitstreams;

/// <summary>What is asked of whole blocks of 64 coefficients.</summary>
internal static unsafe class JpegBlocks
{
    /// <summary>A bit for each coefficient that is not 0, the first one lowest.</summary>
    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static ulong NonZero(short* block)
    {
        ulong zero = 0;
        for (int i = 0; i < 4; i++)
        {
            Vector128<short> lower = Vector128.Equals(Vector128.Load(block + (i * 16)), Vector128<short>.Zero);
            Vector128<short> upper = Vector128.Equals(Vector128.Load(block + (i * 16) + 8), Vector128<short>.Zero);
            zero |= (ulong)Vector128.NarrowWithSaturation(lower, upper).ExtractMostSignificantBits() << (i * 16);
        }

        return ~zero;
    }
}
