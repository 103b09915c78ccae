using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Pipeline.Objects.Optics;

namespace CameraBridge.Pipeline.Objects.Mapping;

/// <summary>
/// How an eye was photographed: Synchronization, Multi-frame, Ocular Region Imaged, Acquisition Parameters, Photographic Parameters (PS3.3 sections C.7.4.2,
/// C.7.6.6, C.8.17.3 to C.8.17.5, edition 2025e). What is unknown is empty, as its type 2 says.
/// </summary>
internal static class EyeMapping
{
    public static void Map(DataSet target, SeriesFacts series, OpticValues values)
    {
        MapSynchronization(target, series);
        MapEye(target, values);
        MapPupil(target, values);
        MapCamera(target, values);
        if (values.CodeOf(ValueKeys.ImagePosition) is { } position)
        {
            target.SetItems(Tags.RelativeImagePositionCodeSequence, position.ToItem());
        }
    }

    private static void MapSynchronization(DataSet target, SeriesFacts series)
    {
        // A camera's clock is bound to nothing: a frame of reference of its own.
        target.Set(Tags.SynchronizationFrameOfReferenceUID, DerivedUid.Of(series.SeriesInstanceUID, "synchronization"));
        target.Set(Tags.SynchronizationTrigger, "NO TRIGGER");
        target.Set(Tags.AcquisitionTimeSynchronized, "N");

        // Multi-frame is mandatory here though a still has one frame: the pointer needs a target, and no time passes.
        target.SetInt(Tags.NumberOfFrames, [1]);
        target.SetInt(Tags.FrameIncrementPointer, [0x00181063]);
        target.Set(Tags.FrameTime, "0");
    }

    private static void MapEye(DataSet target, OpticValues values)
    {
        Code? gaze = values.CodeOf(ValueKeys.Gaze);
        target.Set(Tags.PatientEyeMovementCommanded, gaze is null ? null : "YES");
        if (gaze is { } command)
        {
            target.SetItems(Tags.PatientEyeMovementCommandCodeSequence, command.ToItem());
        }

        SetNumber(target, Tags.HorizontalFieldOfView, values.Number(ValueKeys.FieldOfView));
        target.SetEmpty(Tags.EmmetropicMagnification);
        SetNumber(target, Tags.IntraOcularPressure, values.Number(ValueKeys.EyePressure));
        if (values.Number(ValueKeys.LensPower) is not { } power)
        {
            target.SetItems(Tags.RefractiveStateSequence, []);
            return;
        }

        // The lenses of a wheel are spherical.
        var refraction = new DataSet();
        refraction.SetDouble(Tags.SphericalLensPower, [(double)power]);
        refraction.SetDouble(Tags.CylinderLensPower, [0]);
        refraction.SetDouble(Tags.CylinderAxis, [0]);
        target.SetItems(Tags.RefractiveStateSequence, refraction);
    }

    private static void MapPupil(DataSet target, OpticValues values)
    {
        string? dilated = values.One(ValueKeys.Pupil);
        target.Set(Tags.PupilDilated, dilated);
        if (dilated != "YES")
        {
            return;
        }

        target.SetItems(Tags.MydriaticAgentSequence, values.CodesOf(ValueKeys.Mydriatics).Select(agent =>
        {
            var item = new DataSet();
            item.SetItems(Tags.MydriaticAgentCodeSequence, agent.ToItem());
            return item;
        }));
        SetNumber(target, Tags.DegreeOfDilation, values.Number(ValueKeys.PupilDiameter));
    }

    private static void MapCamera(DataSet target, OpticValues values)
    {
        SetCodes(target, Tags.AcquisitionDeviceTypeCodeSequence, values, ValueKeys.EyeDevice);
        SetCodes(target, Tags.IlluminationTypeCodeSequence, values, ValueKeys.Illumination);
        SetCodes(target, Tags.LightPathFilterTypeStackCodeSequence, values, ValueKeys.LightFilters);
        SetCodes(target, Tags.ImagePathFilterTypeStackCodeSequence, values, ValueKeys.ImageFilters);
        SetCodes(target, Tags.LensesCodeSequence, values, ValueKeys.Lenses);
        target.Set(Tags.DetectorType, values.One(ValueKeys.Detector));
        if (values.Number(ValueKeys.CameraAngle) is { } angle)
        {
            target.SetDouble(Tags.CameraAngleOfView, [(double)angle]);
        }
    }

    private static void SetCodes(DataSet target, Tag tag, OpticValues values, string key) =>
        target.SetItems(tag, values.CodesOf(key).Select(code => code.ToItem()));

    private static void SetNumber(DataSet target, Tag tag, decimal? number)
    {
        if (number is { } known)
        {
            target.SetDouble(tag, [(double)known]);
        }
        else
        {
            target.SetEmpty(tag);
        }
    }
}
