using System.Globalization;
using CameraBridge.Dicom.Bitstreams;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;

namespace CameraBridge.Pipeline.Objects.Mapping;

/// <summary>
/// What the camera wrote of its settings: VL Photographic Equipment and VL Photographic Acquisition (PS3.3 sections C.8.12.10 and C.8.12.11, edition 2025e), whose
/// attributes are those of Exif. Only values that Exif knows; the place where the picture was taken stays out.
/// </summary>
internal static class PhotographicMapping
{
    public static void Map(DataSet target, ExifSettings settings, List<string> notes)
    {
        SetDecimal(target, Tags.ExposureTimeInSeconds, settings.ExposureTime, value => value > 0);
        SetDecimal(target, Tags.FNumber, settings.FNumber, value => value > 0);
        SetDecimal(target, Tags.ExposureBiasValue, settings.ExposureBias, value => decimal.Abs(value) < 100);
        SetDecimal(target, Tags.FocalLength, settings.FocalLength, value => value > 0);
        SetDecimal(target, Tags.DigitalZoomRatio, settings.DigitalZoomRatio, value => value >= 0);
        SetNumber(target, Tags.ExposureProgram, settings.ExposureProgram, value => value is >= 0 and <= 8);
        SetNumber(target, Tags.PhotographicSensitivity, settings.PhotographicSensitivity, value => value is > 0 and < ushort.MaxValue);
        SetNumber(target, Tags.MeteringMode, settings.MeteringMode, value => value is (>= 0 and <= 6) or 255);
        SetNumber(target, Tags.ExposureMode, settings.ExposureMode, value => value is >= 0 and <= 2);
        SetNumber(target, Tags.WhiteBalance, settings.WhiteBalance, value => value is 0 or 1);
        SetNumber(target, Tags.FocalLengthIn35mmFilm, settings.FocalLengthIn35mmFilm, value => value > 0);
        SetText(target, Tags.LensMake, settings.LensMake, notes);
        SetText(target, Tags.LensModel, settings.LensModel, notes);
        SetText(target, Tags.LensSerialNumber, settings.LensSerialNumber, notes);
    }

    private static void SetDecimal(DataSet target, Tag tag, decimal? value, Func<decimal, bool> isKnown)
    {
        if (value is { } number && number < 1_000_000 && isKnown(number))
        {
            // A DS has 16 characters (PS3.5 Table 6.2-1); no camera sets more than eight decimals.
            target.Set(tag, number.ToString("0.########", CultureInfo.InvariantCulture));
        }
    }

    private static void SetNumber(DataSet target, Tag tag, int? value, Func<int, bool> isKnown)
    {
        if (value is { } number && isKnown(number))
        {
            target.SetInt(tag, [number]);
        }
    }

    private static void SetText(DataSet target, Tag tag, string? text, List<string> notes)
    {
        if (text is not null && !text.Contains('\uFFFD', StringComparison.Ordinal) && PlainText.Fit(text, tag, notes) is { } fitting)
        {
            target.Set(tag, fitting);
        }
    }
}
