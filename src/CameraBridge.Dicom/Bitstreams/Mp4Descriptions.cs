namespace CameraBridge.Dicom.Bitstreams;

/// <summary>
/// Sample descriptions (ISO/IEC 14496-12 section 8.5.2; 14496-14 and -15 for what is in them), and the parameter sets that stand in the first sample.
/// </summary>
internal sealed class Mp4Descriptions(ClipBytes bytes, ClipHeader header)
{
    private const int VisualLength = 78;
    private const int LongestSet = 4096;
    private const int MostUnits = 200;

    /// <summary>The first sample is searched so far for parameter sets; they stand before the first picture.</summary>
    private const int SearchedBytes = 256 * 1024;

    private static readonly uint
        AvcC = Mp4Box.Code("avcC"), HvcC = Mp4Box.Code("hvcC"), Pasp = Mp4Box.Code("pasp"), Colr = Mp4Box.Code("colr"), Esds = Mp4Box.Code("esds"),
        Wave = Mp4Box.Code("wave"), Nclx = Mp4Box.Code("nclx");

    public void ReadVideo(Mp4Track track, ClipVideo video)
    {
        if (FirstEntry(track) is not { } entry)
        {
            return;
        }

        video.Name = Mp4Box.Letters(entry.Type);
        video.Columns = (int)((bytes.UInt32At(entry.Start + 24) ?? 0) >> 16);
        video.Rows = (int)((bytes.UInt32At(entry.Start + 24) ?? 0) & 0xFFFF);
        video.Codec = video.Name switch
        {
            "avc1" or "avc3" or "avc2" or "avc4" => ClipCodec.H264,
            "hvc1" or "hev1" => ClipCodec.Hevc,
            "jpeg" or "mjpa" or "mjpb" or "mjpg" => ClipCodec.MotionJpeg,
            _ => ClipCodec.Other,
        };

        // QuickTime players show a track as large as its header says; where that has another shape, the pixels are not square.
        (long width, long height) = (track.Width * video.Rows, track.Height * video.Columns);
        if (width > 0 && height > 0 && Math.Abs(width - height) > 0.02 * Math.Max(width, height))
        {
            (video.PixelWidth, video.PixelHeight) = Shape(width, height);
        }

        for (long at = entry.Start + VisualLength; Mp4Box.Read(bytes, at, entry.End) is { } box && box.End > at; at = box.End)
        {
            ReadVideoBox(track, video, box);
        }

        if (video.Codec is ClipCodec.H264 or ClipCodec.Hevc)
        {
            SearchFirstSample(track, video);
            if (video.Profile == 0)
            {
                header.SetFlaw(ClipFlaw.Malformed, "The bit stream has no parameter sets that can be read, neither in the index nor before its first picture.");
            }
        }
        else if (video.Codec is ClipCodec.Mpeg2 or ClipCodec.Mpeg1 && track.FirstSampleAt >= 0)
        {
            Span<byte> head = stackalloc byte[1024];
            Mpeg2Sequence.Read(head[..bytes.ReadAt(track.FirstSampleAt, head)])?.ApplyTo(video, header);
        }
    }

    public ClipSound ReadSound(Mp4Track track)
    {
        if (FirstEntry(track) is not { } entry)
        {
            return new ClipSound(SoundCodec.Other, "", 0, 0);
        }

        string name = Mp4Box.Letters(entry.Type);
        uint version = (bytes.UInt32At(entry.Start + 8) ?? 0) >> 16;
        uint channels = (bytes.UInt32At(entry.Start + 16) ?? 0) >> 16;
        uint rate = (bytes.UInt32At(entry.Start + 24) ?? 0) >> 16;
        var sound = new ClipSound(name switch
        {
            ".mp3" => SoundCodec.Mp3,
            "ac-3" => SoundCodec.Ac3,
            "sowt" or "twos" or "lpcm" or "raw " or "in24" or "in32" or "fl32" or "ipcm" => SoundCodec.Pcm,
            _ => SoundCodec.Other,
        }, name, (int)rate, (int)channels);
        long at = entry.Start + 28 + (version switch { 1 => 16, 2 => 36, _ => 0 });
        return ReadSoundBoxes(track, sound, at, entry.End, isWithinWave: false);
    }

