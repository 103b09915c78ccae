namespace CameraBridge.Pipeline.Objects.Stills;

/// <summary>A picture format, known by its bytes and never by a name.</summary>
internal enum StillFormat
{
    Unknown,
    Jpeg,
    Png,
    Bmp,
    WebP,
    Tiff,
    Heif,
    Gif,

    /// <summary>JPEG 2000, JPEG XL, JPEG XR.</summary>
    OtherJpeg,
}

/// <summary>Tells the formats apart.</summary>
internal static class StillFormats
{
    /// <summary>Bytes that are looked at.</summary>
    public const int HeadLength = 64;

    public static StillFormat OfFile(string path)
    {
        Span<byte> head = stackalloc byte[HeadLength];
        using FileStream file = new(path, FileMode.Open, FileAccess.Read, FileShare.Read, bufferSize: 0);
        return Of(head[..file.ReadAtLeast(head, HeadLength, throwOnEndOfStream: false)]);
    }

    /// <summary>By the first bytes of the file.</summary>
    public static StillFormat Of(ReadOnlySpan<byte> head) => head switch
    {
        [0xFF, 0xD8, ..] => StillFormat.Jpeg,
        [0x89, (byte)'P', (byte)'N', (byte)'G', 0x0D, 0x0A, 0x1A, 0x0A, ..] => StillFormat.Png,
        [(byte)'B', (byte)'M', ..] when IsBmp(head) => StillFormat.Bmp,
        [(byte)'R', (byte)'I', (byte)'F', (byte)'F', _, _, _, _, (byte)'W', (byte)'E', (byte)'B', (byte)'P', ..] => StillFormat.WebP,
        [(byte)'I', (byte)'I', 42 or 43, 0, ..] or [(byte)'M', (byte)'M', 0, 42 or 43, ..] => StillFormat.Tiff,
        [(byte)'G', (byte)'I', (byte)'F', (byte)'8', ..] => StillFormat.Gif,
        [0xFF, 0x0A, ..] or [(byte)'I', (byte)'I', 0xBC, ..] or [0xFF, 0x4F, 0xFF, 0x51, ..] => StillFormat.OtherJpeg,
        _ when head.Length >= 8 && (head[4..].StartsWith("jP  \r\n"u8) || head[4..].StartsWith("JXL "u8)) => StillFormat.OtherJpeg,
        _ when IsHeif(head) => StillFormat.Heif,
        _ => StillFormat.Unknown,
    };

    /// <summary>
    /// "BM" alone are two letters of many a text: the reserved fields must be 0 and the header of one of the lengths that there are (BITMAPCOREHEADER,
    /// BITMAPINFOHEADER and its later forms).
    /// </summary>
    public static bool IsBmp(ReadOnlySpan<byte> head) =>
        head is [(byte)'B', (byte)'M', _, _, _, _, 0, 0, 0, 0, _, _, _, _, 12 or 40 or 52 or 56 or 64 or 108 or 124, 0, 0, 0, ..];

    /// <summary>A file type box with a brand of ISO/IEC 23008-12 (HEIF), or of AVIF, as major or compatible brand.</summary>
    public static bool IsHeif(ReadOnlySpan<byte> head)
    {
        if (head.Length < 12 || !head[4..].StartsWith("ftyp"u8))
        {
            return false;
        }

        for (ReadOnlySpan<byte> brands = head[8..]; brands.Length >= 4; brands = brands[4..])
        {
            if (brands.StartsWith("heic"u8) || brands.StartsWith("heix"u8) || brands.StartsWith("heim"u8) || brands.StartsWith("heis"u8)
                || brands.StartsWith("hevc"u8) || brands.StartsWith("mif1"u8) || brands.StartsWith("msf1"u8) || brands.StartsWith("avif"u8))
            {
                return true;
            }
        }

        return false;
    }
}
