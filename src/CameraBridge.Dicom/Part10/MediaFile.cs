namespace CameraBridge.Dicom.Part10;

/// <summary>A file of a file-set, as its directory tells it (PS3.3 section F.3.2.2, edition 2025e).</summary>
/// <param name="ReferencedFileID">(0004,1500): its components with a backslash between; see <see cref="MediaFileID"/>.</param>
/// <param name="SOPClassUID">(0004,1510).</param>
/// <param name="SOPInstanceUID">(0004,1511).</param>
/// <param name="TransferSyntaxUID">(0004,1512).</param>
public sealed record MediaFile(string ReferencedFileID, string SOPClassUID, string SOPInstanceUID, string TransferSyntaxUID);

/// <summary>An object that cannot stand in this file-set, or a directory that is not what it should be. The message names attributes, and no value of a patient.</summary>
public sealed class MediaDirectoryException(string message) : Exception(message);
