using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Part10;

namespace CameraBridge.Tests.Dicom.Iods.Agreement;

/// <summary>A right object of each of the six classes, with what is optional too, so that there is much to spoil.</summary>
internal static class SoundObjects
{
    public static IReadOnlyList<SoundObject> All { get; } =
    [
        new("endoscopic", () => Still(SopClasses.VLEndoscopicImageStorage, "ES"), TransferSyntax.JpegBaseline),
        new("photographic", () => Still(SopClasses.VLPhotographicImageStorage, "XC"), TransferSyntax.JpegBaseline),
        new("dermoscopic", Dermoscopic, TransferSyntax.JpegBaseline),
        new("ophthalmic", Ophthalmic, TransferSyntax.JpegBaseline),
        new("video endoscopic", () => Clip(SopClasses.VideoEndoscopicImageStorage, "ES"), TransferSyntax.Find(TransferSyntaxes.MPEG4HP41)!),
        new("video photographic", () => Clip(SopClasses.VideoPhotographicImageStorage, "XC"), TransferSyntax.Find(TransferSyntaxes.MPEG4HP41)!),
    ];

    private static DataSet Still(string SOPClassUID, string modality)
    {
        DataSet dataSet = TestObject.Endoscopic();
        dataSet.Set(Tags.SOPClassUID, SOPClassUID);
        dataSet.Set(Tags.Modality, modality);
        dataSet.Set(Tags.Manufacturer, "Invented Optics");
        dataSet.Set(Tags.ReferringPhysicianName, "Roe^Rita");
        dataSet.Set(Tags.AccessionNumber, "A1");
        dataSet.Set(Tags.StudyID, "S1");
        dataSet.Set(Tags.PatientOrientation, "L", "F");
        dataSet.SetDate(Tag("ContentDate"), new DateOnly(2026, 2, 28));
        dataSet.SetTime(Tag("ContentTime"), new TimeOnly(9, 16));
        dataSet.Set(Tag("AcquisitionDateTime"), "20260228091600");
        dataSet.Set(Tag("BurnedInAnnotation"), "NO");
        dataSet.Set(Tag("TimezoneOffsetFromUTC"), "+0100");
        dataSet.Set(Tag("AdmissionID"), "V1");
        dataSet.Set(Tag("PatientAge"), "064Y");
        var request = new DataSet();
        request.Set(Tag("RequestedProcedureID"), "R1");
        request.Set(Tag("ScheduledProcedureStepID"), "P1");
        request.SetItems(Tag("RequestedProcedureCodeSequence"), Code("99CAM", "EAR1", "Look into the ear"));
        dataSet.SetItems(Tag("RequestAttributesSequence"), request);
        var item = new DataSet();
        item.Set(Tag("ValueType"), "TEXT");
        item.SetItems(Tag("ConceptNameCodeSequence"), Code("DCM", "121106", "Comment"));
        item.Set(Tag("TextValue"), "none");
        dataSet.SetItems(Tags.AcquisitionContextSequence, item);
        var equipment = new DataSet();
        equipment.SetItems(Tag("PurposeOfReferenceCodeSequence"), Code("DCM", "109101", "Acquisition Equipment"));
        equipment.Set(Tags.Manufacturer, "Invented Optics");
        dataSet.SetItems(Tag("ContributingEquipmentSequence"), equipment);
        return dataSet;
    }

    private static DataSet Dermoscopic()
    {
        DataSet dataSet = Still(SopClasses.DermoscopicPhotographyImageStorage, "DMS");
        dataSet.Set(Tag("ManufacturerModelName"), "D1");
        dataSet.Set(Tag("DeviceSerialNumber"), "1");
        dataSet.Set(Tag("SoftwareVersions"), "1.0");
        dataSet.Set(Tag("RecognizableVisualFeatures"), "NO");
        dataSet.Set(Tag("LightSourcePolarization"), "POLARIZED");
        dataSet.SetDouble(Tag("EmitterColorTemperature"), 5500);
        dataSet.Set(Tag("ContactMethod"), "CONTACT");
        dataSet.Set(Tag("ImmersionMedia"), "ALCOHOL");
        dataSet.SetDouble(Tag("OpticalMagnificationFactor"), 45);
        dataSet.Set(Tag("TrackingID"), "lesion 1");
        dataSet.Set(Tag("TrackingUID"), "2.25.9");

        // dicom3tools of 2022 asks for the Frame of Reference Module, which the edition 2025e does not have in this class.
        dataSet.Set(Tag("FrameOfReferenceUID"), "2.25.8");
        dataSet.SetEmpty(Tag("PositionReferenceIndicator"));
        DataSet region = Code("SCT", "14975008", "Forearm");
        region.SetItems(Tags.AnatomicRegionModifierSequence, Code("SCT", "24028007", "Right"));
        dataSet.SetItems(Tags.AnatomicRegionSequence, region);
        return dataSet;
    }

