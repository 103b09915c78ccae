using System.Buffers.Binary;

namespace CameraBridge.Dicom.Bitstreams;

/// <summary>Walks a program stream (ISO/IEC 13818-1 section 2.5, or 11172-1) pack by pack and looks at its pictures and the beginning of its sound.</summary>
internal sealed class ProgramStreamReader(ClipBytes bytes, ClipHeader header)
{
    private const int MostPadding = 1 << 20;

    private readonly MpegClock _clock = new();
    private readonly Dictionary<int, ClipSound> _sounds = [];
    private ElementaryScanner? _scanner;
    private int _videoStream = -1;

    public void Read()
    {
        long at = 0;
        int padding = 0;
        Span<byte> head = stackalloc byte[14];
        while (at < header.Length)
        {
            int count = bytes.ReadAt(at, head);
            if (count < 4 || head[0] != 0 || head[1] != 0 || head[2] != 1)
            {
                if (count > 0 && head[0] == 0 && ++padding < MostPadding)
                {
                    at++;
                    continue;
                }

                header.SetFlaw(ClipFlaw.Malformed, FormattableString.Invariant($"At byte {at} of the program stream there is no packet."));
                break;
            }

            byte code = head[3];
            if (code == 0xB9)
            {
                break;
            }

            if (code == 0xBA)
            {
                at += count >= 14 && head[4] >> 6 == 1 ? 14 + (head[13] & 7) : 12;
                continue;
            }

            int length = count >= 6 ? BinaryPrimitives.ReadUInt16BigEndian(head[4..]) : int.MaxValue;
            if (length > header.Length - at - 6)
            {
                header.SetFlaw(ClipFlaw.Torn, "The program stream ends within a packet: it was cut off.");
                break;
            }

            TakePacket(code, at, at + 6 + length);
            at += 6 + length;
        }

        _scanner?.Finish();
        if (header.Video is { } video)
        {
            _clock.Tell(video);
        }

        header.Sounds = [.. _sounds.OrderBy(pair => pair.Key).Select(pair => pair.Value)];
    }

    private void TakePacket(byte code, long start, long end)
    {
        bool isVideo = code is >= 0xE0 and <= 0xEF;
        if (!isVideo && code is not ((>= 0xC0 and <= 0xDF) or 0xBD))
        {
            return;
        }

        Span<byte> head = stackalloc byte[64];
        head = head[..bytes.ReadAt(start, head[..(int)Math.Min(64, end - start)])];
        if (MpegPackets.HeaderLength(head, out long? time) is not { } length || start + length > end)
        {
            return;
        }

        if (!isVideo)
        {
            TakeSound(code, start + length, end);
            return;
        }

        if (_videoStream < 0)
        {
            _videoStream = code;
            header.Video = new ClipVideo { Codec = ClipCodec.Mpeg2, Name = "MPEG video" };
            header.VideoTracks = 1;
            _scanner = new ElementaryScanner(header.Video, header);
        }

        if (_videoStream == code)
        {
            _clock.Add(time);
            for (long at = start + length; at < end;)
            {
                ReadOnlySpan<byte> some = bytes.Peek(at);
                some = some[..(int)Math.Min(some.Length, end - at)];
                if (some.IsEmpty)
                {
                    break;
                }

                _scanner!.Feed(some);
                at += some.Length;
            }
        }
    }

    private void TakeSound(byte code, long start, long end)
    {
        Span<byte> head = stackalloc byte[16];
        head = head[..bytes.ReadAt(start, head[..(int)Math.Clamp(end - start, 0, 16)])];
        if (head.IsEmpty || _sounds.Count >= 32)
        {
            return;
        }

        if (code != 0xBD)
        {
            if (!_sounds.TryGetValue(code, out ClipSound? known) || known.Codec == SoundCodec.Other)
            {
                _sounds[code] = MpegAudio.Read(head) ?? new ClipSound(SoundCodec.Other, "MPEG audio", 0, 0);
            }

            return;
        }

        // Private stream 1 as DVDs have it: a number of the stream, then three bytes, then the frame.
        int key = 0x100 + head[0];
        if (!_sounds.ContainsKey(key) && head[0] is >= 0x80 and <= 0xAF)
        {
            _sounds[key] = head[0] < 0x88 ? MpegAudio.ReadAc3(head.Length > 4 ? head[4..] : default) ?? new ClipSound(SoundCodec.Ac3, "AC-3", 0, 0)
                : head[0] >= 0xA0 ? new ClipSound(SoundCodec.Pcm, "LPCM", 0, 0)
                : new ClipSound(SoundCodec.Other, "DTS", 0, 0);
        }
    }
}
