using CameraBridge.Configuration;
using CameraBridge.Dicom.Bitstreams;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;

namespace CameraBridge.Pipeline.Objects;

/// <summary>
/// General Equipment (PS3.3 section C.7.5.1): what the configuration says of the camera, else what the camera wrote into Exif, else nothing.
/// </summary>
internal static class EquipmentMapping
{
    public static void Map(DataSet target, ObjectFacts facts, List<string> notes)
    {
        DeviceConfiguration device = facts.Source.Device;
        Exif exif = facts.Picture.Exif;
        target.Set(Tags.Manufacturer, Text(device.Manufacturer, exif.Make, Tags.Manufacturer, notes));
        SetIfKnown(target, Tags.ManufacturerModelName, device.ModelName, exif.Model, notes);
        SetIfKnown(target, Tags.DeviceSerialNumber, device.SerialNumber, exif.BodySerialNumber, notes);
        SetIfKnown(target, Tags.SoftwareVersions, device.SoftwareVersions, exif.Software, notes);
        SetIfKnown(target, Tags.StationName, facts.Source.StationName, null, notes);
        SetIfKnown(target, Tags.InstitutionName, facts.Institution.Name, null, notes);
        SetIfKnown(target, Tags.InstitutionAddress, facts.Institution.Address, null, notes);
        SetIfKnown(target, Tags.InstitutionalDepartmentName, facts.Institution.Department, null, notes);
    }

    private static void SetIfKnown(DataSet target, Tag tag, string? configured, string? written, List<string> notes)
    {
        if (Text(configured, written, tag, notes) is { } text)
        {
            target.Set(tag, text);
        }
    }

    /// <summary>A camera's text with bytes that are no text is as good as none.</summary>
    private static string? Text(string? configured, string? written, Tag tag, List<string> notes)
    {
        string? text = configured ?? (written is not null && !written.Contains('\uFFFD', StringComparison.Ordinal) ? written : null);
        return text is null ? null : PlainText.Fit(text, tag, notes);
    }
}
