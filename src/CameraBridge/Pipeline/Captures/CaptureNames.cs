using System.Text;
using CameraBridge.Pipeline.Sittings.Cues;

namespace CameraBridge.Pipeline.Captures;

/// <summary>What the name of a file or folder says before anything is opened.</summary>
internal enum NameVerdict
{
    /// <summary>May be a capture; the content decides unless the name is a picture's or a clip's.</summary>
    Candidate,

    /// <summary>The name of a picture, a clip or a sidecar: taken whatever its content, so that a damaged one is seen and not passed over.</summary>
    Capture,

    /// <summary>The name of a copy that is not finished.</summary>
    Unfinished,

    /// <summary>Begins with a dot.</summary>
    Hidden,

    /// <summary>Kept by an operating system on every volume.</summary>
    System,

    /// <summary>Written by this program to mark what has been released.</summary>
    Marker,
}

/// <summary>Names that mean something to the scanner.</summary>
internal static class CaptureNames
{
    /// <summary>Files that this program writes beside pictures begin so; the folder's sidecar alone is somebody else's.</summary>
    public const string MarkerPrefix = "camerabridge";

    private static readonly HashSet<string> SystemFolders = new(StringComparer.OrdinalIgnoreCase)
    {
        "System Volume Information", "$RECYCLE.BIN", "RECYCLER", "lost+found", "FOUND.000", "#recycle", "@eaDir", "Network Trash Folder",
    };

    private static readonly HashSet<string> SystemFiles = new(StringComparer.OrdinalIgnoreCase) { "Thumbs.db", "ehthumbs.db", "desktop.ini", "autorun.inf" };

    private static readonly HashSet<string> CaptureExtensions = new(StringComparer.OrdinalIgnoreCase)
    {
        ".jpg", ".jpeg", ".jpe", ".jfif", ".png", ".tif", ".tiff", ".bmp", ".heic", ".heif", ".webp",
        ".mp4", ".m4v", ".mov", ".avi", ".mpg", ".mpeg", ".mts", ".m2ts", ".m2v", ".vob", ".3gp", ".mkv", ".webm", ".wmv", ".asf",
    };

    private static readonly HashSet<string> UnfinishedExtensions = new(StringComparer.OrdinalIgnoreCase)
    {
        ".tmp", ".temp", ".part", ".partial", ".filepart", ".crdownload", ".download", ".!ut",
    };

    public static NameVerdict OfFolder(ReadOnlySpan<byte> name) =>
        name[0] == (byte)'.' ? NameVerdict.Hidden
        : SystemFolders.Contains(Encoding.UTF8.GetString(name)) ? NameVerdict.System
        : NameVerdict.Candidate;

    public static NameVerdict OfFile(ReadOnlySpan<byte> name)
    {
        if (name[0] == (byte)'.')
        {
            return NameVerdict.Hidden;
        }

        string text = Encoding.UTF8.GetString(name);
        string extension = Path.GetExtension(text);
        return Sidecar.IsSidecar(text) || CaptureExtensions.Contains(extension) ? NameVerdict.Capture
            : text.StartsWith(MarkerPrefix, StringComparison.OrdinalIgnoreCase) ? NameVerdict.Marker
            : SystemFiles.Contains(text) ? NameVerdict.System
            : UnfinishedExtensions.Contains(extension) ? NameVerdict.Unfinished
            : NameVerdict.Candidate;
    }
}
