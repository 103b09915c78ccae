using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Pipeline.Objects.Optics;

namespace CameraBridge.Pipeline.Objects.Mapping;

/// <summary>How a dermoscopic picture was taken (PS3.3 section C.8.12.13, edition 2025e). What is unknown is empty, as its type 2 says.</summary>
internal static class SkinMapping
{
    public static void Map(DataSet target, SeriesFacts series, OpticValues values)
    {
        target.Set(Tags.LightSourcePolarization, values.One(ValueKeys.Polarisation));
        SetNumber(target, Tags.EmitterColorTemperature, values.One(ValueKeys.ColourTemperature));
        target.Set(Tags.ContactMethod, values.One(ValueKeys.Contact));
        SetNumber(target, Tags.OpticalMagnificationFactor, values.One(ValueKeys.Magnification));
        if (values.One(ValueKeys.Contact) == "CONTACT")
        {
            // A dry contact has no medium: present and empty (type 2C).
            target.Set(Tags.ImmersionMedia, values.All(ValueKeys.Immersion).Where(medium => medium != ValueKeys.Dry));
        }

        // Editions before 2025 (and dciodvfy of 2022) have a Frame of Reference module in this IOD: pictures of one series share the hand that held the probe.
        target.Set(Tags.FrameOfReferenceUID, DerivedUid.Of(series.SeriesInstanceUID, "frame of reference"));
        target.SetEmpty(Tags.PositionReferenceIndicator);
    }

    private static void SetNumber(DataSet target, Tag tag, string? number) => target.Set(tag, number);
}
