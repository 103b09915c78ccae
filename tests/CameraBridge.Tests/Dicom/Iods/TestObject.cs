using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;

namespace CameraBridge.Tests.Dicom.Iods;

/// <summary>A right VL Endoscopic object with little more than its mandatory modules, written attribute by attribute.</summary>
internal static class TestObject
{
    public static DataSet Endoscopic()
    {
        var dataSet = new DataSet();
        dataSet.Set(Tags.SOPClassUID, SopClasses.VLEndoscopicImageStorage);
        dataSet.Set(Tags.SOPInstanceUID, "2.25.4");
        dataSet.Set(Tags.PatientName, "Doe^Adam");
        dataSet.Set(Tags.PatientID, "P1");
        dataSet.SetDate(Tags.PatientBirthDate, new DateOnly(1961, 4, 30));
        dataSet.Set(Tags.PatientSex, "M");
        dataSet.Set(Tags.StudyInstanceUID, "2.25.2");
        dataSet.SetDate(Tags.StudyDate, new DateOnly(2026, 2, 28));
        dataSet.SetTime(Tags.StudyTime, new TimeOnly(9, 15));
        dataSet.SetEmpty(Tags.ReferringPhysicianName);
        dataSet.SetEmpty(Tags.StudyID);
        dataSet.SetEmpty(Tags.AccessionNumber);
        dataSet.Set(Tags.Modality, "ES");
        dataSet.Set(Tags.SeriesInstanceUID, "2.25.3");
        dataSet.SetInt(Tags.SeriesNumber, 1);
        dataSet.SetEmpty(Tags.Manufacturer);
        dataSet.SetInt(Tags.InstanceNumber, 1);
        dataSet.SetEmpty(Tags.PatientOrientation);
        dataSet.SetEmpty(Tags.AcquisitionContextSequence);
        dataSet.Set(Tags.ImageType, "ORIGINAL", "PRIMARY");
        dataSet.Set(Tags.ImageLaterality, "R");
        dataSet.SetInt(Tags.SamplesPerPixel, 3);
        dataSet.Set(Tags.PhotometricInterpretation, "YBR_FULL_422");
        dataSet.SetInt(Tags.PlanarConfiguration, [0]);
        dataSet.SetInt(Tags.Rows, 24);
        dataSet.SetInt(Tags.Columns, 40);
        dataSet.SetInt(Tags.BitsAllocated, 8);
        dataSet.SetInt(Tags.BitsStored, 8);
        dataSet.SetInt(Tags.HighBit, 7);
        dataSet.SetInt(Tags.PixelRepresentation, [0]);
        dataSet.Set(Tags.LossyImageCompression, "01");
        dataSet.Set(Tags.LossyImageCompressionRatio, "12.5");
        dataSet.Set(Tags.LossyImageCompressionMethod, "ISO_10918_1");
        DataSet region = Code("84301002", "External auditory canal");
        region.SetItems(Tags.AnatomicRegionModifierSequence, Code("24028007", "Right"));
        dataSet.SetItems(Tags.AnatomicRegionSequence, region);
        dataSet.Put(Element.FromEncapsulated(Tags.PixelData, new EncapsulatedPixels(default, [PixelSource.FromBytes(new byte[12])])));
        return dataSet;
    }

    public static DataSet Code(string value, string meaning)
    {
        var code = new DataSet();
        code.Set(Tags.CodeValue, value);
        code.Set(Tags.CodingSchemeDesignator, "SCT");
        code.Set(Tags.CodeMeaning, meaning);
        return code;
    }
}