    /// <summary>Null when the track has none that can be read; more than one is told.</summary>
    private Mp4Box? FirstEntry(Mp4Track track)
    {
        if (track.Descriptions is not { Length: >= 16 } descriptions)
        {
            return null;
        }

        if (bytes.UInt32At(descriptions.Start + 4) > 1)
        {
            header.SetFlaw(ClipFlaw.NotRead, "The format of a track changes within the file, which one object cannot tell.");
        }

        return Mp4Box.Read(bytes, descriptions.Start + 8, descriptions.End);
    }

    private void ReadVideoBox(Mp4Track track, ClipVideo video, Mp4Box box)
    {
        if (box.Type == Pasp && bytes.UInt32At(box.Start) is { } width and > 0 && bytes.UInt32At(box.Start + 4) is { } height and > 0)
        {
            (video.PixelWidth, video.PixelHeight) = Shape(width, height);
        }
        else if (box.Type == Colr && bytes.UInt32At(box.Start) == Nclx)
        {
            video.ColourPrimaries = (int)((bytes.UInt32At(box.Start + 4) ?? 0) >> 16);
            video.IsFullRange = ((bytes.UInt32At(box.Start + 7) ?? 0) & 0x80) != 0;
        }
        else if (box.Type == AvcC && video.Codec == ClipCodec.H264)
        {
            // AVCDecoderConfigurationRecord (ISO/IEC 14496-15 section 5.3.3.1).
            uint counts = bytes.UInt32At(box.Start + 3) ?? 0;
            track.UnitLengthBytes = (int)((counts >> 16) & 3) + 1;
            long at = box.Start + 6;
            for (uint left = (counts >> 8) & 31; left > 0 && at < box.End; left--)
            {
                at = ReadUnit(video, at, box.End);
            }
        }
        else if (box.Type == HvcC && video.Codec == ClipCodec.Hevc)
        {
            ReadHevcConfiguration(track, video, box);
        }
        else if (box.Type == Esds)
        {
            (int type, _) = ReadDecoder(box);
            video.Codec = type switch
            {
                >= 0x60 and <= 0x65 => ClipCodec.Mpeg2,
                0x6A => ClipCodec.Mpeg1,
                0x6C => ClipCodec.MotionJpeg,
                _ => video.Codec,
            };
        }
    }

    /// <summary>HEVCDecoderConfigurationRecord (ISO/IEC 14496-15 section 8.3.3.1).</summary>
    private void ReadHevcConfiguration(Mp4Track track, ClipVideo video, Mp4Box box)
    {
        uint counts = bytes.UInt32At(box.Start + 19) ?? 0;
        track.UnitLengthBytes = (int)((counts >> 8) & 3) + 1;
        long at = box.Start + 23;
        for (uint arrays = counts & 0xFF; arrays > 0 && at < box.End; arrays--)
        {
            uint units = ((bytes.UInt32At(at) ?? 0) >> 8) & 0xFFFF;
            at += 3;
            for (; units > 0 && at < box.End; units--)
            {
                at = ReadUnit(video, at, box.End);
            }
        }
    }

    /// <summary>A unit with 16 bits of length before it; gives where the next one stands.</summary>
    private long ReadUnit(ClipVideo video, long at, long end)
    {
        uint length = (bytes.UInt32At(at) ?? 0) >> 16;
        if (length > 0 && at + 2 + length <= end)
        {
            TakeUnit(video, at + 2, length, isInBand: false);
        }

        return at + 2 + length;
    }

    private void SearchFirstSample(Mp4Track track, ClipVideo video)
    {
        if (track.FirstSampleAt < 0)
        {
            return;
        }

        long at = track.FirstSampleAt;
        for (int units = 0; units < MostUnits && at - track.FirstSampleAt < SearchedBytes; units++)
        {
            if (bytes.UInt32At(at) is not { } word)
            {
                return;
            }

            long length = word >> (32 - (track.UnitLengthBytes * 8));
            at += track.UnitLengthBytes;
            if (length < 2 || length > header.Length - at || !TakeUnit(video, at, length, isInBand: true))
            {
                return;
            }

            at += length;
        }
    }

