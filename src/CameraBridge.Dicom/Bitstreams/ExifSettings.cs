namespace CameraBridge.Dicom.Bitstreams;

/// <summary>How the camera was set, as Exif keeps it (CIPA DC-008, version 2.32, section 4.6.5); each null when it is not there or cannot be read.</summary>
public sealed record ExifSettings
{
    /// <summary>Seconds.</summary>
    public decimal? ExposureTime { get; init; }

    /// <summary>Focal length over aperture.</summary>
    public decimal? FNumber { get; init; }

    /// <summary>0 to 8.</summary>
    public int? ExposureProgram { get; init; }

    /// <summary>As ISO 12232 has it; 65535 for what is more than 16 bits hold.</summary>
    public int? PhotographicSensitivity { get; init; }

    /// <summary>APEX steps.</summary>
    public decimal? ExposureBias { get; init; }

    /// <summary>0 to 6, or 255 for another.</summary>
    public int? MeteringMode { get; init; }

    /// <summary>Millimetres.</summary>
    public decimal? FocalLength { get; init; }

    /// <summary>0 automatic, 1 manual, 2 bracket.</summary>
    public int? ExposureMode { get; init; }

    /// <summary>0 automatic, 1 manual.</summary>
    public int? WhiteBalance { get; init; }

    /// <summary>0 when no digital zoom was used.</summary>
    public decimal? DigitalZoomRatio { get; init; }

    /// <summary>Millimetres; 0 when unknown.</summary>
    public int? FocalLengthIn35mmFilm { get; init; }

    /// <summary>Maker of the lens.</summary>
    public string? LensMake { get; init; }

    /// <summary>Model of the lens.</summary>
    public string? LensModel { get; init; }

    /// <summary>Serial number of the lens.</summary>
    public string? LensSerialNumber { get; init; }
}
