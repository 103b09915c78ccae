using CameraBridge.Pipeline.Captures;
using CameraBridge.Pipeline.Objects.Optics;

namespace CameraBridge.Pipeline.Objects;

/// <summary>Whether a capture is a still or a clip: by its name, and where that says nothing, by its first bytes.</summary>
internal static class CaptureKinds
{
    private static readonly HashSet<string> Clips = new(StringComparer.OrdinalIgnoreCase)
    {
        ".mp4", ".m4v", ".mov", ".avi", ".mpg", ".mpeg", ".mts", ".m2ts", ".m2v", ".vob", ".ts", ".3gp", ".mkv", ".webm", ".wmv", ".hevc", ".h264",
    };

    private static readonly HashSet<string> Stills = new(StringComparer.OrdinalIgnoreCase)
    {
        ".jpg", ".jpeg", ".jpe", ".jfif", ".png", ".tif", ".tiff", ".bmp", ".heic", ".heif", ".webp",
    };

    /// <param name="capture">The capture.</param>
    /// <param name="path">Its file in the spool; it is only opened where the name says nothing.</param>
    /// <exception cref="IOException">The file cannot be read.</exception>
    public static CaptureKind Of(Capture capture, string path)
    {
        string extension = Path.GetExtension(capture.Place);
        return Clips.Contains(extension) || (!Stills.Contains(extension) && IsClip(path)) ? CaptureKind.Clip : CaptureKind.Still;
    }

    /// <summary>What the name alone says; a still where it says nothing.</summary>
    public static CaptureKind ByName(Capture capture) => Clips.Contains(Path.GetExtension(capture.Place)) ? CaptureKind.Clip : CaptureKind.Still;

    private static bool IsClip(string path)
    {
        using Microsoft.Win32.SafeHandles.SafeFileHandle file = File.OpenHandle(path);
        Span<byte> start = stackalloc byte[Dicom.Bitstreams.ClipFormat.HeadLength];
        start = start[..RandomAccess.Read(file, start, 0)];
        return ContentSignature.IsClip(start);
    }
}
