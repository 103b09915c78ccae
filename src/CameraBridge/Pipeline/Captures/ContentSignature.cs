using CameraBridge.Dicom.Bitstreams;
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

    public static bool IsPictureOrClip(ReadOnlySpan<byte> start) =>
        start.StartsWith(Jpeg)
        || start.StartsWith(Png)
        || start.StartsWith(TiffLittleEndian)
        || start.StartsWith(TiffBigEndian)
        || StillFormats.IsBmp(start)
        || IsFileType(start)
        || IsClip(start)
        || (start.Length >= 12 && start.StartsWith("RIFF"u8) && start[8..12].SequenceEqual("WEBP"u8));

    /// <summary>Of what <see cref="IsPictureOrClip"/> knows, whether it moves; best with <see cref="ClipFormat.HeadLength"/> bytes.</summary>
    public static bool IsClip(ReadOnlySpan<byte> start) => ClipFormat.IsClip(start[..Math.Min(start.Length, ClipFormat.HeadLength)]);

    /// <summary>A file of boxes that names its type first (ISO/IEC 14496-12 section 4.3): a clip, or a HEIF picture.</summary>
    private static bool IsFileType(ReadOnlySpan<byte> start) => start.Length >= 8 && start[4..8].SequenceEqual("ftyp"u8);
}
