using CameraBridge.Pipeline.Objects.Stills;

namespace CameraBridge.Pipeline.Captures;

/// <summary>
/// Whether the first bytes are those of a picture or a clip, for files whose name does not say so. Kinds that a later stage cannot file yet
/// are captures all the same: they are held there with the reason, and not passed over here.
/// </summary>
internal static class ContentSignature
{
    /// <summary>JPEG: SOI and the first byte of the next marker (ISO/IEC 10918-1 B.1.1.3).</summary>
    private static ReadOnlySpan<byte> Jpeg => [0xFF, 0xD8, 0xFF];

    /// <summary>PNG signature (ISO/IEC 15948 section 5.2).</summary>
    private static ReadOnlySpan<byte> Png => [0x89, (byte)'P', (byte)'N', (byte)'G', 0x0D, 0x0A, 0x1A, 0x0A];

    /// <summary>TIFF 6.0 section 2: byte order and 42.</summary>
    private static ReadOnlySpan<byte> TiffLittleEndian => [(byte)'I', (byte)'I', 42, 0];

    private static ReadOnlySpan<byte> TiffBigEndian => [(byte)'M', (byte)'M', 0, 42];

    /// <summary>Pack header of an MPEG program stream (ISO/IEC 13818-1 section 2.5.3.3).</summary>
    private static ReadOnlySpan<byte> MpegPack => [0, 0, 1, 0xBA];

    public static bool IsPictureOrClip(ReadOnlySpan<byte> start) =>
        start.StartsWith(Jpeg)
        || start.StartsWith(Png)
        || start.StartsWith(TiffLittleEndian)
        || start.StartsWith(TiffBigEndian)
        || start.StartsWith(MpegPack)
        || StillFormats.IsBmp(start)
        || IsBox(start)
        || (start.Length >= 12 && start.StartsWith("RIFF"u8) && (start[8..12].SequenceEqual("AVI "u8) || start[8..12].SequenceEqual("WEBP"u8)));

    /// <summary>Of what <see cref="IsPictureOrClip"/> knows, whether it moves. A HEIF picture begins with a box, too, and names its brand (ISO/IEC 23008-12 section 10).</summary>
    public static bool IsClip(ReadOnlySpan<byte> start) =>
        start.StartsWith(MpegPack)
        || (IsBox(start) && !(start.Length >= 12 && (start[8..11].SequenceEqual("hei"u8) || start[8..11].SequenceEqual("hev"u8) || start[8..11].SequenceEqual("mif"u8) || start[8..11].SequenceEqual("avi"u8))))
        || (start.Length >= 12 && start.StartsWith("RIFF"u8) && start[8..12].SequenceEqual("AVI "u8));

    /// <summary>MP4, QuickTime and HEIF begin with a box (ISO/IEC 14496-12 section 4.2): its length, then its type.</summary>
    private static bool IsBox(ReadOnlySpan<byte> start) =>
        start.Length >= 8 && start[4..8] is var type
        && (type.SequenceEqual("ftyp"u8) || type.SequenceEqual("moov"u8) || type.SequenceEqual("mdat"u8) || type.SequenceEqual("wide"u8));
}
