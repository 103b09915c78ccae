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
    public static IReadOnlyList<ObjectSyntax> All { get; } =
    [
        new(CaptureKind.Still, TransferSyntaxes.JPEGBaseline8Bit, "JPEG stills: the camera's scan bit for bit, or rearranged without loss; re-encoded only where the object says so"),
        new(CaptureKind.Still, TransferSyntaxes.ExplicitVRLittleEndian, "stills of lossless formats (PNG, TIFF, BMP)"),
        .. ClipSyntaxes.All.Select(syntax => new ObjectSyntax(CaptureKind.Clip, syntax.TransferSyntaxUID, $"{syntax.Name} ({syntax.Section})")),
        .. ClipSyntaxes.All.Where(syntax => syntax.FragmentableUID is not null).Select(syntax => new ObjectSyntax(
            CaptureKind.Clip, syntax.FragmentableUID!, "the same beyond 4 GiB, in fragments, where every destination is configured to take it")),
    ];
}
