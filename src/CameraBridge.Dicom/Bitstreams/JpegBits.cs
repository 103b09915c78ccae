using System.Buffers.Binary;
using System.Runtime.CompilerServices;
using System.Runtime.InteropServices;

namespace CameraBridge.Dicom.Bitstreams;

/// <summary>
/// The bits of a scan's entropy-coded data. A decoder takes the fields into variables of its own while it works on a block and puts them back behind it.
/// Behind the data zeros come, and <see cref="Count"/> falls below 0.
/// </summary>
internal sealed unsafe class JpegBits(JpegInput input)
{
    /// <summary>Bytes of data that are made ready at once: small enough to stay in the processor's nearest cache.</summary>
    private const int CleanLength = 16 * 1024;

    private readonly byte[] clean = GC.AllocateUninitializedArray<byte>(CleanLength, pinned: true);

    /// <summary>The next bits, from the top.</summary>
    public ulong Window;

    /// <summary>Bits in the window that were in the data.</summary>
    public int Count;

    /// <summary>The next byte.</summary>
    public byte* At;

    /// <summary>Behind the last byte from which eight can be read at once.</summary>
    public byte* LastWord;

    private byte* end;

    private byte* Start => (byte*)Unsafe.AsPointer(ref MemoryMarshal.GetArrayDataReference(clean));

    /// <summary>Forgets what is left over, at the beginning of a scan or behind a restart marker.</summary>
    public void Clear()
    {
        Window = 0;
        Count = 0;
        At = Start;
        end = At;
        LastWord = end - sizeof(ulong);
    }

    /// <summary>Brings at least 56 bits into the window, or zeros behind the data.</summary>
    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public void Refill(ref ulong window, ref int count, ref byte* at)
    {
        if (at <= LastWord)
        {
            // Without a branch: the bits of the last, partly taken byte are set twice, and they are the same bits.
            window |= BinaryPrimitives.ReverseEndianness(Unsafe.ReadUnaligned<ulong>(at)) >> count;
            at += (63 - count) >> 3;
            count |= 56;
            return;
        }

        Window = window;
        Count = count;
        At = at;
        RefillAtTheEnd();
        window = Window;
        count = Count;
        at = At;
    }

    /// <summary>Takes the restart marker that must stand here (ITU-T T.81 section B.2.1), over any bytes that should not.</summary>
    /// <returns>Null, or how the scan ended instead.</returns>
    public ScanEnd? TakeRestart(int number)
    {
        if (EndInterval() is var early and not ScanEnd.Whole)
        {
            return early;
        }

        int marker = input.Window[input.Position + 1];
        if (marker != 0xD0 + number)
        {
            return marker is >= 0xD0 and <= 0xD7 ? ScanEnd.Damaged : ScanEnd.Short;
        }

        input.Position += 2;
        return null;
    }

    /// <summary>Moves to the marker behind the data; bytes that are left over and are not 0 show that blocks before them were decoded from changed data.</summary>
    public ScanEnd EndInterval()
    {
        bool isStray = JpegScanWalk.HoldsData(Window, Count) || new ReadOnlySpan<byte>(At, (int)(end - At)).ContainsAnyExcept((byte)0);
        Clear();
        long from = input.Offset;
        return !JpegScanWalk.SkipToMarker(input) || !input.Ensure(2) ? ScanEnd.Short
            : isStray || input.Offset > from ? ScanEnd.Damaged
            : ScanEnd.Whole;
    }

    /// <summary>Takes bits away.</summary>
    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static void Drop(int length, ref ulong window, ref int count)
    {
        window <<= length;
        count -= length;
    }

    /// <summary>The difference to the DC value before (section F.2.2.1); false when there is none, or the sum is beyond what 8-bit samples give.</summary>
    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static bool TakeDifference(int code, ref ulong window, ref int count, ref int predictor)
    {
        int size = code & 0xFF;
        if (code == 0 || size > 15)
        {
            return false;
        }

        Drop(code >> 8, ref window, ref count);
        if (size != 0)
        {
            predictor += Extend(size, ref window, ref count);
        }

        return predictor is >= short.MinValue and <= short.MaxValue;
    }

    /// <summary>The appended bits as a value (section F.2.2.1, EXTEND).</summary>
    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static int Extend(int size, ref ulong window, ref int count)
    {
        int value = (int)(window >> (64 - size));
        int negative = ~((int)((long)window >> 63));
        Drop(size, ref window, ref count);
        return value + (negative & (1 - (1 << size)));
    }

    /// <summary>Behind the data the window holds zeros; what they mean is then no damage but the end.</summary>
    public static ScanEnd Broken(int count) => count < 16 ? ScanEnd.Short : ScanEnd.Damaged;

    /// <summary>Puts back what a decoder took into variables of its own.</summary>
    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public ScanEnd Keep(ulong window, int count, byte* at)
    {
        Window = window;
        Count = count;
        At = at;
        return count < 0 ? ScanEnd.Short : ScanEnd.Whole;
    }

    private void RefillAtTheEnd()
    {
        if (Count < 0)
        {
            return;
        }

        if (end - At < sizeof(ulong))
        {
            int left = (int)(end - At);
            new ReadOnlySpan<byte>(At, left).CopyTo(clean);
            At = Start;
            end = At + left + input.TakeEntropyCoded(clean.AsSpan(left));
            LastWord = end - sizeof(ulong);
        }

        while (Count <= 56 && At < end)
        {
            Window |= (ulong)*At++ << (56 - Count);
            Count += 8;
        }
    }
}
