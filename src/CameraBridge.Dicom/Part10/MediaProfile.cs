using CameraBridge.Dicom.Dictionary;

namespace CameraBridge.Dicom.Part10;

/// <summary>
/// The application profile for USB media that takes JPEG (PS3.11 Annex J, table J.3-1; the text of edition 2017c was seen). It takes every class that is
/// stored over the network too (PS3.4 section I.4), but only four transfer syntaxes, and none of clips: those have profiles for Blu-ray discs alone.
/// </summary>
public static class MediaProfile
{
    /// <summary>Its identifier.</summary>
    public const string GeneralUsbJpeg = "STD-GEN-USB-JPEG";

    /// <summary>The transfer syntaxes that it takes.</summary>
    public static IReadOnlyList<string> TransferSyntaxUIDs { get; } =
    [
        TransferSyntaxes.ExplicitVRLittleEndian,
        TransferSyntaxes.JPEGLosslessSV1,
        TransferSyntaxes.JPEGBaseline8Bit,
        TransferSyntaxes.JPEGExtended12Bit,
    ];

    /// <summary>Whether an object in this transfer syntax may be in a file-set of the profile.</summary>
    public static bool Takes(string transferSyntaxUID) => TransferSyntaxUIDs.Contains(transferSyntaxUID);
}