    /// <summary>False at the first slice: what describes the stream stands before it.</summary>
    private bool TakeUnit(ClipVideo video, long at, long length, bool isInBand)
    {
        Span<byte> unit = stackalloc byte[LongestSet];
        unit = unit[..bytes.ReadAt(at, unit[..(int)Math.Min(length, LongestSet)])];
        return UnitFacts.Take(unit, video, header, isInBand);
    }

    private ClipSound ReadSoundBoxes(Mp4Track track, ClipSound sound, long start, long end, bool isWithinWave)
    {
        for (long at = start; Mp4Box.Read(bytes, at, end) is { } box && box.End > at; at = box.End)
        {
            if (box.Type == Wave && !isWithinWave)
            {
                sound = ReadSoundBoxes(track, sound, box.Start, box.End, isWithinWave: true);
            }
            else if (box.Type == Esds)
            {
                sound = OfDecoder(track, sound, box);
            }
        }

        return sound;
    }

    private ClipSound OfDecoder(Mp4Track track, ClipSound sound, Mp4Box box)
    {
        (int type, byte[] specific) = ReadDecoder(box);
        if (type is 0x40 or (>= 0x66 and <= 0x68))
        {
            return AacConfiguration.Read(specific) is { } aac
                ? sound with { Codec = SoundCodec.Aac, SampleRate = aac.SampleRate, Channels = aac.Channels > 0 ? aac.Channels : sound.Channels }
                : sound with { Codec = SoundCodec.Aac };
        }

        // 69H and 6BH are MPEG audio of any layer; the frame tells which.
        return type is 0x69 or 0x6B && track.FirstSampleAt >= 0 ? MpegAudio.Read(bytes, track.FirstSampleAt) ?? sound
            : type == 0xA5 ? sound with { Codec = SoundCodec.Ac3 }
            : sound;
    }

    /// <summary>ES_Descriptor, DecoderConfigDescriptor, DecoderSpecificInfo (ISO/IEC 14496-1 sections 7.2.6.5 to 7.2.6.7).</summary>
    private (int ObjectType, byte[] Specific) ReadDecoder(Mp4Box box)
    {
        const int LongestSpecific = 256;
        long at = box.Start + 4;
        int objectType = 0;
        Span<byte> tag = stackalloc byte[1];
        Span<byte> one = stackalloc byte[1];
        for (int i = 0; i < 8; i++)
        {
            if (at >= box.End || bytes.ReadAt(at++, tag) == 0)
            {
                break;
            }

            long length = 0;
            byte next;
            int lengthBytes = 0;
            do
            {
                next = bytes.ReadAt(at++, one) == 1 ? one[0] : (byte)0;
                length = (length << 7) | (uint)(next & 0x7F);
            }
            while ((next & 0x80) != 0 && ++lengthBytes < 4);

            switch (tag[0])
            {
                case 3:
                    int flags = (int)((bytes.UInt32At(at) ?? 0) >> 8) & 0xFF;
                    at += 3 + ((flags & 0x80) != 0 ? 2 : 0) + ((flags & 0x20) != 0 ? 2 : 0);
                    break;
                case 4:
                    objectType = (int)((bytes.UInt32At(at) ?? 0) >> 24);
                    at += 13;
                    break;
                case 5:
                    byte[] specific = new byte[Math.Min(length, LongestSpecific)];
                    return (objectType, specific[..bytes.ReadAt(at, specific)]);
                default:
                    at += length;
                    break;
            }
        }

        return (objectType, []);
    }

    private static (int Width, int Height) Shape(long width, long height)
    {
        (long a, long b) = (width, height);
        while (b != 0)
        {
            (a, b) = (b, a % b);
        }

        (width, height) = (width / a, height / a);
        while (width > int.MaxValue || height > int.MaxValue)
        {
            (width, height) = (Math.Max(1, width >> 1), Math.Max(1, height >> 1));
        }

        return ((int)width, (int)height);
    }
}
