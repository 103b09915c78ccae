using System.Globalization;
using CameraBridge.Dicom.Bitstreams;

namespace CameraBridge.Pipeline.Objects;

/// <summary>The words in which a picture is held: what it is, and what to do. The original stays in the spool and on the source.</summary>
internal static class PictureReasons
{
    public static Reason Of(JpegRefusal refusal) => refusal.Obstacle switch
    {
        JpegObstacle.NotJpeg => new Reason("picture-not-jpeg", $"{refusal.Text} Only JPEG stills are filed; look at the file on the source."),
        JpegObstacle.Torn => new Reason("picture-torn", $"{refusal.Text} Copy the picture from the camera again; half a picture is never filed."),
        JpegObstacle.Damaged => new Reason("picture-damaged", $"{refusal.Text} Copy the picture from the camera again, or set it aside."),
        JpegObstacle.Malformed => new Reason("picture-malformed", $"{refusal.Text} Copy the picture from the camera again, or set it aside."),
        JpegObstacle.Progressive => new Reason("picture-progressive", $"{refusal.Text} It cannot be filed without change yet; set the camera to baseline JPEG."),
        JpegObstacle.Extended => new Reason("picture-extended", $"{refusal.Text} It cannot be filed yet; set the camera to baseline JPEG."),
        JpegObstacle.OtherProcess => new Reason("picture-other-process", $"{refusal.Text} It cannot be filed; set the camera to baseline JPEG."),
        JpegObstacle.LinesUnknown => new Reason("picture-lines-unknown", $"{refusal.Text} It cannot be filed without change yet."),
        JpegObstacle.Cmyk => new Reason("picture-cmyk", $"{refusal.Text} Save it as RGB or YCbCr where it was made."),
        JpegObstacle.Components => new Reason("picture-components", $"{refusal.Text} It cannot be filed without change yet."),
        JpegObstacle.TooLarge => new Reason("picture-too-large", $"{refusal.Text} Set the camera to fewer pixels, or to upright baseline JPEG, which goes in as it is."),
        _ => throw new ArgumentOutOfRangeException(nameof(refusal)),
    };

    public static Reason Rotated(int orientation) => new(
        "picture-rotated",
        string.Create(
            CultureInfo.InvariantCulture,
            $"The picture is stored turned or mirrored (Exif orientation {orientation}); DICOM viewers do not turn it back, and it cannot be filed without change yet. Switch the camera's automatic rotation off."));

    /// <summary>
    /// PS3.5 Table 8.2.1-1 has allowed RGB in this transfer syntax only since recent editions; validators and viewers of the field take a JPEG picture
    /// for YCbCr and would show false colours.
    /// </summary>
    public static Reason StoredAsRgb { get; } = new(
        "picture-rgb", "The picture's components are RGB, which many archives and viewers would show in false colours. It cannot be filed without change yet; set the camera or program to ordinary (YCbCr) JPEG.");

    public static Reason UnknownOptic(string optic) => new(
        "optic-unknown", $"The optic \"{optic}\" is not in the optics table. Known are: {string.Join(", ", Optics.Names)}. Once it is known, assign the sitting to the same order again.");

    public static Reason SpoolMissing { get; } = new(
        "spool-missing", "The file is no longer in the spool. Check who cleared it, then take the picture from its source again.");

    public static Reason SpoolChanged { get; } = new(
        "spool-changed", "The file in the spool is not as long as it was when it was taken. Check the spool's disk, then take the picture from its source again.");
}
