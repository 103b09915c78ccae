using System.Buffers.Binary;

namespace CameraBridge.Dicom.Bitstreams;

/// <summary>Walks a transport stream (ISO/IEC 13818-1 section 2.4) packet by packet: its tables, its pictures, and the beginning of its sound.</summary>
internal sealed class TransportStreamReader(ClipBytes bytes, ClipHeader header)
{
    private const int PacketLength = 188;
    private const int NullPid = 0x1FFF;

    private readonly MpegClock _clock = new();
    private readonly SortedDictionary<int, ClipSound> _sounds = [];
    private readonly Dictionary<int, int> _soundTypes = [];
    private ElementaryScanner? _scanner;
    private int _mapPid = -1;
    private int _videoPid = -1;
    private int _counter = -1;
    private bool _isInPacket;

    public void Read()
    {
        int lead = header.Container == ClipContainer.TimedTransportStream ? 4 : 0;
        Span<byte> packet = stackalloc byte[PacketLength];
        for (long at = lead; at < header.Length; at += PacketLength + lead)
        {
            if (bytes.ReadAt(at, packet) < PacketLength)
            {
                header.SetFlaw(ClipFlaw.Torn, "The transport stream ends within a packet: it was cut off.");
                break;
            }

            if (packet[0] != 0x47)
            {
                header.SetFlaw(ClipFlaw.Malformed, FormattableString.Invariant($"At byte {at} of the transport stream there is no packet."));
                break;
            }

            TakePacket(packet);
        }

        _scanner?.Finish();
        if (header.Video is { } video)
        {
            _clock.Tell(video);
        }

        header.Sounds = [.. _sounds.Values];
    }

    private void TakePacket(ReadOnlySpan<byte> packet)
    {
        int pid = BinaryPrimitives.ReadUInt16BigEndian(packet[1..]) & NullPid;
        bool isStart = (packet[1] & 0x40) != 0;
        bool hasPayload = (packet[3] & 0x10) != 0;
        bool hasAdaptation = (packet[3] & 0x20) != 0;
        int payloadAt = hasAdaptation ? 5 + packet[4] : 4;
        if (pid == NullPid || !hasPayload || payloadAt >= PacketLength)
        {
            return;
        }

        ReadOnlySpan<byte> payload = packet[payloadAt..];
        if (pid == 0 && _mapPid < 0 && isStart)
        {
            ReadAssociations(Section(payload));
        }
        else if (pid == _mapPid && isStart && _videoPid < 0)
        {
            ReadMap(Section(payload));
        }
        else if (pid == _videoPid)
        {
            bool isAnnounced = hasAdaptation && packet[4] > 0 && (packet[5] & 0x80) != 0;
            TakePictures(payload, isStart, packet[3] & 15, isAnnounced);
        }
        else if (isStart && _soundTypes.TryGetValue(pid, out int type) && _sounds[pid].SampleRate == 0)
        {
            TakeSound(pid, type, payload);
        }
    }

    private void TakePictures(ReadOnlySpan<byte> payload, bool isStart, int counter, bool isAnnounced)
    {
        if (_counter == counter && !isAnnounced)
        {
            // Section 2.4.3.3: a packet may be sent twice.
            return;
        }

        if (_counter >= 0 && ((_counter + 1) & 15) != counter && !isAnnounced)
        {
            header.SetFlaw(ClipFlaw.Torn, "Packets of the pictures are missing from the transport stream.");
        }

        _counter = counter;
        if (isStart)
        {
            _isInPacket = MpegPackets.HeaderLength(payload, out long? time) is { } length && length <= payload.Length && payload[2] == 1;
            if (!_isInPacket)
            {
                return;
            }

            _clock.Add(time);
            payload = payload[MpegPackets.HeaderLength(payload, out _)!.Value..];
        }

        if (_isInPacket)
        {
            _scanner!.Feed(payload);
        }
    }

    private void TakeSound(int pid, int type, ReadOnlySpan<byte> payload)
    {
        if (MpegPackets.HeaderLength(payload, out _) is not { } length || length >= payload.Length)
        {
            return;
        }

        ReadOnlySpan<byte> frame = payload[length..];
        ClipSound? sound = type switch
        {
            0x0F => AacConfiguration.ReadAdts(frame) is { } aac ? new ClipSound(SoundCodec.Aac, "AAC", aac.SampleRate, aac.Channels) : null,
            0x03 or 0x04 => MpegAudio.Read(frame),
            0x81 => MpegAudio.ReadAc3(frame),
            // Private data: what it is, a descriptor may tell; the frame does.
            0x06 => MpegAudio.ReadAc3(frame) ?? (AacConfiguration.ReadAdts(frame) is { } other ? new ClipSound(SoundCodec.Aac, "AAC", other.SampleRate, other.Channels) : null),
            _ => null,
        };
        _sounds[pid] = sound ?? _sounds[pid];
    }

    /// <summary>The section that begins in a payload, without its pointer; empty when it is none.</summary>
    private static ReadOnlySpan<byte> Section(ReadOnlySpan<byte> payload)
    {
        int start = 1 + payload[0];
        if (payload.Length < start + 3)
        {
            return default;
        }

        int length = 3 + (BinaryPrimitives.ReadUInt16BigEndian(payload[(start + 1)..]) & 0xFFF);
        return payload.Slice(start, Math.Min(length, payload.Length - start));
    }

    /// <summary>The first programme's map (section 2.4.4.3).</summary>
    private void ReadAssociations(ReadOnlySpan<byte> section)
    {
        for (int at = 8; at + 8 <= section.Length; at += 4)
        {
            if (BinaryPrimitives.ReadUInt16BigEndian(section[at..]) != 0)
            {
                _mapPid = BinaryPrimitives.ReadUInt16BigEndian(section[(at + 2)..]) & NullPid;
                return;
            }
        }
    }

    /// <summary>What the programme is made of (section 2.4.4.8, types of Table 2-34).</summary>
    private void ReadMap(ReadOnlySpan<byte> section)
    {
        if (section.Length < 16)
        {
            return;
        }

        int at = 12 + (BinaryPrimitives.ReadUInt16BigEndian(section[10..]) & 0xFFF);
        while (at + 5 <= section.Length - 4)
        {
            int type = section[at];
            int pid = BinaryPrimitives.ReadUInt16BigEndian(section[(at + 1)..]) & NullPid;
            at += 5 + (BinaryPrimitives.ReadUInt16BigEndian(section[(at + 3)..]) & 0xFFF);
            if (type is 0x01 or 0x02 or 0x1B or 0x24)
            {
                header.VideoTracks++;
                if (_videoPid >= 0)
                {
                    continue;
                }

                _videoPid = pid;
                header.Video = new ClipVideo
                {
                    Codec = type switch { 0x01 => ClipCodec.Mpeg1, 0x02 => ClipCodec.Mpeg2, 0x1B => ClipCodec.H264, _ => ClipCodec.Hevc },
                    Name = FormattableString.Invariant($"stream type {type:X2}H"),
                };
                _scanner = new ElementaryScanner(header.Video, header);
            }
            else if (type is 0x03 or 0x04 or 0x0F or 0x11 or 0x80 or 0x81 or 0x06)
            {
                SoundCodec codec = type switch { 0x0F or 0x11 => SoundCodec.Aac, 0x81 => SoundCodec.Ac3, 0x80 => SoundCodec.Pcm, _ => SoundCodec.Other };
                _sounds[pid] = new ClipSound(codec, FormattableString.Invariant($"stream type {type:X2}H"), 0, 0);
                _soundTypes[pid] = type;
            }
            else
            {
                header.OtherTracks++;
            }
        }
    }
}
