using System.Buffers.Binary;
using System.Runtime.CompilerServices;
using System.Runtime.InteropServices;

namespace CameraBridge.Dicom.Bitstreams;

/// <summary>Collects bits, stuffs a zero behind each byte of ones (ITU-T T.81 section F.1.2.3), and passes them on in large pieces.</summary>
internal sealed unsafe class JpegBitWriter(Stream target)
{
    private const int BufferLength = 64 * 1024;

    /// <summary>The most that one block can take: 64 codes of 27 bits, every byte stuffed.</summary>
    private const int LongestBlock = 512;

    private readonly byte[] buffer = GC.AllocateUninitializedArray<byte>(BufferLength, pinned: true);

    /// <summary>Bits that are not yet bytes, in the lower end.</summary>
    public ulong Bits;

    /// <summary>Bits that still fit into <see cref="Bits"/>.</summary>
    public int Room = 64;

    /// <summary>Where the next byte goes.</summary>
    public byte* At;

    private byte* Start => (byte*)Unsafe.AsPointer(ref MemoryMarshal.GetArrayDataReference(buffer));

    /// <summary>Bytes passed on.</summary>
    public long Written { get; private set; }

    /// <summary>Bytes that are not entropy-coded data.</summary>
    public void WriteMarkers(ReadOnlySpan<byte> bytes)
    {
        target.Write(bytes);
        Written += bytes.Length;
    }

    /// <summary>Begins a scan's data.</summary>
    public void Begin()
    {
        Bits = 0;
        Room = 64;
        At = Start;
    }

    /// <summary>Makes room for one more block.</summary>
    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public void Ensure()
    {
        if (At - Start > BufferLength - LongestBlock)
        {
            PassOn();
        }
    }

    /// <summary>Adds bits to an encoder's own variables of <see cref="Bits"/>, <see cref="Room"/> and <see cref="At"/>.</summary>
    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static void Put(uint value, int length, ref ulong bits, ref int room, ref byte* at)
    {
        room -= length;
        if (room >= 0)
        {
            bits = (bits << length) | value;
            return;
        }

        // As many as fit, then the rest into an empty one.
        int rest = -room;
        Spill((bits << (length - rest)) | (value >> rest), ref at);
        bits = value;
        room = 64 - rest;
    }

    /// <summary>Ends a scan's data with ones up to a whole byte.</summary>
    public void End()
    {
        int used = 64 - Room;
        ulong left = Room is 0 or 64 ? Bits : (Bits << Room) | (ulong.MaxValue >> used);
        for (; used > 0; used -= 8, left <<= 8)
        {
            byte next = (byte)(left >> 56);
            *At++ = next;
            if (next == 0xFF)
            {
                *At++ = 0;
            }
        }

        PassOn();
        Begin();
    }

    /// <summary>Eight bytes; each of ones gets its zero.</summary>
    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private static void Spill(ulong word, ref byte* at)
    {
        // A byte of ones is a byte of zeros of the complement; the known trick finds whether there is one.
        ulong complement = ~word;
        if (((complement - 0x0101010101010101) & word & 0x8080808080808080) == 0)
        {
            Unsafe.WriteUnaligned(at, BinaryPrimitives.ReverseEndianness(word));
            at += 8;
            return;
        }

        for (int shift = 56; shift >= 0; shift -= 8)
        {
            byte next = (byte)(word >> shift);
            *at++ = next;
            if (next == 0xFF)
            {
                *at++ = 0;
            }
        }
    }

    private void PassOn()
    {
        int length = (int)(At - Start);
        target.Write(new ReadOnlySpan<byte>(Start, length));
        Written += length;
        At = Start;
    }
}
