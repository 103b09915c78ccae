namespace CameraBridge.Dicom.Dictionary;

/// <summary>The UIDs of the transfer syntaxes that the code names (PS3.6 Annex A, edition 2025e). How each encodes, says Part10.TransferSyntax.</summary>
public static class TransferSyntaxes
{
    /// <summary>The identifier with this keyword.</summary>
    public const string
        DeflatedExplicitVRLittleEndian = "1.2.840.10008.1.2.1.99",
        EncapsulatedUncompressedExplicitVRLittleEndian = "1.2.840.10008.1.2.1.98",
        ExplicitVRBigEndian = "1.2.840.10008.1.2.2",
        ExplicitVRLittleEndian = "1.2.840.10008.1.2.1",
        HEVCM10P51 = "1.2.840.10008.1.2.4.108",
        HEVCMP51 = "1.2.840.10008.1.2.4.107",
        ImplicitVRLittleEndian = "1.2.840.10008.1.2",
        JPEG2000 = "1.2.840.10008.1.2.4.91",
        JPEG2000Lossless = "1.2.840.10008.1.2.4.90",
        JPEGBaseline8Bit = "1.2.840.10008.1.2.4.50",
        JPEGExtended12Bit = "1.2.840.10008.1.2.4.51",
        JPEGLSLossless = "1.2.840.10008.1.2.4.80",
        JPEGLSNearLossless = "1.2.840.10008.1.2.4.81",
        JPEGLossless = "1.2.840.10008.1.2.4.57",
        JPEGLosslessSV1 = "1.2.840.10008.1.2.4.70",
        JPIPHTJ2KReferenced = "1.2.840.10008.1.2.4.204",
        JPIPHTJ2KReferencedDeflate = "1.2.840.10008.1.2.4.205",
        JPIPReferenced = "1.2.840.10008.1.2.4.94",
        JPIPReferencedDeflate = "1.2.840.10008.1.2.4.95",
        MPEG2MPHL = "1.2.840.10008.1.2.4.101",
        MPEG2MPHLF = "1.2.840.10008.1.2.4.101.1",
        MPEG2MPML = "1.2.840.10008.1.2.4.100",
        MPEG2MPMLF = "1.2.840.10008.1.2.4.100.1",
        MPEG4HP41 = "1.2.840.10008.1.2.4.102",
        MPEG4HP41BD = "1.2.840.10008.1.2.4.103",
        MPEG4HP41BDF = "1.2.840.10008.1.2.4.103.1",
        MPEG4HP41F = "1.2.840.10008.1.2.4.102.1",
        MPEG4HP422D = "1.2.840.10008.1.2.4.104",
        MPEG4HP422DF = "1.2.840.10008.1.2.4.104.1",
        MPEG4HP423D = "1.2.840.10008.1.2.4.105",
        MPEG4HP423DF = "1.2.840.10008.1.2.4.105.1",
        MPEG4HP42STEREO = "1.2.840.10008.1.2.4.106",
        MPEG4HP42STEREOF = "1.2.840.10008.1.2.4.106.1",
        RLELossless = "1.2.840.10008.1.2.5";
}
