using System.Buffers.Binary;
using System.Text;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;

namespace CameraBridge.Dicom.Part10;

/// <summary>The file meta information (PS3.10 section 7.1, Table 7.1-1, edition 2025e).</summary>
/// <param name="MediaStorageSOPClassUID">(0002,0002), equal to SOP Class UID of the data set.</param>
/// <param name="MediaStorageSOPInstanceUID">(0002,0003), equal to SOP Instance UID of the data set.</param>
/// <param name="TransferSyntaxUID">(0002,0010), how the data set is encoded.</param>
public sealed record FileMeta(string MediaStorageSOPClassUID, string MediaStorageSOPInstanceUID, string TransferSyntaxUID)
{
    /// <summary>
    /// Implementation Class UID of this library, under 2.25 from a UUID drawn once (PS3.5 section B.2). A site or vendor with a root of its own may
    /// put its own there.
    /// </summary>
    public const string OwnImplementationClassUID = "2.25.84647694318732124409808948603642711897";

    /// <summary>Implementation Version Name of this library; 16 characters at most.</summary>
    public const string OwnImplementationVersionName = "CAMERABRIDGE_0_1";

    /// <summary>(0002,0012).</summary>
    public string ImplementationClassUID { get; init; } = OwnImplementationClassUID;

    /// <summary>(0002,0013), or empty.</summary>
    public string ImplementationVersionName { get; init; } = OwnImplementationVersionName;

    /// <summary>(0002,0016): the title of the application that made or received the file, or empty.</summary>
    public string SourceApplicationEntityTitle { get; init; } = "";

    /// <summary>What a file says, absent values as empty text.</summary>
    public static FileMeta FromDataSet(DataSet meta)
    {
        ArgumentNullException.ThrowIfNull(meta);
        return new FileMeta(Text(meta, Tags.MediaStorageSOPClassUID), Text(meta, Tags.MediaStorageSOPInstanceUID), Text(meta, Tags.TransferSyntaxUID))
        {
            ImplementationClassUID = Text(meta, Tags.ImplementationClassUID),
            ImplementationVersionName = Text(meta, Tags.ImplementationVersionName),
            SourceApplicationEntityTitle = Text(meta, Tags.SourceApplicationEntityTitle),
        };
    }

    /// <summary>The elements of group 0002, with group length and version.</summary>
    public DataSet ToDataSet()
    {
        var meta = new DataSet();
        meta.Put(Element.FromBytes(Tags.FileMetaInformationVersion, Vr.OB, new byte[] { 0, 1 }));
        Put(meta, Tags.MediaStorageSOPClassUID, Vr.UI, MediaStorageSOPClassUID);
        Put(meta, Tags.MediaStorageSOPInstanceUID, Vr.UI, MediaStorageSOPInstanceUID);
        Put(meta, Tags.TransferSyntaxUID, Vr.UI, TransferSyntaxUID);
        Put(meta, Tags.ImplementationClassUID, Vr.UI, ImplementationClassUID);
        Put(meta, Tags.ImplementationVersionName, Vr.SH, ImplementationVersionName);
        Put(meta, Tags.SourceApplicationEntityTitle, Vr.AE, SourceApplicationEntityTitle);

        byte[] groupLength = new byte[sizeof(uint)];
        BinaryPrimitives.WriteUInt32LittleEndian(groupLength, (uint)ElementWriter.Encode(meta, TransferSyntax.ExplicitLittleEndian).Length);
        meta.Put(Element.FromBytes(Tags.FileMetaInformationGroupLength, Vr.UL, groupLength));
        return meta;
    }

    private static string Text(DataSet meta, Tag tag) => meta[tag] is { } element ? Encoding.ASCII.GetString(element.Value.Span).Trim(' ', '\0') : "";

    private static void Put(DataSet meta, Tag tag, Vr vr, string value)
    {
        if (value.Length > 0)
        {
            meta.Put(Element.FromBytes(tag, vr, Encoding.ASCII.GetBytes(value)));
        }
    }
}
