using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;

namespace CameraBridge.Tests.Dicom.Part10;

/// <summary>Invented data sets that use every value representation of PS3.5 Table 6.2-1, sequences in sequences, private elements and text in UTF-8.</summary>
internal static class SampleDataSets
{
    public const string SOPInstanceUID = "2.25.329800735698586629295641978511506172918";

    public static DataSet Rich()
    {
        var dataSet = new DataSet();
        dataSet.Set(Tags.ImageType, "ORIGINAL", "PRIMARY", "", "COLOR"); // CS, one value empty
        dataSet.Set(Tags.SOPClassUID, SopClasses.SecondaryCaptureImageStorage); // UI
        dataSet.Set(Tags.SOPInstanceUID, SOPInstanceUID);
        dataSet.SetDate(Tags.StudyDate, new DateOnly(2026, 11, 25)); // DA
        dataSet.SetTime(Tags.StudyTime, new TimeOnly(8, 30, 15, 250)); // TM
        dataSet.SetDateTime(Tags.AcquisitionDateTime, new DateTimeOffset(2026, 11, 25, 8, 30, 15, TimeSpan.FromHours(1))); // DT
        dataSet.Set(Tags.AccessionNumber, "A-17"); // SH
        dataSet.Set(Tags.RetrieveAETitle, "ARCHIVE"); // AE
        dataSet.Set(Tags.RetrieveURL, "http://127.0.0.1/studies/1"); // UR
        dataSet.Set(Tags.InstitutionAddress, "1 Quay\\2\r\nPort"); // ST, a backslash is text
        dataSet.Set(Tags.PatientName, "Størm^Åse^^Dr.=嵐^明日香"); // PN, two groups
        dataSet.Set(Tags.PatientID, "P 0001"); // LO
        dataSet.Set(Tags.PatientBirthDate, (string?)null);
        dataSet.Set(Tags.PatientAge, "042Y"); // AS
        dataSet.Set(Tags.PatientSize, "1.720"); // DS
        dataSet.Set(Tags.PatientComments, "Σ = 3\r\nline two"); // LT
        dataSet.SetInt(Tags.FrameIncrementPointer, 0x00181063); // AT
        dataSet.Set(Tags.SeriesNumber, "3"); // IS
        dataSet.Set(new Tag(0x0040, 0xA160), "text \\ with a backslash"); // Text Value, UT
        dataSet.Set(new Tag(0x0008, 0x0119), "many words"); // Long Code Value, UC
        dataSet.SetDouble(new Tag(0x0018, 0x9073), 1.5e-300); // Acquisition Duration, FD
        dataSet.SetInt(Tags.SamplesPerPixel, 1); // US
        dataSet.Set(Tags.PhotometricInterpretation, "MONOCHROME2");
        dataSet.SetInt(Tags.Rows, 2);
        dataSet.SetInt(Tags.Columns, 3);
        dataSet.SetInt(Tags.BitsAllocated, 16);
        dataSet.SetInt(Tags.BitsStored, 16);
        dataSet.SetInt(Tags.HighBit, 15);
        dataSet.SetInt(Tags.PixelRepresentation, 1);
        dataSet.Put(Element.FromBytes(Tags.SmallestImagePixelValue, Vr.SS, new byte[] { 0xFE, 0xFF })); // US or SS, here -2
        dataSet.SetInt(new Tag(0x0018, 0x6018), 11); // Region Location Min X0, UL
        dataSet.SetInt(new Tag(0x0018, 0x6020), -7); // Reference Pixel X0, SL
        dataSet.SetDouble(new Tag(0x0018, 0x9318), 2.25); // Reconstruction Target Center, FD
        dataSet.SetDouble(new Tag(0x0018, 0x9310), 3); // Table Feed per Rotation, FD
        dataSet.SetUInt64(Tags.EncapsulatedPixelDataValueTotalLength, ulong.MaxValue); // UV
        dataSet.SetInt(new Tag(0x0072, 0x0082), long.MinValue); // Selector SV Value, SV
        dataSet.SetDouble(new Tag(0x0072, 0x0076), 0.5f); // Selector FL Value, FL
        dataSet.SetBytes(new Tag(0x0072, 0x0065), new byte[] { 1, 2, 3, 4 }); // Selector OB Value, OB
        dataSet.SetBytes(new Tag(0x0072, 0x0067), new byte[] { 0, 0, 0x80, 0x3F }); // Selector OF Value, OF
        dataSet.SetBytes(new Tag(0x0072, 0x0069), new byte[] { 1, 2, 3, 4 }); // Selector OW Value, OW
        dataSet.SetBytes(new Tag(0x0072, 0x0073), new byte[] { 0, 0, 0, 0, 0, 0, 0xF0, 0x3F }); // Selector OD Value, OD
        dataSet.SetBytes(new Tag(0x0072, 0x0075), new byte[] { 1, 2, 3, 4 }); // Selector OL Value, OL
        dataSet.SetBytes(new Tag(0x0072, 0x0081), new byte[] { 1, 2, 3, 4, 5, 6, 7, 8 }); // Selector OV Value, OV
        dataSet.SetBytes(new Tag(0x0072, 0x006D), new byte[] { 9, 8 }); // Selector UN Value, UN
        dataSet.Set(new Tag(0x0009, 0x0010), Vr.LO, "CAMERABRIDGE TEST");
        dataSet.Set(new Tag(0x0009, 0x1001), Vr.LO, "private text");

        var code = new DataSet();
        code.Set(Tags.CodeValue, "117590005");
        code.Set(Tags.CodingSchemeDesignator, "SCT");
        code.Set(Tags.CodeMeaning, "Ear");
        var step = new DataSet();
        step.Set(Tags.ScheduledProcedureStepDescription, "Öhr");
        step.SetItems(Tags.ScheduledProtocolCodeSequence, code, new DataSet());
        dataSet.SetItems(Tags.RequestAttributesSequence, step);
        dataSet.SetEmpty(Tags.ReferencedStudySequence);
        dataSet.Put(Element.FromPixels(Tags.PixelData, Vr.OW, PixelSource.FromBytes(new byte[] { 1, 0, 2, 0, 3, 0, 4, 0, 5, 0, 0xFF, 0xFF })));
        return dataSet;
    }

    /// <summary>Two fragments in one frame, the second of them odd.</summary>
    public static DataSet Encapsulated(params IReadOnlyList<PixelSource> fragments)
    {
        DataSet dataSet = Rich();
        dataSet.Put(Element.FromEncapsulated(Tags.PixelData, new EncapsulatedPixels(default, fragments)));
        return dataSet;
    }
}
