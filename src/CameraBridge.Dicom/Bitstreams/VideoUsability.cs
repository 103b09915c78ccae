namespace CameraBridge.Dicom.Bitstreams;

/// <summary>What the video usability information of H.264 and HEVC begins with alike (ISO/IEC 14496-10 E.1.1, 23008-2 E.2.1).</summary>
internal struct VideoUsability
{
    private const int ExtendedShape = 255;

    /// <summary>Table E-1, by aspect_ratio_idc.</summary>
    private static readonly (int Width, int Height)[] Shapes =
    [
        (0, 0), (1, 1), (12, 11), (10, 11), (16, 11), (40, 33), (24, 11), (20, 11), (32, 11), (80, 33), (18, 11), (15, 11), (64, 33), (160, 99), (4, 3), (3, 2), (2, 1),
    ];

    /// <summary>Pixel shape; (0, 0) when not told.</summary>
    public (int Width, int Height) Shape;

    /// <summary>Null when not told.</summary>
    public bool? IsFullRange;

    /// <summary>2 when not told.</summary>
    public int ColourPrimaries;

    public static VideoUsability Read(ref BitReader bits)
    {
        var usability = new VideoUsability { ColourPrimaries = 2 };
        if (bits.Flag())
        {
            int shape = (int)bits.Bits(8);
            usability.Shape = shape == ExtendedShape ? ((int)bits.Bits(16), (int)bits.Bits(16)) : shape < Shapes.Length ? Shapes[shape] : (0, 0);
        }

        if (bits.Flag())
        {
            bits.Skip(1);
        }

        if (bits.Flag())
        {
            bits.Skip(3);
            usability.IsFullRange = bits.Flag();
            if (bits.Flag())
            {
                usability.ColourPrimaries = (int)bits.Bits(8);
                bits.Skip(16);
            }
        }

        if (bits.Flag())
        {
            bits.Unsigned();
            bits.Unsigned();
        }

        return usability;
    }
}
