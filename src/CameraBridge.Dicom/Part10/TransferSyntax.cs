using CameraBridge.Dicom.Dictionary;

namespace CameraBridge.Dicom.Part10;

/// <summary>How a data set is encoded (PS3.5 section 10 and Annex A, edition 2025e).</summary>
/// <param name="Uid">The transfer syntax UID.</param>
/// <param name="IsExplicit">True when each element carries its value representation.</param>
/// <param name="IsBigEndian">True for the retired big endian syntax.</param>
/// <param name="IsDeflated">True when the bytes of the data set are deflated as a whole (RFC 1951).</param>
/// <param name="IsEncapsulated">True when Pixel Data of the top level is in fragments (PS3.5 section A.4).</param>
public sealed record TransferSyntax(string Uid, bool IsExplicit, bool IsBigEndian, bool IsDeflated, bool IsEncapsulated)
{
    private const string CompressedImages = "1.2.840.10008.1.2.4.";

    /// <summary>The syntax that everybody understands, and the only one without value representations.</summary>
    public static TransferSyntax ImplicitLittleEndian { get; } = new(TransferSyntaxes.ImplicitVRLittleEndian, false, false, false, false);

    /// <summary>Explicit VR little endian; also that of the file meta information.</summary>
    public static TransferSyntax ExplicitLittleEndian { get; } = new(TransferSyntaxes.ExplicitVRLittleEndian, true, false, false, false);

    /// <summary>The retired explicit VR big endian: read, never written.</summary>
    public static TransferSyntax ExplicitBigEndian { get; } = new(TransferSyntaxes.ExplicitVRBigEndian, true, true, false, false);

    /// <summary>Explicit VR little endian, deflated.</summary>
    public static TransferSyntax DeflatedExplicitLittleEndian { get; } = new(TransferSyntaxes.DeflatedExplicitVRLittleEndian, true, false, true, false);

    /// <summary>JPEG baseline, process 1: what cameras write.</summary>
    public static TransferSyntax JpegBaseline { get; } = new(TransferSyntaxes.JPEGBaseline8Bit, true, false, false, true);

    /// <summary>The name in the registry, or the UID itself.</summary>
    public string Name => UidRegistry.NameOf(Uid);

    /// <summary>The syntax with this UID, all of the registry that encode data sets; padding of the UID is forgiven.</summary>
    /// <returns>Null for a UID that the registry does not have as a transfer syntax, for XML and MIME, and for the real-time video ones.</returns>
    public static TransferSyntax? Find(string? uid) => uid?.TrimEnd('\0', ' ') switch
    {
        null => null,
        TransferSyntaxes.ImplicitVRLittleEndian => ImplicitLittleEndian,
        TransferSyntaxes.ExplicitVRLittleEndian => ExplicitLittleEndian,
        TransferSyntaxes.ExplicitVRBigEndian => ExplicitBigEndian,
        TransferSyntaxes.DeflatedExplicitVRLittleEndian => DeflatedExplicitLittleEndian,
        TransferSyntaxes.JPEGBaseline8Bit => JpegBaseline,
        // Pixels behind a URL (PS3.5 sections A.6, A.7 and their HTJ2K siblings): nothing is encapsulated.
        TransferSyntaxes.JPIPReferenced or TransferSyntaxes.JPIPHTJ2KReferenced => new TransferSyntax(uid.TrimEnd('\0', ' '), true, false, false, false),
        TransferSyntaxes.JPIPReferencedDeflate or TransferSyntaxes.JPIPHTJ2KReferencedDeflate =>
            new TransferSyntax(uid.TrimEnd('\0', ' '), true, false, true, false),
        { } other when IsEncapsulating(other) => new TransferSyntax(other, true, false, false, true),
        _ => null,
    };

    private static bool IsEncapsulating(string uid) =>
        uid is TransferSyntaxes.RLELossless or TransferSyntaxes.EncapsulatedUncompressedExplicitVRLittleEndian or "1.2.840.10008.1.2.8.1"
        || (uid.StartsWith(CompressedImages, StringComparison.Ordinal) && UidRegistry.Find(uid) is { Type: "Transfer Syntax" });
}
