namespace CameraBridge.Dicom.Bitstreams;

/// <summary>What a file of moving pictures is, by its bytes and never by a name.</summary>
public enum ClipContainer
{
    /// <summary>None of the others.</summary>
    Unknown,

    /// <summary>MP4 or another brand of the ISO base media file format (ISO/IEC 14496-12, -14).</summary>
    Mp4,

    /// <summary>QuickTime, from which ISO/IEC 14496-12 came; not an MP4 file.</summary>
    QuickTime,

    /// <summary>MPEG-2 transport stream of 188-byte packets (ISO/IEC 13818-1 section 2.4).</summary>
    TransportStream,

    /// <summary>A transport stream whose packets have 4 bytes of time before them, as camcorders write.</summary>
    TimedTransportStream,

    /// <summary>MPEG-1 or MPEG-2 program stream (ISO/IEC 13818-1 section 2.5).</summary>
    ProgramStream,

    /// <summary>An MPEG-2, H.264 or HEVC stream without a container.</summary>
    Elementary,

    /// <summary>RIFF AVI.</summary>
    Avi,

    /// <summary>Matroska or WebM: known, not read.</summary>
    Matroska,

    /// <summary>ASF (Windows Media): known, not read.</summary>
    Asf,
}

/// <summary>Tells files of moving pictures from others.</summary>
public static class ClipFormat
{
    /// <summary>Bytes that are looked at; a shorter beginning is judged by what there is.</summary>
    public const int HeadLength = 1024;

    private const int PacketLength = 188;
    private const int TimedPacketLength = 192;

    /// <summary>By the first bytes of the file, <see cref="HeadLength"/> of them where the file has as many.</summary>
    public static ClipContainer Of(ReadOnlySpan<byte> head) => head switch
    {
        _ when head.Length >= 8 && IsBox(head) => OfBox(head),
        [(byte)'R', (byte)'I', (byte)'F', (byte)'F', _, _, _, _, (byte)'A', (byte)'V', (byte)'I', (byte)' ' or 0x19, ..] => ClipContainer.Avi,
        [0x1A, 0x45, 0xDF, 0xA3, ..] => ClipContainer.Matroska,
        [0x30, 0x26, 0xB2, 0x75, 0x8E, 0x66, 0xCF, 0x11, ..] => ClipContainer.Asf,
        [0, 0, 1, 0xBA, ..] => ClipContainer.ProgramStream,
        [0, 0, 1, 0xB3, ..] or [0, 0, 0, 1, 0x67 or 0x27 or 0x09 or 0x46 or 0x40, ..] or [0, 0, 1, 0x67 or 0x27 or 0x09, ..] => ClipContainer.Elementary,
        _ when RepeatsSync(head, 0, PacketLength) => ClipContainer.TransportStream,
        _ when RepeatsSync(head, TimedPacketLength - PacketLength, TimedPacketLength) => ClipContainer.TimedTransportStream,
        _ => ClipContainer.Unknown,
    };

    /// <summary>Whether the first bytes are those of moving pictures.</summary>
    public static bool IsClip(ReadOnlySpan<byte> head) => Of(head) != ClipContainer.Unknown;

    private static bool IsBox(ReadOnlySpan<byte> head) =>
        head[4..8] is var type && (type.SequenceEqual("ftyp"u8) || type.SequenceEqual("styp"u8) || type.SequenceEqual("moov"u8) || type.SequenceEqual("mdat"u8)
            || type.SequenceEqual("wide"u8) || type.SequenceEqual("free"u8) || type.SequenceEqual("skip"u8) || type.SequenceEqual("pnot"u8));

    /// <summary>Without a file type box it is QuickTime of old (ISO/IEC 14496-12 section 4.3); brands of still pictures are no clips.</summary>
    private static ClipContainer OfBox(ReadOnlySpan<byte> head)
    {
        if (!head[4..8].SequenceEqual("ftyp"u8))
        {
            return head[4..8].SequenceEqual("styp"u8) ? ClipContainer.Mp4 : ClipContainer.QuickTime;
        }

        if (head.Length < 12)
        {
            return ClipContainer.Mp4;
        }

        ReadOnlySpan<byte> brand = head[8..12];
        return brand.SequenceEqual("qt  "u8) ? ClipContainer.QuickTime
            : brand.SequenceEqual("heic"u8) || brand.SequenceEqual("heix"u8) || brand.SequenceEqual("heim"u8) || brand.SequenceEqual("heis"u8)
                || brand.SequenceEqual("hevc"u8) || brand.SequenceEqual("hevx"u8) || brand.SequenceEqual("msf1"u8) || brand.SequenceEqual("avis"u8)
                || brand.SequenceEqual("mif1"u8) || brand.SequenceEqual("avif"u8) || brand.SequenceEqual("crx "u8) ? ClipContainer.Unknown
            : ClipContainer.Mp4;
    }

    /// <summary>A sync byte 47H at the beginning of each packet (ISO/IEC 13818-1 section 2.4.3.2); two at least, since one is any text's letter G.</summary>
    private static bool RepeatsSync(ReadOnlySpan<byte> head, int first, int length)
    {
        int found = 0;
        for (int at = first; at < head.Length; at += length)
        {
            if (head[at] != 0x47)
            {
                return false;
            }

            found++;
        }

        return found >= 2;
    }
}
