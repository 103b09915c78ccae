namespace CameraBridge.Dicom.Bitstreams;

/// <summary>
/// Bits of a parameter set (ISO/IEC 14496-10 section 7.2 and 9.1; 23008-2 the same). Reading past the end gives zeros and sets <see cref="IsOver"/>, so
/// that a torn set is known at the end and loops over its counts end.
/// </summary>
internal ref struct BitReader(ReadOnlySpan<byte> bytes)
{
    private readonly ReadOnlySpan<byte> _bytes = bytes;
    private long _at;

    /// <summary>More was read than there is.</summary>
    public bool IsOver { get; private set; }

    /// <summary>The payload of a NAL unit without its emulation prevention bytes: 00 00 03 becomes 00 00 (ISO/IEC 14496-10 section 7.4.1.1).</summary>
    public static int Unescape(ReadOnlySpan<byte> unit, Span<byte> payload)
    {
        int zeros = 0;
        int count = 0;
        foreach (byte next in unit)
        {
            if (zeros >= 2 && next == 3)
            {
                zeros = 0;
                continue;
            }

            zeros = next == 0 ? zeros + 1 : 0;
            if (count == payload.Length)
            {
                break;
            }

            payload[count++] = next;
        }

        return count;
    }

    public bool Flag() => Bits(1) == 1;

    public uint Bits(int count)
    {
        uint value = 0;
        for (int i = 0; i < count; i++)
        {
            long index = _at >> 3;
            if (index >= _bytes.Length)
            {
                IsOver = true;
                return 0;
            }

            value = (value << 1) | (uint)((_bytes[(int)index] >> (7 - (int)(_at & 7))) & 1);
            _at++;
        }

        return value;
    }

    public void Skip(int count)
    {
        _at += count;
        IsOver |= _at > _bytes.Length * 8L;
    }

    /// <summary>ue(v).</summary>
    public uint Unsigned()
    {
        int zeros = 0;
        while (!IsOver && !Flag())
        {
            if (++zeros > 31)
            {
                IsOver = true;
            }
        }

        return IsOver ? 0 : (uint)((1UL << zeros) - 1 + Bits(zeros));
    }

    /// <summary>se(v).</summary>
    public int Signed()
    {
        uint code = Unsigned();
        return (code & 1) == 1 ? (int)((code >> 1) + 1) : -(int)(code >> 1);
    }
}
