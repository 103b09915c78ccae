using CameraBridge.Dicom.Bitstreams;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Pipeline.Objects.Optics;

namespace CameraBridge.Pipeline.Objects;

/// <summary>A transfer syntax that objects may have.</summary>
/// <param name="Kind">Of stills or of clips.</param>
/// <param name="UID">The transfer syntax.</param>
/// <param name="For">What it is for.</param>
internal sealed record ObjectSyntax(CaptureKind Kind, string UID, string For);

/// <summary>All transfer syntaxes that objects may have. What is not here is never proposed to an archive.</summary>
internal static class ObjectSyntaxes
{
    private static readonly ClipSyntax[] OfClips = [.. ClipSyntaxes.All.Where(Takes)];

    public static IReadOnlyList<ObjectSyntax> All { get; } =
    [
        new(CaptureKind.Still, TransferSyntaxes.JPEGBaseline8Bit, "JPEG stills: the camera's scan bit for bit, or rearranged without loss; re-encoded only where the object says so"),
        new(CaptureKind.Still, TransferSyntaxes.ExplicitVRLittleEndian, "stills of lossless formats (PNG, BMP, lossless WebP), and JPEG stills that must be decoded and are not compressed a second time"),
        .. OfClips.Select(syntax => new ObjectSyntax(CaptureKind.Clip, syntax.TransferSyntaxUID, $"{syntax.Name} ({syntax.Section})")),
        .. OfClips.Where(syntax => syntax.FragmentableUID is not null).Select(syntax => new ObjectSyntax(
            CaptureKind.Clip, syntax.FragmentableUID!, "the same beyond 4 GiB, in fragments, where every destination is configured to take it")),
    ];

    /// <summary>Whether objects may have it: VL Image allows 8 bits alone (PS3.3 section C.8.12.1.1.2), though PS3.5 has a transfer syntax for clips of 10.</summary>
    public static bool Takes(ClipSyntax syntax) => syntax.BitDepth == 8;
}
