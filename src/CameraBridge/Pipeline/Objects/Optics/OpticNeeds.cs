using CameraBridge.Configuration;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;

namespace CameraBridge.Pipeline.Objects.Optics;

/// <summary>
/// What must be known of a picture before its object may be made: what the optic says it needs, and what the class of object demands as type 1. The words in
/// which it is held say where to write it.
/// </summary>
internal static class OpticNeeds
{
    private const string Again = "Then assign the sitting to the same order again.";

    /// <summary>The first value that is missing or cannot be; null when all is there.</summary>
    public static Reason? Missing(SeriesFacts series, OpticValues values)
    {
        Optic optic = series.Optic;
        foreach (string need in ValuesNeeded(optic, series.Kind))
        {
            if (!values.Has(need))
            {
                return new Reason(
                    $"{need.Replace('_', '-')}-missing",
                    $"A {KindWord(series.Kind)} of the optic \"{optic.Name}\" must say its {need.Replace('_', ' ')}, and neither cue, order nor configuration does. "
                    + $"Say it by hand ('held assign' with --say {need}=...), in a sidecar (\"{need}\": ...), or for the whole optic in the configuration. {Again}");
            }
        }

        if (values.CodeOf(ValueKeys.BodySite) is { } site && !OpticRules.IsOf(optic, site))
        {
            return new Reason(
                "body-site-foreign",
                $"The body site {site.Value} ({site.Meaning}) is none of the optic \"{optic.Name}\" (CID {string.Join(", ", optic.BodySites)}). Choose another optic or site. {Again}");
        }

        return OpticRules.Flaw(values) is { } flaw
            ? new Reason("lens-power-impossible", $"The lens power of this picture {flaw.What}. {flaw.Fix} Correct it in the sidecar. {Again}")
            : null;
    }

    /// <summary>The equipment that is missing in a made object; null when all is there. Exif may have given what the configuration does not.</summary>
    public static Reason? MissingEquipment(SeriesFacts series, DataSet made)
    {
        foreach (string need in EquipmentNeeded(series.Optic, series.Kind))
        {
            if (made[TagOf(need)] is null or { IsEmpty: true })
            {
                return new Reason(
                    "equipment-missing",
                    $"A {KindWord(series.Kind)} of the optic \"{series.Optic.Name}\" must name the camera's {need.Replace('_', ' ')}, which neither the configuration nor the picture does. "
                    + $"Write device.{need} of the source \"{series.Source.Name}\". {Again}");
            }
        }

        return null;
    }

    /// <summary>What a source's configuration lacks for its own optic, so that it can be told before the first picture comes: words of the setting.</summary>
    public static IEnumerable<string> LackingDevice(SourceConfiguration source, Optic optic) => EquipmentNeeded(optic, CaptureKind.Still).Where(need => need switch
    {
        EquipmentNeeds.Manufacturer => source.Device.Manufacturer is null,
        EquipmentNeeds.ModelName => source.Device.ModelName is null,
        EquipmentNeeds.SerialNumber => source.Device.SerialNumber is null,
        _ => source.Device.SoftwareVersions is null,
    });

    public static Reason UnknownOption(Optic optic, string option) => new(
        "option-unknown",
        $"A sidecar chooses the option \"{option}\", which the optic \"{optic.Name}\" does not have. "
        + $"{(optic.Options.Count == 0 ? "It has none." : $"It has {string.Join(", ", optic.Options.Select(one => one.Name))}.")} Correct the one or the other. {Again}");

    public static Reason OtherSide(string ordered) => new(
        "side-contradicts-order",
        $"The order is for the {(ordered == "R" ? "right" : "left")} side, and a cue says the other one. Ask who took the picture, then correct the order or say the side by hand.");

    /// <summary>Ophthalmic objects have side, region and device as type 1, clips the region as type 1C (PS3.3 sections C.8.17.5, C.8.17.3, C.8.12.1).</summary>
    private static IEnumerable<string> ValuesNeeded(Optic optic, CaptureKind kind)
    {
        IEnumerable<string> ofClass = optic.Of(kind).SOPClassUID switch
        {
            SopClasses.OphthalmicPhotography8BitImageStorage => [ValueKeys.Side, ValueKeys.BodySite, ValueKeys.EyeDevice, ValueKeys.BurnedIn],
            SopClasses.DermoscopicPhotographyImageStorage => [ValueKeys.Recognizable],
            SopClasses.VideoEndoscopicImageStorage or SopClasses.VideoPhotographicImageStorage => [ValueKeys.BodySite],
            _ => [],
        };
        return optic.Needs.Where(need => ValueKeys.Find(need) is { } key && key.IsFor(optic.Of(kind).SOPClassUID)).Union(ofClass);
    }

    /// <summary>Enhanced General Equipment (PS3.3 section C.7.5.2) has all four as type 1.</summary>
    private static IEnumerable<string> EquipmentNeeded(Optic optic, CaptureKind kind) =>
        optic.Of(kind).SOPClassUID == SopClasses.DermoscopicPhotographyImageStorage ? EquipmentNeeds.All : EquipmentNeeds.All.Intersect(optic.Needs);

    private static string KindWord(CaptureKind kind) => kind == CaptureKind.Clip ? "clip" : "picture";

    private static Tag TagOf(string need) => need switch
    {
        EquipmentNeeds.Manufacturer => Tags.Manufacturer,
        EquipmentNeeds.ModelName => Tags.ManufacturerModelName,
        EquipmentNeeds.SerialNumber => Tags.DeviceSerialNumber,
        _ => Tags.SoftwareVersions,
    };
}
