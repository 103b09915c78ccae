using System.Globalization;

namespace CameraBridge.Dicom.Bitstreams;

/// <summary>A time as Exif keeps it: the camera's local time, its fraction, and the zone where the camera wrote one.</summary>
/// <param name="Local">Local time with the fraction of the sub-second tag.</param>
/// <param name="Offset">Offset from UTC by an OffsetTime tag, or null when the camera wrote none.</param>
public readonly record struct ExifTime(DateTime Local, TimeSpan? Offset);

/// <summary>
/// The few tags of the Exif metadata (CIPA DC-008, version 2.32) that become DICOM attributes. Reading never fails: what cannot be read is not
/// there, and <see cref="Flaws"/> says why. Offsets are only followed inside the given bytes, each directory once.
/// </summary>
public sealed class Exif
{
    private const ushort OrientationTag = 0x0112, MakeTag = 0x010F, ModelTag = 0x0110, SoftwareTag = 0x0131, DateTimeTag = 0x0132,
        ExifDirectory = 0x8769, InteroperabilityDirectory = 0xA005, DateTimeOriginalTag = 0x9003, DateTimeDigitizedTag = 0x9004,
        OffsetTimeTag = 0x9010, OffsetTimeOriginalTag = 0x9011, OffsetTimeDigitizedTag = 0x9012, SubSecTimeTag = 0x9290,
        SubSecTimeOriginalTag = 0x9291, SubSecTimeDigitizedTag = 0x9292, ColorSpaceTag = 0xA001, BodySerialNumberTag = 0xA431,
        InteroperabilityIndexTag = 0x0001, ExposureTimeTag = 0x829A, FNumberTag = 0x829D, ExposureProgramTag = 0x8822, SensitivityTag = 0x8827,
        ExposureBiasTag = 0x9204, MeteringModeTag = 0x9207, FocalLengthTag = 0x920A, ExposureModeTag = 0xA402, WhiteBalanceTag = 0xA403,
        DigitalZoomTag = 0xA404, FocalLengthIn35mmTag = 0xA405, LensMakeTag = 0xA433, LensModelTag = 0xA434, LensSerialNumberTag = 0xA435;

    private Exif()
    {
    }

    /// <summary>An Exif without any tag.</summary>
    public static Exif Empty { get; } = new();

    /// <summary>Orientation, 1 to 8 (1 is upright); null when absent or no such number.</summary>
    public int? Orientation { get; private set; }

    /// <summary>When the picture was taken (DateTimeOriginal).</summary>
    public ExifTime? Original { get; private set; }

    /// <summary>When it was digitized (DateTimeDigitized).</summary>
    public ExifTime? Digitized { get; private set; }

    /// <summary>When the file was changed (DateTime).</summary>
    public ExifTime? Changed { get; private set; }

    /// <summary>The best time of capture: original, else digitized, else the time of the file's change.</summary>
    public ExifTime? Captured => Original ?? Digitized ?? Changed;

    /// <summary>ColorSpace: 1 sRGB, 65535 uncalibrated; 2 is written for Adobe RGB by some cameras, outside the standard.</summary>
    public int? ColorSpace { get; private set; }

    /// <summary>Interoperability index: R98 for sRGB, R03 for Adobe RGB (DCF).</summary>
    public string? InteroperabilityIndex { get; private set; }

    /// <summary>Maker of the camera.</summary>
    public string? Make { get; private set; }

    /// <summary>Model of the camera.</summary>
    public string? Model { get; private set; }

    /// <summary>Serial number of the camera's body.</summary>
    public string? BodySerialNumber { get; private set; }

    /// <summary>Software or firmware.</summary>
    public string? Software { get; private set; }

    /// <summary>How the camera was set; null when the file has no directory of such tags.</summary>
    public ExifSettings? Settings { get; private set; }

    /// <summary>What could not be read, in words.</summary>
    public IReadOnlyList<string> Flaws { get; private set; } = [];

