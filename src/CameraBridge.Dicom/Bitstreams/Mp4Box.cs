using System.Buffers.Binary;
using System.Text;

namespace CameraBridge.Dicom.Bitstreams;

/// <summary>A box (ISO/IEC 14496-12 section 4.2).</summary>
/// <param name="Type">Its four letters as a big endian number.</param>
/// <param name="At">Where its header begins.</param>
/// <param name="Start">Where its contents begin.</param>
/// <param name="End">Where it ends by its own size; never beyond what holds it, see <paramref name="IsCut"/>.</param>
/// <param name="IsCut">It said that it is longer than what holds it.</param>
internal readonly record struct Mp4Box(uint Type, long At, long Start, long End, bool IsCut)
{
    public long Length => End - Start;

    public static uint Code(string letters) => BinaryPrimitives.ReadUInt32BigEndian(Encoding.Latin1.GetBytes(letters));

    /// <summary>Four letters for people; what cannot be printed becomes a full stop.</summary>
    public static string Letters(uint code) => string.Create(4, code, (text, value) =>
    {
        for (int i = 0; i < 4; i++)
        {
            char letter = (char)(byte)(value >> (24 - (i * 8)));
            text[i] = letter is >= ' ' and <= '~' ? letter : '.';
        }
    });

    /// <summary>The box at a place, or null when no header fits there or its size is none.</summary>
    public static Mp4Box? Read(ClipBytes bytes, long at, long end)
    {
        if (end - at < 8 || bytes.UInt32At(at) is not { } size || bytes.UInt32At(at + 4) is not { } type)
        {
            return null;
        }

        (long start, ulong length) = (at + 8, size);
        if (size == 1)
        {
            if (end - at < 16 || bytes.UInt64At(at + 8) is not { } large)
            {
                return null;
            }

            (start, length) = (at + 16, large);
        }
        else if (size == 0)
        {
            length = (ulong)(end - at);
        }

        if (length < (ulong)(start - at))
        {
            return null;
        }

        bool isCut = length > (ulong)(end - at);
        return new Mp4Box(type, at, start, isCut ? end : at + (long)length, isCut);
    }
}

/// <summary>Numbers of a table one after the other, big endian, through a small buffer of its own: several tables are walked side by side.</summary>
internal sealed class Mp4Table(ClipBytes bytes, long start, long end)
{
    private readonly byte[] _buffer = new byte[16 * 1024];
    private long _next = start;
    private int _at;
    private int _count;

    public uint UInt32() => BinaryPrimitives.ReadUInt32BigEndian(Take(4));

    public ulong UInt64() => BinaryPrimitives.ReadUInt64BigEndian(Take(8));

    /// <summary>A number of 4, 8 or 16 bits of a compact size table; two of 4 bits share a byte, the first in its upper half.</summary>
    public uint Field(int bits, long index)
    {
        if (bits == 16)
        {
            return BinaryPrimitives.ReadUInt16BigEndian(Take(2));
        }

        if (bits == 8)
        {
            return Take(1)[0];
        }

        if ((index & 1) == 0)
        {
            return (uint)Take(1)[0] >> 4;
        }

        return (uint)_buffer[_at - 1] & 15;
    }

    /// <summary>Beyond the end there are zeros.</summary>
    private ReadOnlySpan<byte> Take(int count)
    {
        if (_count - _at < count)
        {
            _buffer.AsSpan(_at, _count - _at).CopyTo(_buffer);
            _count -= _at;
            _at = 0;
            int wanted = (int)Math.Clamp(end - _next, 0, _buffer.Length - _count);
            int read = bytes.ReadAt(_next, _buffer.AsSpan(_count, wanted));
            _next += read;
            _count += read;
            if (_count < count)
            {
                _buffer.AsSpan(_count, count - _count).Clear();
                _count = count;
            }
        }

        _at += count;
        return _buffer.AsSpan(_at - count, count);
    }
}
