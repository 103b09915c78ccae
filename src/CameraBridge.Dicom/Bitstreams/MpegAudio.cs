namespace CameraBridge.Dicom.Bitstreams;

/// <summary>Headers of sound frames that stand in MPEG streams (ISO/IEC 11172-3 section 2.4.1.3; 13818-3; ETSI TS 102 366 for AC-3).</summary>
internal static class MpegAudio
{
    private static readonly int[] Rates = [44100, 48000, 32000];

    public static ClipSound? Read(ClipBytes bytes, long at)
    {
        Span<byte> head = stackalloc byte[4];
        return bytes.ReadAt(at, head) == 4 ? Read(head) : null;
    }

    /// <summary>An MPEG audio frame header; null when it is none.</summary>
    public static ClipSound? Read(ReadOnlySpan<byte> head)
    {
        if (head.Length < 4 || head[0] != 0xFF || (head[1] & 0xE0) != 0xE0)
        {
            return null;
        }

        int version = (head[1] >> 3) & 3;
        int layer = (head[1] >> 1) & 3;
        int rate = (head[2] >> 2) & 3;
        if (version == 1 || layer == 0 || rate == 3)
        {
            return null;
        }

        // Version 3 is MPEG-1, 2 is MPEG-2 (half the rates), 0 is MPEG 2.5 (a quarter); layers count backwards.
        SoundCodec codec = layer == 1 ? SoundCodec.Mp3 : layer == 2 ? SoundCodec.MpegLayer2 : SoundCodec.Other;
        return new ClipSound(codec, layer == 1 ? "MPEG layer III" : "MPEG layer II", Rates[rate] >> (version == 3 ? 0 : version == 2 ? 1 : 2), (head[3] >> 6) == 3 ? 1 : 2);
    }

    /// <summary>An AC-3 frame header: sync word 0B77H, then the rate, the mode and whether there is a low channel.</summary>
    public static ClipSound? ReadAc3(ReadOnlySpan<byte> head)
    {
        if (head.Length < 8 || head[0] != 0x0B || head[1] != 0x77 || head[4] >> 6 == 3)
        {
            return null;
        }

        int rate = new[] { 48000, 44100, 32000 }[head[4] >> 6];
        int mode = head[6] >> 5;
        int[] channels = [2, 1, 2, 3, 3, 4, 4, 5];
        var bits = new BitReader(head[6..]);
        bits.Skip(3);
        bits.Skip(((mode & 1) != 0 && mode != 1 ? 2 : 0) + ((mode & 4) != 0 ? 2 : 0) + (mode == 2 ? 2 : 0));
        return new ClipSound(SoundCodec.Ac3, "AC-3", rate, channels[mode] + (bits.Flag() ? 1 : 0));
    }
}
