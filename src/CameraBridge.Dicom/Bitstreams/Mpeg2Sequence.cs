namespace CameraBridge.Dicom.Bitstreams;

/// <summary>The sequence header of MPEG-1 or MPEG-2 video, with its extensions (ISO/IEC 13818-2 sections 6.2.2.1 to 6.2.2.4).</summary>
/// <param name="Columns">Samples a line.</param>
/// <param name="Rows">Lines.</param>
/// <param name="AspectCode">aspect_ratio_information: 1 square pixels, 2 a picture of 4:3, 3 of 16:9, 4 of 2.21:1.</param>
/// <param name="RateCode">frame_rate_code of Table 6-4.</param>
/// <param name="HasExtension">It is MPEG-2.</param>
/// <param name="ProfileAndLevel">profile_and_level_indication, 48H is Main Profile at Main Level.</param>
/// <param name="IsProgressive">progressive_sequence.</param>
/// <param name="ChromaFormat">1 is 4:2:0.</param>
/// <param name="RateNumerator">Frames in <paramref name="RateDenominator"/> seconds.</param>
/// <param name="RateDenominator">See <paramref name="RateNumerator"/>.</param>
/// <param name="ColourPrimaries">Of the sequence display extension; 2 when not told.</param>
public sealed record Mpeg2Sequence(
    int Columns, int Rows, int AspectCode, int RateCode, bool HasExtension, int ProfileAndLevel, bool IsProgressive, int ChromaFormat, long RateNumerator, long RateDenominator,
    int ColourPrimaries)
{
    /// <summary>Table 6-4.</summary>
    private static readonly (int Numerator, int Denominator)[] Rates =
        [(0, 1), (24000, 1001), (24, 1), (25, 1), (30000, 1001), (30, 1), (50, 1), (60000, 1001), (60, 1)];

    /// <summary>Reads the header that begins within the bytes (00 00 01 B3).</summary>
    /// <returns>Null when there is none, or it is torn.</returns>
    public static Mpeg2Sequence? Read(ReadOnlySpan<byte> bytes)
    {
        int at = bytes.IndexOf((ReadOnlySpan<byte>)[0, 0, 1, 0xB3]);
        if (at < 0 || bytes.Length < at + 12)
        {
            return null;
        }

        ReadOnlySpan<byte> head = bytes[(at + 4)..];
        (int columns, int rows) = ((head[0] << 4) | (head[1] >> 4), ((head[1] & 15) << 8) | head[2]);
        (int aspect, int rate) = (head[3] >> 4, head[3] & 15);
        (long numerator, long denominator) = rate < Rates.Length ? Rates[rate] : (0, 1);
        var sequence = new Mpeg2Sequence(columns, rows, aspect, rate, false, 0, true, 1, numerator, denominator, 2);
        for (ReadOnlySpan<byte> rest = head; ;)
        {
            int next = rest.IndexOf((ReadOnlySpan<byte>)[0, 0, 1]);
            if (next < 0 || rest.Length < next + 10)
            {
                return sequence;
            }

            ReadOnlySpan<byte> unit = rest[(next + 3)..];
            if (unit[0] == 0xB5)
            {
                sequence = (unit[1] >> 4) switch
                {
                    1 => sequence.WithExtension(unit[1..]),
                    2 when (unit[1] & 1) != 0 => sequence with { ColourPrimaries = unit[2] },
                    _ => sequence,
                };
            }
            else if (unit[0] is not 0xB2)
            {
                return sequence;
            }

            rest = unit;
        }
    }

    /// <summary>Shape of a pixel (section 6.3.3): of the picture's shape and the samples; MPEG-1 has a table of its own, of which 1 is square too.</summary>
    public (int Width, int Height) PixelShape => AspectCode switch
    {
        _ when !HasExtension => AspectCode == 1 ? (1, 1) : (0, 0),
        2 => Reduced(4 * Rows, 3 * Columns),
        3 => Reduced(16 * Rows, 9 * Columns),
        4 => Reduced(221 * Rows, 100 * Columns),
        _ => (1, 1),
    };

    internal void ApplyTo(ClipVideo video, ClipHeader header)
    {
        if (video.Columns > 0 && (video.Columns != Columns || video.Rows != Rows))
        {
            header.Note(FormattableString.Invariant(
                $"The container says {video.Columns} by {video.Rows} pixels and the bit stream {Columns} by {Rows}; the bit stream counts."));
        }

        video.Codec = HasExtension ? ClipCodec.Mpeg2 : ClipCodec.Mpeg1;
        (video.Columns, video.Rows, video.CodedSamples) = (Columns, Rows, (long)Columns * Rows);
        (video.Profile, video.Level) = ((ProfileAndLevel >> 4) & 7, ProfileAndLevel & 15);
        video.ProfileName = !HasExtension ? "MPEG-1"
            : (ProfileAndLevel & 0x80) != 0 ? "4:2:2 or Multi-view"
            : video.Profile switch { 5 => "Simple", 4 => "Main", 3 => "SNR Scalable", 2 => "Spatially Scalable", 1 => "High", _ => "unknown" };
        video.Profile = (ProfileAndLevel & 0x80) != 0 ? 0 : video.Profile;
        (video.ChromaFormat, video.BitDepth, video.AspectCode) = (ChromaFormat, 8, AspectCode);
        video.IsInterlaced = !IsProgressive;
        video.ColourPrimaries = ColourPrimaries;
        (video.PixelWidth, video.PixelHeight) = PixelShape is { Width: > 0, Height: > 0 } shape ? shape : (1, 1);
        if (video.RateNumerator == 0)
        {
            (video.RateNumerator, video.RateDenominator) = (RateNumerator, RateDenominator);
        }
    }

    private Mpeg2Sequence WithExtension(ReadOnlySpan<byte> extension)
    {
        int profileAndLevel = ((extension[0] & 15) << 4) | (extension[1] >> 4);
        int widthHigh = ((extension[1] & 1) << 1) | (extension[2] >> 7);
        int heightHigh = (extension[2] >> 5) & 3;
        int rateNumerator = (extension[5] >> 5) & 3;
        int rateDenominator = extension[5] & 31;
        return this with
        {
            HasExtension = true,
            ProfileAndLevel = profileAndLevel,
            IsProgressive = (extension[1] & 8) != 0,
            ChromaFormat = (extension[1] >> 1) & 3,
            Columns = (widthHigh << 12) | Columns,
            Rows = (heightHigh << 12) | Rows,
            RateNumerator = RateNumerator * (rateNumerator + 1),
            RateDenominator = RateDenominator * (rateDenominator + 1),
        };
    }

    private static (int Width, int Height) Reduced(int width, int height)
    {
        (int a, int b) = (width, height);
        while (b != 0)
        {
            (a, b) = (b, a % b);
        }

        return a > 0 ? (width / a, height / a) : (0, 0);
    }
}
