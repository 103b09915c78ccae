using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Part10;
using CameraBridge.Dicom.Web;
using CameraBridge.Tests.Dicom.Iods;

namespace CameraBridge.Tests.Dicom.Web;

/// <summary>Invented objects to store, and answers as the Store Instances Response Module has them (PS3.18 Annex I, edition 2024c).</summary>
internal static class WebObjects
{
    public const string Study = "2.25.2";
    public const string Series = "2.25.3";

    public static DataSet DataSet(string SOPInstanceUID, PixelSource? picture = null)
    {
        DataSet dataSet = TestObject.Endoscopic();
        dataSet.Set(Tags.SOPInstanceUID, SOPInstanceUID);
        dataSet.Put(Element.FromEncapsulated(Tags.PixelData, new EncapsulatedPixels(default, [picture ?? PixelSource.FromBytes(new byte[] { 0xFF, 0xD8, 0xFF, 0xD9 })])));
        return dataSet;
    }

    public static StowInstance Instance(string SOPInstanceUID, PixelSource? picture = null) => StowInstance.FromDataSet(
        SopClasses.VLEndoscopicImageStorage,
        SOPInstanceUID,
        TransferSyntax.JpegBaseline.Uid,
        ElementWriter.Encode(DataSet(SOPInstanceUID, picture), TransferSyntax.JpegBaseline));

    public static DataSet Reference(string SOPInstanceUID, ushort? warning = null, ushort? failure = null, string SOPClassUID = SopClasses.VLEndoscopicImageStorage)
    {
        var item = new DataSet();
        item.Set(Tags.ReferencedSOPClassUID, SOPClassUID);
        item.Set(Tags.ReferencedSOPInstanceUID, SOPInstanceUID);
        if (warning is { } warningReason)
        {
            item.SetInt(Tags.WarningReason, warningReason);
        }

        if (failure is { } failureReason)
        {
            item.SetInt(Tags.FailureReason, failureReason);
        }

        return item;
    }

    public static DataSet Answer(IEnumerable<DataSet>? stored = null, IEnumerable<DataSet>? failed = null, IEnumerable<DataSet>? others = null)
    {
        var answer = new DataSet();
        answer.Set(Tags.RetrieveURL, "http://127.0.0.1/dicom-web/studies/2.25.2");
        if (failed is not null)
        {
            answer.SetItems(Tags.FailedSOPSequence, failed);
        }

        if (stored is not null)
        {
            answer.SetItems(Tags.ReferencedSOPSequence, stored);
        }

        if (others is not null)
        {
            answer.SetItems(Tags.OtherFailuresSequence, others);
        }

        return answer;
    }

    public static byte[] Stored(params string[] SOPInstanceUIDs) => DicomJson.Write(Answer([.. SOPInstanceUIDs.Select(uid => Reference(uid))]));
}
