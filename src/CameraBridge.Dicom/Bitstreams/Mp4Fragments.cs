namespace CameraBridge.Dicom.Bitstreams;

/// <summary>Movie fragments (ISO/IEC 14496-12 section 8.8): the index of a recording that must survive a power cut, in pieces between the pictures.</summary>
internal sealed class Mp4Fragments(ClipBytes bytes, ClipHeader header, IReadOnlyList<Mp4Track> tracks)
{
    private static readonly uint Traf = Mp4Box.Code("traf"), Tfhd = Mp4Box.Code("tfhd"), Trun = Mp4Box.Code("trun");

    private Mp4Track? _track;
    private long _base;
    private long _next;
    private uint _duration;
    private uint _size;

    public void Read(Mp4Box fragment)
    {
        _next = fragment.At;
        for (long at = fragment.Start; Mp4Box.Read(bytes, at, fragment.End) is { } box && box.End > at; at = box.End)
        {
            if (box.Type != Traf)
            {
                continue;
            }

            _track = null;
            for (long inner = box.Start; Mp4Box.Read(bytes, inner, box.End) is { } child && child.End > inner; inner = child.End)
            {
                if (child.Type == Tfhd)
                {
                    ReadHead(child, fragment.At);
                }
                else if (child.Type == Trun && _track is not null)
                {
                    ReadRun(child, _track);
                }
            }
        }
    }

    /// <summary>Section 8.8.7: flags, track, and what the flags announce.</summary>
    private void ReadHead(Mp4Box box, long fragmentAt)
    {
        uint flags = bytes.UInt32At(box.Start) ?? 0;
        uint id = bytes.UInt32At(box.Start + 4) ?? 0;
        _track = tracks.FirstOrDefault(track => track.Id == id);
        if (_track is null)
        {
            return;
        }

        long at = box.Start + 8;
        (_duration, _size) = (_track.DefaultDuration, _track.DefaultSize);
        _base = fragmentAt;
        if ((flags & 1) != 0)
        {
            _base = (long)Math.Min(bytes.UInt64At(at) ?? 0, long.MaxValue >> 1);
            at += 8;
        }

        at += (flags & 2) != 0 ? 4 : 0;
        if ((flags & 8) != 0)
        {
            _duration = bytes.UInt32At(at) ?? 0;
            at += 4;
        }

        if ((flags & 0x10) != 0)
        {
            _size = bytes.UInt32At(at) ?? 0;
        }

        _next = _base;
    }

    /// <summary>Section 8.8.8.</summary>
    private void ReadRun(Mp4Box box, Mp4Track track)
    {
        uint flags = bytes.UInt32At(box.Start) ?? 0;
        uint count = bytes.UInt32At(box.Start + 4) ?? 0;
        long at = box.Start + 8;
        if ((flags & 1) != 0)
        {
            _next = _base + (int)(bytes.UInt32At(at) ?? 0);
            at += 4;
        }

        at += (flags & 4) != 0 ? 4 : 0;
        int fields = ((flags & 0x100) != 0 ? 1 : 0) + ((flags & 0x200) != 0 ? 1 : 0) + ((flags & 0x400) != 0 ? 1 : 0) + ((flags & 0x800) != 0 ? 1 : 0);
        if (box.End - at < (long)count * fields * 4)
        {
            header.SetFlaw(ClipFlaw.Malformed, "A run of samples in a fragment of the file is shorter than it says.");
            return;
        }

        ulong length = fields == 0 ? (ulong)count * _size : 0;
        if (fields == 0)
        {
            track.Timing.Add(count, _duration);
        }
        else
        {
            var table = new Mp4Table(bytes, at, box.End);
            for (uint i = 0; i < count; i++)
            {
                track.Timing.Add(1, (flags & 0x100) != 0 ? table.UInt32() : _duration);
                length += (flags & 0x200) != 0 ? table.UInt32() : _size;
                for (uint other = flags & 0xC00; other != 0; other &= other - 1)
                {
                    table.UInt32();
                }
            }
        }

        if (_next < 0 || _next > header.Length || length > (ulong)(header.Length - _next))
        {
            header.SetFlaw(ClipFlaw.Torn, FormattableString.Invariant($"A fragment places samples behind the end of the file, which has {header.Length} bytes: it was cut off."));
            return;
        }

        if (track.FirstSampleAt < 0 && count > 0)
        {
            track.FirstSampleAt = _next;
        }

        track.Samples += count;
        track.SampleBytes += (long)length;
        _next += (long)length;
    }
}
