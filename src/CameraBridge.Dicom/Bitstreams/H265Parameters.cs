namespace CameraBridge.Dicom.Bitstreams;

/// <summary>A sequence parameter set of HEVC (ISO/IEC 23008-2, ITU-T H.265 sections 7.3.2.2 and 7.3.3, Annexes A and E).</summary>
public sealed record H265Parameters
{
    private const int LongestSet = 4096;
    private const int MostReferenceSets = 64;
    private const int MostPictures = 16;

    /// <summary>general_profile_idc.</summary>
    public int Profile { get; private init; }

    /// <summary>general_profile_compatibility_flag[0] is the most significant of the 32 bits.</summary>
    public uint Compatibility { get; private init; }

    /// <summary>general_tier_flag.</summary>
    public bool IsHighTier { get; private init; }

    /// <summary>Ten times the level (general_level_idc is 30 times it).</summary>
    public int Level { get; private init; }

    /// <summary>chroma_format_idc.</summary>
    public int ChromaFormat { get; private init; }

    /// <summary>The most of luma's and chroma's bits.</summary>
    public int BitDepth { get; private init; }

    /// <summary>Samples a line within the conformance window.</summary>
    public int Columns { get; private init; }

    /// <summary>Lines within the conformance window.</summary>
    public int Rows { get; private init; }

    /// <summary>Luma samples of a coded picture.</summary>
    public long CodedSamples { get; private init; }

    /// <summary>Shape of a pixel; (0, 0) when not told.</summary>
    public (int Width, int Height) PixelShape { get; private init; }

    /// <summary>Null when not told, which means no.</summary>
    public bool? IsFullRange { get; private init; }

    /// <summary>colour_primaries; 2 when not told.</summary>
    public int ColourPrimaries { get; private init; }

    /// <summary>field_seq_flag, or a source that is interlaced only.</summary>
    public bool IsInterlaced { get; private init; }

    /// <summary>Pictures in <see cref="RateDenominator"/> seconds; 0 when not told.</summary>
    public long RateNumerator { get; private init; }

    /// <summary>See <see cref="RateNumerator"/>.</summary>
    public long RateDenominator { get; private init; }

    /// <summary>The profile in words (Annex A.3).</summary>
    public string ProfileName => Profile switch
    {
        1 => "Main",
        2 => "Main 10",
        3 => "Main Still Picture",
        4 => "Range Extensions",
        _ => FormattableString.Invariant($"profile {Profile}"),
    };

    /// <summary>A decoder of that profile may decode the stream (section A.3: by the profile itself or by its compatibility flag).</summary>
    public bool IsDecodableBy(int profile) => Profile == profile || (Compatibility & (0x80000000U >> profile)) != 0;

    /// <summary>Reads a NAL unit of type 33, its two header bytes included.</summary>
    /// <returns>Null when it is no such unit, or torn, or says what no stream can be.</returns>
    public static H265Parameters? Read(ReadOnlySpan<byte> unit)
    {
        if (unit.Length < 15 || ((unit[0] >> 1) & 0x3F) != 33)
        {
            return null;
        }

        Span<byte> payload = stackalloc byte[Math.Min(unit.Length, LongestSet)];
        var bits = new BitReader(payload[..BitReader.Unescape(unit[2..], payload)]);
        bits.Skip(4);
        int subLayers = (int)bits.Bits(3);
        bits.Skip(1);

        // profile_tier_level (section 7.3.3).
        bits.Skip(2);
        bool isHighTier = bits.Flag();
        int profile = (int)bits.Bits(5);
        uint compatibility = bits.Bits(32);
        bool isProgressive = bits.Flag();
        bool isInterlaced = bits.Flag();
        bits.Skip(46);
        int level = (int)bits.Bits(8);
        SkipSubLayers(ref bits, subLayers);

        bits.Unsigned();
        int chroma = (int)Math.Min(bits.Unsigned(), 4);
        bool isSeparate = chroma == 3 && bits.Flag();
        (long width, long height) = (bits.Unsigned(), bits.Unsigned());
        (long columns, long rows) = (width, height);
        if (bits.Flag())
        {
            int unitX = chroma is 1 or 2 && !isSeparate ? 2 : 1;
            int unitY = chroma == 1 && !isSeparate ? 2 : 1;
            columns -= unitX * ((long)bits.Unsigned() + bits.Unsigned());
            rows -= unitY * ((long)bits.Unsigned() + bits.Unsigned());
        }

        int depth = 8 + (int)Math.Max(Math.Min(bits.Unsigned(), 8), Math.Min(bits.Unsigned(), 8));
        if (bits.IsOver || chroma > 3 || columns is <= 0 or > 65535 || rows is <= 0 or > 65535)
        {
            return null;
        }

        var parameters = new H265Parameters
        {
            Profile = profile,
            Compatibility = compatibility,
            IsHighTier = isHighTier,
            Level = level / 3,
            ChromaFormat = chroma,
            BitDepth = depth,
            Columns = (int)columns,
            Rows = (int)rows,
            CodedSamples = width * height,
            IsInterlaced = isInterlaced && !isProgressive,
            ColourPrimaries = 2,
        };
        return ReadRest(ref bits, subLayers, parameters);
    }