    private static DataSet Ophthalmic()
    {
        DataSet dataSet = Still(SopClasses.OphthalmicPhotography8BitImageStorage, "OP");
        dataSet.Set(Tags.ImageType, "ORIGINAL", "PRIMARY", "", "COLOR");
        Count(dataSet, 1, "0");
        DataSet region = Code("SCT", "5665001", "Retina");
        region.SetItems(Tags.AnatomicRegionModifierSequence, Code("SCT", "24028007", "Right"));
        dataSet.SetItems(Tags.AnatomicRegionSequence, region);
        dataSet.Set(Tag("SynchronizationFrameOfReferenceUID"), "2.25.7");
        dataSet.Set(Tag("SynchronizationTrigger"), "NO TRIGGER");
        dataSet.Set(Tag("AcquisitionTimeSynchronized"), "N");
        dataSet.Set(Tag("PatientEyeMovementCommanded"), "YES");
        dataSet.SetItems(Tag("PatientEyeMovementCommandCodeSequence"), Code("SCT", "408744005", "Primary gaze"));
        dataSet.SetDouble(Tag("HorizontalFieldOfView"), 45);
        var refraction = new DataSet();
        refraction.SetDouble(Tag("SphericalLensPower"), -2);
        refraction.SetDouble(Tag("CylinderLensPower"), [0]);
        refraction.SetDouble(Tag("CylinderAxis"), [0]);
        dataSet.SetItems(Tag("RefractiveStateSequence"), refraction);
        dataSet.SetDouble(Tag("EmmetropicMagnification"), 1);
        dataSet.SetDouble(Tag("IntraOcularPressure"), 15);
        dataSet.Set(Tag("PupilDilated"), "YES");
        var agent = new DataSet();
        agent.SetItems(Tag("MydriaticAgentCodeSequence"), Code("SCT", "387526001", "Tropicamide"));
        dataSet.SetItems(Tag("MydriaticAgentSequence"), agent);
        dataSet.SetDouble(Tag("DegreeOfDilation"), 7);
        dataSet.SetItems(Tag("AcquisitionDeviceTypeCodeSequence"), Code("SCT", "409898007", "Fundus Camera"));
        dataSet.SetItems(Tag("IlluminationTypeCodeSequence"), Code("DCM", "111627", "Indirect"));
        dataSet.SetItems(Tag("LightPathFilterTypeStackCodeSequence"), Code("DCM", "111601", "Green filter"));
        dataSet.SetEmpty(Tag("ImagePathFilterTypeStackCodeSequence"));
        dataSet.SetEmpty(Tag("LensesCodeSequence"));
        dataSet.Set(Tag("DetectorType"), "CMOS");
        return dataSet;
    }

    private static DataSet Clip(string SOPClassUID, string modality)
    {
        DataSet dataSet = Still(SOPClassUID, modality);
        Count(dataSet, 60, "33.333");
        dataSet.SetInt(Tag("CineRate"), 30);
        dataSet.SetInt(Tag("RecommendedDisplayFrameRate"), 30);
        dataSet.Set(Tags.PhotometricInterpretation, "YBR_PARTIAL_420");
        dataSet.Set(Tags.LossyImageCompressionMethod, "ISO_14496_10");
        return dataSet;
    }

    private static void Count(DataSet dataSet, int frames, string frameTime)
    {
        dataSet.SetInt(Tag("NumberOfFrames"), frames);
        dataSet.Put(Element.FromBytes(Tag("FrameIncrementPointer"), Vr.AT, new byte[] { 0x18, 0x00, 0x63, 0x10 }));
        dataSet.Set(Tag("FrameTime"), frameTime);
    }

    public static DataSet Code(string scheme, string value, string meaning)
    {
        var code = new DataSet();
        code.Set(Tags.CodeValue, value);
        code.Set(Tags.CodingSchemeDesignator, scheme);
        code.Set(Tags.CodeMeaning, meaning);
        return code;
    }

    public static Tag Tag(string keyword) => TagDictionary.Find(keyword)!.Tag;
}

/// <summary>A right object: how to make a fresh one, and its transfer syntax.</summary>
internal sealed record SoundObject(string Name, Func<DataSet> Make, TransferSyntax Syntax);
