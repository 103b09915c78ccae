using System.Globalization;
using CameraBridge.Dicom.Bitstreams;

namespace CameraBridge.Pipeline.Objects.Stills;

/// <summary>The words in which a still is held: what it is, and what to do. The original stays in the spool and on the source.</summary>
internal static class StillReasons
{
    private const string CopyAgain = "Copy the picture from the camera again, or set it aside.";

    public static Reason Of(JpegRefusal refusal) => refusal.Obstacle switch
    {
        JpegObstacle.NotJpeg => new("picture-unknown", $"{refusal.Text} It is no picture of a kind that is known here; look at the file on the source."),
        JpegObstacle.Torn => new("picture-torn", $"{refusal.Text} Copy the picture from the camera again; half a picture is never filed."),
        JpegObstacle.Damaged => new("picture-damaged", $"{refusal.Text} {CopyAgain}"),
        JpegObstacle.Malformed => new("picture-malformed", $"{refusal.Text} {CopyAgain}"),
        JpegObstacle.Progressive => new("picture-progressive", $"{refusal.Text} Set the camera to baseline JPEG."),
        JpegObstacle.Extended => new("picture-extended", $"{refusal.Text} Objects of photographs hold 8 bits a sample; set the camera to baseline JPEG."),
        JpegObstacle.OtherProcess => new("picture-other-process", $"{refusal.Text} It cannot be filed; set the camera to baseline JPEG."),
        JpegObstacle.LinesUnknown => new("picture-lines-unknown", $"{refusal.Text} It cannot be filed; save it with another program, or set it aside."),
        JpegObstacle.Cmyk => new("picture-cmyk", $"{refusal.Text} What its inks look like depends on a printer, so its colours would be a guess; save it as RGB or YCbCr where it was made."),
        JpegObstacle.Components => new("picture-components", $"{refusal.Text} It cannot be filed; save it as greyscale or colour where it was made."),
        JpegObstacle.TooLarge => new("picture-too-large", $"{refusal.Text} Set the camera to fewer pixels, or to upright baseline JPEG, which goes in as it is."),
        _ => throw new ArgumentOutOfRangeException(nameof(refusal)),
    };

    public static Reason Unknown { get; } = new(
        "picture-unknown", "The file's first bytes are those of no picture that is known here. Look at the file on the source, then set it aside.");

    public static Reason Torn(string what) => new("picture-torn", $"{what} Copy the picture from the camera again; half a picture is never filed.");

    public static Reason Undecodable(StillFormat format) => new(
        "picture-damaged", $"The picture ({NameOf(format)}) cannot be decoded, or not to its last line. {CopyAgain}");

    /// <summary>A format that the program's decoder does not have; making it up by another program is the site's choice.</summary>
    public static Reason CannotBeRead(StillFormat format) => new(
        "picture-format", $"The picture is a {NameOf(format)} file, which this program cannot decode. Set the camera to JPEG, or save the picture as JPEG or PNG and take that in.");

    public static Reason Xyb { get; } = new(
        "picture-colour", "The picture's samples are XYB, a colour model that only its profile explains; most viewers of an archive would show false colours. Save it as ordinary (sRGB) JPEG where it was made.");

    public static Reason LossyWebP { get; } = new(
        "picture-format", "The picture is a WebP file compressed with loss; DICOM has no name for that compression, and the object would have to say it. Set the camera to JPEG.");

    public static Reason Animated { get; } = new(
        "picture-animated", "The file holds several pictures that follow each other in time; a still has one. Save the picture that is meant, or set the file aside.");

    public static Reason SixteenBits { get; } = new(
        "picture-16-bit", "The picture has 16 bits a sample; objects of photographs hold 8, and rounding would change it. Save it with 8 bits where it was made.");

    public static Reason Transparent { get; } = new(
        "picture-transparent", "Parts of the picture are transparent; an object has no transparency, and what would stand there is nobody's to choose. Save it without transparency where it was made.");

    public static Reason TooLarge(int width, int height, long limit) => new(
        "picture-too-large",
        string.Create(
            CultureInfo.InvariantCulture,
            $"The picture ({width} by {height}) would take more than the {limit >> 20} MiB of memory that one picture may take while it is decoded and turned. Set the camera to fewer pixels, or to upright baseline JPEG, which goes in as it is."));

    public static string NameOf(StillFormat format) => format switch
    {
        StillFormat.Heif => "HEIF or AVIF",
        StillFormat.Tiff => "TIFF",
        StillFormat.OtherJpeg => "JPEG 2000, JPEG XL or JPEG XR",
        _ => format.ToString().ToUpperInvariant(),
    };
}
