namespace CameraBridge.Pipeline.Sittings.Cues;

/// <summary>What the look at captures writes to the log: event ids 1100 to 1149. Ids and counts only, never what a label says.</summary>
internal static partial class CueLog
{
    [LoggerMessage(1100, LogLevel.Information, "Capture {Capture}: {Count} code(s) in the picture fit none of the label patterns; if it is a label, see labels.patterns in the configuration")]
    public static partial void ForeignCodes(this ILogger logger, long capture, int count);

    [LoggerMessage(1101, LogLevel.Warning, "Capture {Capture} cannot be looked at ({Why}); it may have been a label, so what follows it is not matched by an earlier one")]
    public static partial void Unreadable(this ILogger logger, long capture, string why);

    [LoggerMessage(1102, LogLevel.Warning, "Capture {Capture}: the pattern {Pattern} took longer than its time limit and was given up; simplify it in the configuration")]
    public static partial void PatternTooSlow(this ILogger logger, long capture, string pattern);

    [LoggerMessage(1103, LogLevel.Warning, "Capture {Capture}: {Finding}")]
    public static partial void SidecarFinding(this ILogger logger, long capture, string finding);

    [LoggerMessage(1104, LogLevel.Warning, "Capture {Capture}: {Finding}")]
    public static partial void CardFinding(this ILogger logger, long capture, string finding);

    [LoggerMessage(1120, LogLevel.Warning, "Capture {Capture}: the scale card in it gives no scale: {Why}")]
    public static partial void ScaleRefused(this ILogger logger, long capture, string why);
}
