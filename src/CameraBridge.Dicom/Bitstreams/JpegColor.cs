namespace CameraBridge.Dicom.Bitstreams;

/// <summary>What the components of a JPEG picture are.</summary>
public enum JpegColor
{
    /// <summary>A number of components for which no convention exists.</summary>
    Unknown,

    /// <summary>One component, luminance.</summary>
    Monochrome,

    /// <summary>Three components, full-range YCbCr of ITU-T T.871 (JFIF).</summary>
    YCbCr,

    /// <summary>Three components, RGB.</summary>
    Rgb,

    /// <summary>Four components, CMYK or YCCK.</summary>
    Cmyk,
}

/// <summary>
/// Tells the colour model of a JPEG picture. T.81 itself does not say it; this is the convention of JFIF (ITU-T T.871), of Adobe's technical
/// note 5116 (APP14) and of the common decoders: JFIF means YCbCr, else the Adobe flag decides, else the component identifiers, else YCbCr.
/// </summary>
public static class JpegColors
{
    /// <summary>The colour model of the picture as the file stands.</summary>
    public static JpegColor Of(JpegHeader header)
    {
        ArgumentNullException.ThrowIfNull(header);
        return Of(header, header.HasJfif, header.AdobeTransform);
    }

    /// <summary>The colour model a decoder would take if the file had neither a JFIF nor an Adobe segment.</summary>
    internal static JpegColor WithoutMarkers(JpegHeader header) => Of(header, hasJfif: false, adobeTransform: null);

    private static JpegColor Of(JpegHeader header, bool hasJfif, int? adobeTransform) => header.Components.Count switch
    {
        1 => JpegColor.Monochrome,
        3 when hasJfif => JpegColor.YCbCr,
        3 when adobeTransform is { } transform => transform == 0 ? JpegColor.Rgb : JpegColor.YCbCr,
        3 => header.Components is [{ Id: (byte)'R' }, { Id: (byte)'G' }, { Id: (byte)'B' }] ? JpegColor.Rgb : JpegColor.YCbCr,
        4 => JpegColor.Cmyk,
        _ => JpegColor.Unknown,
    };
}
