namespace CameraBridge.Dicom.Bitstreams;

/// <summary>A sequence parameter set of H.264 (ISO/IEC 14496-10, ITU-T H.264 section 7.3.2.1.1 and Annexes A and E).</summary>
public sealed record H264Parameters
{
    private const int ExtendedProfile = 88;
    private const int LongestSet = 4096;

    /// <summary>Profiles whose sets tell chroma format and bit depth (section 7.3.2.1.1).</summary>
    private static readonly int[] HighProfiles = [100, 110, 122, 244, 44, 83, 86, 118, 128, 138, 139, 134, 135];

    /// <summary>profile_idc.</summary>
    public int Profile { get; private init; }

    /// <summary>constraint_set0_flag is the most significant of the 8 bits.</summary>
    public int Constraints { get; private init; }

    /// <summary>Ten times the level; level 1b is 9.</summary>
    public int Level { get; private init; }

    /// <summary>chroma_format_idc.</summary>
    public int ChromaFormat { get; private init; }

    /// <summary>The most of luma's and chroma's bits.</summary>
    public int BitDepth { get; private init; }

    /// <summary>Samples a line, cropped.</summary>
    public int Columns { get; private init; }

    /// <summary>Lines of a frame, cropped.</summary>
    public int Rows { get; private init; }

    /// <summary>Macroblocks of a frame.</summary>
    public long Macroblocks { get; private init; }

    /// <summary>max_num_ref_frames.</summary>
    public int ReferencePictures { get; private init; }

    /// <summary>Bits of frame_num in slice headers.</summary>
    internal int FrameNumberBits { get; private init; }

    /// <summary>separate_colour_plane_flag.</summary>
    internal bool HasSeparatePlanes { get; private init; }

    /// <summary>Fields may occur.</summary>
    public bool IsInterlaced { get; private init; }

    /// <summary>Shape of a pixel; (0, 0) when not told.</summary>
    public (int Width, int Height) PixelShape { get; private init; }

    /// <summary>Null when not told, which means no.</summary>
    public bool? IsFullRange { get; private init; }

    /// <summary>colour_primaries; 2 when not told.</summary>
    public int ColourPrimaries { get; private init; }

    /// <summary>Frames in <see cref="RateDenominator"/> seconds by time_scale and num_units_in_tick (two ticks a frame); 0 when not told.</summary>
    public long RateNumerator { get; private init; }

    /// <summary>See <see cref="RateNumerator"/>.</summary>
    public long RateDenominator { get; private init; }

    /// <summary>The profile in words (Annex A.2).</summary>
    public string ProfileName => (Profile, (Constraints & 0x40) != 0) switch
    {
        (66, true) => "Constrained Baseline",
        (66, false) => "Baseline",
        (77, _) => "Main",
        (ExtendedProfile, _) => "Extended",
        (100, _) => "High",
        (110, _) => "High 10",
        (122, _) => "High 4:2:2",
        (244, _) => "High 4:4:4 Predictive",
        (44, _) => "CAVLC 4:4:4 Intra",
        (118, _) => "Multiview High",
        (128, _) => "Stereo High",
        _ => FormattableString.Invariant($"profile {Profile}"),
    };

