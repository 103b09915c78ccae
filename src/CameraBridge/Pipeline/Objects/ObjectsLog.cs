namespace CameraBridge.Pipeline.Objects;

/// <summary>What the making of objects writes to the log: event ids 1300 to 1399. Ids and attribute names only, never a patient.</summary>
internal static partial class ObjectsLog
{
    [LoggerMessage(1300, LogLevel.Information, "Sitting {Sitting}: {Objects} objects made, {Held} captures held")]
    public static partial void ObjectsMade(this ILogger logger, long sitting, int objects, int held);

    [LoggerMessage(1301, LogLevel.Warning, "Capture {Capture} is held: {Reason}")]
    public static partial void CaptureHeld(this ILogger logger, long capture, string reason);

    [LoggerMessage(1302, LogLevel.Information, "Capture {Capture}: {Note}")]
    public static partial void ObjectNote(this ILogger logger, long capture, string note);
}
