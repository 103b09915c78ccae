namespace CameraBridge.Dicom.Part10;

/// <summary>
/// The names of files on media (PS3.10 sections 8.1, 8.2 and 8.5, edition 2025e): a File ID has one to eight components of one to eight characters each,
/// of A to Z, 0 to 9 and underscore. In attributes the components are values with a backslash between.
/// </summary>
public static class MediaFileID
{
    /// <summary>The reserved File ID of a file-set's directory (PS3.10 section 8.6).</summary>
    public const string Directory = "DICOMDIR";

    /// <summary>Most components of a File ID.</summary>
    public const int MaxComponents = 8;

    /// <summary>Most characters of a component.</summary>
    public const int MaxComponentLength = 8;

    /// <summary>Most characters of a File-set ID.</summary>
    public const int MaxFileSetIDLength = 16;

    private const char Delimiter = '\\';

    /// <summary>Whether this is a File ID, its components with a backslash between.</summary>
    public static bool IsFileID(string? fileID) =>
        fileID is not null && fileID.Split(Delimiter) is { Length: <= MaxComponents } components && components.All(component => HasForm(component, MaxComponentLength));

    /// <summary>Whether this is a File-set ID that says something: 1 to 16 of the same characters.</summary>
    public static bool IsFileSetID(string? fileSetID) => fileSetID is not null && HasForm(fileSetID, MaxFileSetIDLength);

    /// <summary>Where the file lies, with the file-set's root at <paramref name="root"/>.</summary>
    /// <exception cref="ArgumentException">It is no File ID; so nothing outside the root is ever named.</exception>
    public static string ToPath(string root, string fileID)
    {
        ArgumentException.ThrowIfNullOrEmpty(root);
        return IsFileID(fileID)
            ? Path.Combine([root, .. fileID.Split(Delimiter)])
            : throw new ArgumentException("A File ID has one to eight components of one to eight characters A-Z, 0-9 and _ (PS3.10 8.2).", nameof(fileID));
    }

    private static bool HasForm(string text, int longest) =>
        text.Length >= 1 && text.Length <= longest && text.All(character => char.IsAsciiLetterUpper(character) || char.IsAsciiDigit(character) || character == '_');
}
