namespace CameraBridge.Pipeline.Captures;

/// <summary>Why something below a source is not a capture, or not yet.</summary>
internal enum SkipReason
{
    None,
    Hidden,
    System,
    Marker,
    SymbolicLink,
    Special,
    Foreign,
    Empty,
    Unfinished,
    Changing,
    Unreadable,
    UnreadableFolder,
    PathTooLong,
}

/// <summary>Files of a source that were skipped for one reason: how many, and the first few of them, for the operator's view only.</summary>
internal sealed record SkippedFiles(SkipReason Reason, int Count, IReadOnlyList<string> Places)
{
    /// <summary>The reason and, where a person can do something, the next step.</summary>
    public string Words => Reason.Words();

    /// <summary>One row for each reason.</summary>
    public static IReadOnlyList<SkippedFiles> Merge(IEnumerable<SkippedFiles> rows) =>
        [.. rows.GroupBy(row => row.Reason).Select(group => new SkippedFiles(group.Key, group.Sum(row => row.Count), [.. group.SelectMany(row => row.Places)]))];
}

internal static class SkipReasons
{
    /// <summary>Whether a person should look: a picture may be behind it.</summary>
    public static bool NeedsAttention(this SkipReason reason) =>
        reason is SkipReason.Empty or SkipReason.Unfinished or SkipReason.Changing or SkipReason.Unreadable or SkipReason.UnreadableFolder or SkipReason.PathTooLong;

    public static string Words(this SkipReason reason) => reason switch
    {
        SkipReason.Hidden => "hidden (the name begins with a dot)",
        SkipReason.System => "kept by an operating system",
        SkipReason.Marker => "a marker of this program",
        SkipReason.SymbolicLink => "a symbolic link, which is never followed; put the file itself there",
        SkipReason.Special => "a device, a pipe or a socket",
        SkipReason.Foreign => "no picture, clip or sidecar",
        SkipReason.Empty => "empty; copy it again if it should hold a picture",
        SkipReason.Unfinished => "the name of an unfinished copy; finish or repeat the copying",
        SkipReason.Changing => "still being written; it is taken when it rests",
        SkipReason.Unreadable => "cannot be read; check its permissions and the medium, it is tried again",
        SkipReason.UnreadableFolder => "a folder that cannot be listed; check its permissions and the medium, it is tried again",
        SkipReason.PathTooLong => "a path that is too long for the system; move it nearer to the top",
        _ => "not skipped",
    };
}
