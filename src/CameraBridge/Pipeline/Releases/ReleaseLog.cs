namespace CameraBridge.Pipeline.Releases;

/// <summary>What releases write to the log: event ids 1900 to 1999. Ids and sources only; names of files may be a patient's.</summary>
internal static partial class ReleaseLog
{
    [LoggerMessage(1900, LogLevel.Information, "Source {Source}: {Count} file(s) are removed, since every destination keeps them")]
    public static partial void Removed(this ILogger logger, string source, int count);

    [LoggerMessage(1901, LogLevel.Warning, "Source {Source}: {Count} file(s) are not what was taken from their place, and are left")]
    public static partial void Different(this ILogger logger, string source, int count);

    [LoggerMessage(1902, LogLevel.Warning, "Source {Source} cannot be written: {Words}. Nothing is lost; its files stay, and it is tried again at {Until:u}")]
    public static partial void CannotWrite(this ILogger logger, string source, string words, DateTimeOffset until);

    [LoggerMessage(1903, LogLevel.Information, "Source {Source}: the lists of {Count} folder(s) name what is kept")]
    public static partial void Marked(this ILogger logger, string source, int count);

    [LoggerMessage(1904, LogLevel.Warning, "Source {Source}: the note of its state cannot be written: {Words}. 'camerabridge status' and the wall page tell it all the same")]
    public static partial void NoStateNote(this ILogger logger, string source, string words);
}