    /// <summary>From the picture order count to the usability information; what lies between must be walked through.</summary>
    private static H265Parameters? ReadRest(ref BitReader bits, int subLayers, H265Parameters parameters)
    {
        int orderBits = (int)Math.Min(bits.Unsigned(), 12) + 4;
        for (int i = bits.Flag() ? 0 : subLayers; i <= subLayers; i++)
        {
            bits.Unsigned();
            bits.Unsigned();
            bits.Unsigned();
        }

        for (int i = 0; i < 6; i++)
        {
            bits.Unsigned();
        }

        if (bits.Flag() && bits.Flag())
        {
            SkipScalingLists(ref bits);
        }

        bits.Skip(2);
        if (bits.Flag())
        {
            bits.Skip(8);
            bits.Unsigned();
            bits.Unsigned();
            bits.Skip(1);
        }

        if (!SkipReferenceSets(ref bits))
        {
            return null;
        }

        if (bits.Flag())
        {
            uint count = Math.Min(bits.Unsigned(), 32);
            bits.Skip((int)count * (orderBits + 1));
        }

        bits.Skip(2);
        if (bits.IsOver)
        {
            return null;
        }

        if (!bits.Flag())
        {
            return parameters;
        }

        VideoUsability usability = VideoUsability.Read(ref bits);
        bits.Skip(1);
        bool isFields = bits.Flag();
        bits.Skip(1);
        if (bits.Flag())
        {
            for (int i = 0; i < 4; i++)
            {
                bits.Unsigned();
            }
        }

        (long ticks, long scale) = bits.Flag() ? (bits.Bits(32), bits.Bits(32)) : (0L, 0L);
        return bits.IsOver ? null : parameters with
        {
            PixelShape = usability.Shape,
            IsFullRange = usability.IsFullRange,
            ColourPrimaries = usability.ColourPrimaries,
            IsInterlaced = parameters.IsInterlaced || isFields,
            RateNumerator = ticks > 0 ? scale : 0,
            RateDenominator = ticks,
        };
    }

    private static void SkipSubLayers(ref BitReader bits, int subLayers)
    {
        Span<bool> present = stackalloc bool[16];
        for (int i = 0; i < subLayers; i++)
        {
            (present[i * 2], present[(i * 2) + 1]) = (bits.Flag(), bits.Flag());
        }

        bits.Skip(subLayers > 0 ? (8 - subLayers) * 2 : 0);
        for (int i = 0; i < subLayers; i++)
        {
            bits.Skip((present[i * 2] ? 88 : 0) + (present[(i * 2) + 1] ? 8 : 0));
        }
    }

    /// <summary>scaling_list_data (section 7.3.4).</summary>
    private static void SkipScalingLists(ref BitReader bits)
    {
        for (int size = 0; size < 4; size++)
        {
            for (int matrix = 0; matrix < 6 && !bits.IsOver; matrix += size == 3 ? 3 : 1)
            {
                if (!bits.Flag())
                {
                    bits.Unsigned();
                    continue;
                }

                if (size > 1)
                {
                    bits.Signed();
                }

                for (int i = Math.Min(64, 1 << (4 + (size << 1))); i > 0 && !bits.IsOver; i--)
                {
                    bits.Signed();
                }
            }
        }
    }

    /// <summary>st_ref_pic_set (section 7.3.7): each may be told as a change of the one before it, whose size must be known for that.</summary>
    private static bool SkipReferenceSets(ref BitReader bits)
    {
        uint sets = bits.Unsigned();
        if (sets > MostReferenceSets)
        {
            return false;
        }

        uint pictures = 0;
        for (uint set = 0; set < sets && !bits.IsOver; set++)
        {
            if (set > 0 && bits.Flag())
            {
                bits.Skip(1);
                bits.Unsigned();
                uint kept = 0;
                for (uint i = 0; i <= pictures; i++)
                {
                    bool isUsed = bits.Flag();
                    bool isKept = isUsed || bits.Flag();
                    kept += isKept ? 1U : 0U;
                }

                pictures = kept;
            }
            else
            {
                (uint before, uint after) = (bits.Unsigned(), bits.Unsigned());
                if (before > MostPictures || after > MostPictures)
                {
                    return false;
                }

                pictures = before + after;
                for (uint i = 0; i < pictures; i++)
                {
                    bits.Unsigned();
                    bits.Skip(1);
                }
            }

            if (pictures > MostPictures * 2)
            {
                return false;
            }
        }

        return !bits.IsOver;
    }
}