    /// <summary>Reads a NAL unit of type 7, its header byte included.</summary>
    /// <returns>Null when it is no such unit, or torn, or says what no stream can be.</returns>
    public static H264Parameters? Read(ReadOnlySpan<byte> unit)
    {
        if (unit.Length < 5 || (unit[0] & 0x9F) != 7)
        {
            return null;
        }

        Span<byte> payload = stackalloc byte[Math.Min(unit.Length, LongestSet)];
        var bits = new BitReader(payload[..BitReader.Unescape(unit[1..], payload)]);
        int profile = (int)bits.Bits(8);
        int constraints = (int)bits.Bits(8);
        int level = (int)bits.Bits(8);
        bits.Unsigned();
        (int chroma, int depth, bool isSeparate) = (1, 8, false);
        if (HighProfiles.Contains(profile))
        {
            chroma = (int)Math.Min(bits.Unsigned(), 4);
            isSeparate = chroma == 3 && bits.Flag();
            depth = 8 + (int)Math.Max(Math.Min(bits.Unsigned(), 8), Math.Min(bits.Unsigned(), 8));
            bits.Skip(1);
            if (bits.Flag())
            {
                SkipScalingLists(ref bits, chroma == 3 ? 12 : 8);
            }
        }

        int frameNumberBits = (int)Math.Min(bits.Unsigned(), 12) + 4;
        SkipOrderCount(ref bits);
        int references = (int)Math.Min(bits.Unsigned(), 255);
        bits.Skip(1);
        long width = bits.Unsigned() + 1L;
        long mapHeight = bits.Unsigned() + 1L;
        bool isFramesOnly = bits.Flag();
        if (!isFramesOnly)
        {
            bits.Skip(1);
        }

        bits.Skip(1);
        long height = mapHeight * (isFramesOnly ? 1 : 2);
        (long columns, long rows) = (width * 16, height * 16);
        if (bits.Flag())
        {
            // Section 7.4.2.1.1: units of the chroma grid, and of two lines where fields may occur.
            int unitX = chroma is 1 or 2 && !isSeparate ? 2 : 1;
            int unitY = (chroma == 1 && !isSeparate ? 2 : 1) * (isFramesOnly ? 1 : 2);
            columns -= unitX * ((long)bits.Unsigned() + bits.Unsigned());
            rows -= unitY * ((long)bits.Unsigned() + bits.Unsigned());
        }

        var usability = new VideoUsability { ColourPrimaries = 2 };
        (long ticks, long scale) = (0, 0);
        if (bits.Flag() && !bits.IsOver)
        {
            usability = VideoUsability.Read(ref bits);
            if (bits.Flag())
            {
                (ticks, scale) = (bits.Bits(32), bits.Bits(32));
            }
        }

        if (bits.IsOver || chroma > 3 || columns is <= 0 or > 65535 || rows is <= 0 or > 65535)
        {
            return null;
        }

        // Annex A.3.1 and A.3.2: level 1b is 11 with constraint_set3_flag below High, 9 from there on.
        return new H264Parameters
        {
            Profile = profile,
            Constraints = constraints,
            Level = level == 11 && (constraints & 0x10) != 0 && profile is 66 or 77 or ExtendedProfile ? 9 : level,
            ChromaFormat = chroma,
            BitDepth = depth,
            Columns = (int)columns,
            Rows = (int)rows,
            Macroblocks = width * height,
            ReferencePictures = references,
            FrameNumberBits = frameNumberBits,
            HasSeparatePlanes = isSeparate,
            IsInterlaced = !isFramesOnly,
            PixelShape = usability.Shape,
            IsFullRange = usability.IsFullRange,
            ColourPrimaries = usability.ColourPrimaries,
            RateNumerator = ticks > 0 ? scale : 0,
            RateDenominator = ticks * 2,
        };
    }

    private static void SkipScalingLists(ref BitReader bits, int count)
    {
        for (int list = 0; list < count && !bits.IsOver; list++)
        {
            if (!bits.Flag())
            {
                continue;
            }

            int size = list < 6 ? 16 : 64;
            (int last, int next) = (8, 8);
            for (int i = 0; i < size && next != 0 && !bits.IsOver; i++)
            {
                next = (last + bits.Signed() + 256) % 256;
                last = next == 0 ? last : next;
            }
        }
    }

    private static void SkipOrderCount(ref BitReader bits)
    {
        switch (bits.Unsigned())
        {
            case 0:
                bits.Unsigned();
                break;
            case 1:
                bits.Skip(1);
                bits.Signed();
                bits.Signed();
                uint count = bits.Unsigned();
                for (uint i = 0; i < count && i < 256 && !bits.IsOver; i++)
                {
                    bits.Signed();
                }

                break;
        }
    }
}