    /// <summary>Reads the TIFF structure of an Exif segment.</summary>
    /// <param name="tiff">From the byte order mark on, as <see cref="JpegHeader.Exif"/> has it.</param>
    public static Exif Read(ReadOnlySpan<byte> tiff)
    {
        if (tiff.IsEmpty)
        {
            return Empty;
        }

        var exif = new Exif();
        var reader = new TiffReader(tiff);
        if (!reader.IsTiff)
        {
            exif.Flaws = ["The Exif segment has no TIFF header."];
            return exif;
        }

        TiffDirectory main = reader.ReadDirectory(reader.FirstDirectory);
        int? orientation = reader.Number(main, OrientationTag);
        exif.Orientation = orientation is >= 1 and <= 8 ? orientation : null;
        exif.Make = reader.Text(main, MakeTag);
        exif.Model = reader.Text(main, ModelTag);
        exif.Software = reader.Text(main, SoftwareTag);
        TiffDirectory detail = reader.Child(main, ExifDirectory);
        exif.Original = Time(ref reader, detail, DateTimeOriginalTag, detail, SubSecTimeOriginalTag, OffsetTimeOriginalTag);
        exif.Digitized = Time(ref reader, detail, DateTimeDigitizedTag, detail, SubSecTimeDigitizedTag, OffsetTimeDigitizedTag);
        exif.Changed = Time(ref reader, main, DateTimeTag, detail, SubSecTimeTag, OffsetTimeTag);
        exif.Settings = detail.Count == 0 ? null : SettingsOf(ref reader, detail);
        exif.ColorSpace = reader.Number(detail, ColorSpaceTag);
        exif.BodySerialNumber = reader.Text(detail, BodySerialNumberTag);
        exif.InteroperabilityIndex = reader.Text(reader.Child(detail, InteroperabilityDirectory), InteroperabilityIndexTag);
        exif.Flaws = reader.Flaws;
        return exif;
    }

    private static ExifSettings SettingsOf(ref TiffReader reader, TiffDirectory detail) => new()
    {
        ExposureTime = reader.Fraction(detail, ExposureTimeTag),
        FNumber = reader.Fraction(detail, FNumberTag),
        ExposureProgram = reader.Number(detail, ExposureProgramTag),
        PhotographicSensitivity = reader.Number(detail, SensitivityTag),
        ExposureBias = reader.Fraction(detail, ExposureBiasTag),
        MeteringMode = reader.Number(detail, MeteringModeTag),
        FocalLength = reader.Fraction(detail, FocalLengthTag),
        ExposureMode = reader.Number(detail, ExposureModeTag),
        WhiteBalance = reader.Number(detail, WhiteBalanceTag),
        DigitalZoomRatio = reader.Fraction(detail, DigitalZoomTag),
        FocalLengthIn35mmFilm = reader.Number(detail, FocalLengthIn35mmTag),
        LensMake = reader.Text(detail, LensMakeTag),
        LensModel = reader.Text(detail, LensModelTag),
        LensSerialNumber = reader.Text(detail, LensSerialNumberTag),
    };

    private static ExifTime? Time(
        ref TiffReader reader, TiffDirectory directory, ushort tag, TiffDirectory detail, ushort fractionTag, ushort offsetTag)
    {
        // A camera whose clock was never set writes blanks or zeros (section 4.6.5, DateTime: "when the field is unknown, blanks").
        string? text = reader.Text(directory, tag);
        if (text is null || !DateTime.TryParseExact(
            text.Length > 19 ? text[..19] : text, "yyyy:MM:dd HH:mm:ss", CultureInfo.InvariantCulture, DateTimeStyles.None, out DateTime local))
        {
            return null;
        }

        string? fraction = reader.Text(detail, fractionTag);
        if (fraction is { Length: > 0 } && fraction.All(char.IsAsciiDigit))
        {
            string digits = fraction.Length > 7 ? fraction[..7] : fraction.PadRight(7, '0');
            local = local.AddTicks(int.Parse(digits, CultureInfo.InvariantCulture));
        }

        return new ExifTime(local, Offset(reader.Text(detail, offsetTag)));
    }

    /// <summary>"+01:00" and its like, of whole minutes up to 14 hours.</summary>
    private static TimeSpan? Offset(string? text)
    {
        if (text is not ['+' or '-', _, _, ':', _, _]
            || !int.TryParse(text.AsSpan(1, 2), NumberStyles.None, CultureInfo.InvariantCulture, out int hours)
            || !int.TryParse(text.AsSpan(4, 2), NumberStyles.None, CultureInfo.InvariantCulture, out int minutes)
            || minutes > 59 || (hours * 60) + minutes > 14 * 60)
        {
            return null;
        }

        var offset = new TimeSpan(hours, minutes, 0);
        return text[0] == '-' ? -offset : offset;
    }
}
