using CameraBridge.Configuration;
using CameraBridge.Dicom.Bitstreams;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;

namespace CameraBridge.Pipeline.Objects.Mapping;

/// <summary>
/// General Equipment (PS3.3 section C.7.5.1): what the configuration says of the camera, else what the camera wrote into Exif, else nothing.
/// </summary>
internal static class EquipmentMapping
{
    /// <summary>What is equal for all objects of the source.</summary>
    public static void Map(DataSet target, SeriesFacts series, List<string> notes)
    {
        DeviceConfiguration device = series.Source.Device;
        target.Set(Tags.Manufacturer, device.Manufacturer is { } manufacturer ? PlainText.Fit(manufacturer, Tags.Manufacturer, notes) : null);
        SetIfKnown(target, Tags.ManufacturerModelName, device.ModelName, notes);
        SetIfKnown(target, Tags.DeviceSerialNumber, device.SerialNumber, notes);
        SetIfKnown(target, Tags.SoftwareVersions, device.SoftwareVersions, notes);
        SetIfKnown(target, Tags.StationName, series.Source.StationName, notes);
        SetIfKnown(target, Tags.InstitutionName, series.Institution.Name, notes);
        SetIfKnown(target, Tags.InstitutionAddress, series.Institution.Address, notes);
        SetIfKnown(target, Tags.InstitutionalDepartmentName, series.Institution.Department, notes);
    }

    /// <summary>What the camera itself wrote, where the configuration is silent.</summary>
    public static void MapCamera(DataSet target, Exif exif, List<string> notes)
    {
        SetIfSilent(target, Tags.Manufacturer, exif.Make, notes);
        SetIfSilent(target, Tags.ManufacturerModelName, exif.Model, notes);
        SetIfSilent(target, Tags.DeviceSerialNumber, exif.BodySerialNumber, notes);
        SetIfSilent(target, Tags.SoftwareVersions, exif.Software, notes);
    }

    /// <summary>A camera's text with bytes that are no text is as good as none.</summary>
    private static void SetIfSilent(DataSet target, Tag tag, string? written, List<string> notes)
    {
        if (written is not null && target[tag] is null or { IsEmpty: true } && !written.Contains('\uFFFD', StringComparison.Ordinal))
        {
            SetIfKnown(target, tag, written, notes);
        }
    }

    private static void SetIfKnown(DataSet target, Tag tag, string? text, List<string> notes)
    {
        if (text is not null && PlainText.Fit(text, tag, notes) is { } fitting)
        {
            target.Set(tag, fitting);
        }
    }
}
