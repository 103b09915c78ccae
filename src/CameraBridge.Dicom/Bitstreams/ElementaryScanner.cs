namespace CameraBridge.Dicom.Bitstreams;

/// <summary>
/// Counts the pictures of an MPEG-2, H.264 or HEVC stream that passes by in pieces, and takes its first parameter sets. Memory is one buffer.
/// </summary>
internal sealed class ElementaryScanner(ClipVideo video, ClipHeader header)
{
    private const int BufferLength = 256 * 1024;

    /// <summary>Kept behind a start code before it is looked at, so that a parameter set is whole.</summary>
    private const int LookAhead = 4096;

    private const int HalvesOfFrame = 2;

    private readonly byte[] _buffer = new byte[BufferLength];
    private int _count;
    private int _at;
    private long _halves;
    private bool _hasSlice;
    private bool _hasSequence;
    private H264Parameters? _avc;

    public void Feed(ReadOnlySpan<byte> bytes)
    {
        video.Bytes += bytes.Length;
        while (!bytes.IsEmpty)
        {
            int some = Math.Min(bytes.Length, BufferLength - _count);
            bytes[..some].CopyTo(_buffer.AsSpan(_count));
            _count += some;
            bytes = bytes[some..];
            if (_count == BufferLength)
            {
                Scan(_count - LookAhead);
                _buffer.AsSpan(_at, _count - _at).CopyTo(_buffer);
                _count -= _at;
                _at = 0;
            }
        }
    }

    public void Finish()
    {
        Scan(_count);
        video.Frames = (_halves + 1) / HalvesOfFrame;
    }

    private void Scan(int end)
    {
        while (_at < end)
        {
            int found = _buffer.AsSpan(_at.._count).IndexOf((ReadOnlySpan<byte>)[0, 0, 1]);
            if (found < 0)
            {
                // The last two bytes may begin a start code.
                _at = Math.Max(_at, _count - 2);
                return;
            }

            if (_at + found >= end)
            {
                _at += found;
                return;
            }

            _at += found;
            Take(_buffer.AsSpan(_at, Math.Min(LookAhead, _count - _at)));
            _at += 3;
        }
    }

    private void Take(ReadOnlySpan<byte> coded)
    {
        if (coded.Length < 5)
        {
            return;
        }

        if (video.Codec is ClipCodec.Mpeg1 or ClipCodec.Mpeg2)
        {
            TakeMpeg2(coded);
        }
        else if (video.Codec == ClipCodec.H264)
        {
            TakeH264(coded[3..]);
        }
        else if (video.Codec == ClipCodec.Hevc)
        {
            TakeHevc(coded[3..]);
        }
    }

    /// <summary>A picture header is 00H; a coding extension (B5H, 8) says whether the picture is a field only (ISO/IEC 13818-2 section 6.2.3.1).</summary>
    private void TakeMpeg2(ReadOnlySpan<byte> coded)
    {
        switch (coded[3])
        {
            case 0xB3 when !_hasSequence:
                _hasSequence = true;
                Mpeg2Sequence.Read(coded)?.ApplyTo(video, header);
                break;
            case 0x00:
                _halves += HalvesOfFrame;
                break;
            case 0xB5 when coded[4] >> 4 == 8 && coded.Length > 6 && (coded[6] & 3) != 3:
                _halves--;
                break;
        }
    }

    /// <summary>The first slice of a picture begins with macroblock 0, ue(v) of one bit (ISO/IEC 14496-10 section 7.3.3).</summary>
    private void TakeH264(ReadOnlySpan<byte> unit)
    {
        int type = unit[0] & 0x1F;
        if (type == 7 && !_hasSlice)
        {
            _avc = H264Parameters.Read(unit[..UnitLength(unit)]) ?? _avc;
        }

        if (type is 1 or 5 && (unit[1] & 0x80) != 0)
        {
            _halves += IsField(unit) ? 1 : HalvesOfFrame;
        }

        _hasSlice |= type is >= 1 and <= 5;
        if (!_hasSlice)
        {
            UnitFacts.Take(unit[..UnitLength(unit)], video, header, isInBand: false);
        }
    }

    private void TakeHevc(ReadOnlySpan<byte> unit)
    {
        int type = (unit[0] >> 1) & 0x3F;
        if (type < 32)
        {
            _hasSlice = true;
            _halves += unit.Length > 2 && (unit[2] & 0x80) != 0 ? HalvesOfFrame : 0;
        }
        else if (!_hasSlice)
        {
            UnitFacts.Take(unit[..UnitLength(unit)], video, header, isInBand: false);
        }
    }

    private bool IsField(ReadOnlySpan<byte> unit)
    {
        if (_avc is not { IsInterlaced: true } set)
        {
            return false;
        }

        Span<byte> payload = stackalloc byte[32];
        var bits = new BitReader(payload[..BitReader.Unescape(unit[1..Math.Min(unit.Length, 32)], payload)]);
        bits.Unsigned();
        bits.Unsigned();
        bits.Unsigned();
        bits.Skip(set.FrameNumberBits + (set.HasSeparatePlanes ? 2 : 0));
        return bits.Flag();
    }

    private static int UnitLength(ReadOnlySpan<byte> unit)
    {
        int next = unit.IndexOf((ReadOnlySpan<byte>)[0, 0, 1]);
        return next < 0 ? unit.Length : next > 0 && unit[next - 1] == 0 ? next - 1 : next;
    }
}

/// <summary>A stream without a container.</summary>
internal static class ElementaryReader
{
    public static void Read(ClipBytes bytes, ClipHeader header)
    {
        Span<byte> head = stackalloc byte[8];
        head = head[..bytes.ReadAt(0, head)];
        int after = head.IndexOf((byte)1) + 1;
        byte first = after > 0 && after < head.Length ? head[after] : (byte)0;
        var video = new ClipVideo
        {
            Codec = first == 0xB3 ? ClipCodec.Mpeg2 : first is 0x40 or 0x46 ? ClipCodec.Hevc : ClipCodec.H264,
            Name = "without a container",
        };
        header.Video = video;
        header.VideoTracks = 1;
        var scanner = new ElementaryScanner(video, header);
        for (long at = 0; bytes.Peek(at) is { IsEmpty: false } some; at += some.Length)
        {
            scanner.Feed(some);
        }

        scanner.Finish();
    }
}
