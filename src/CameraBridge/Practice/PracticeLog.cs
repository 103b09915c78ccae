namespace CameraBridge.Practice;

/// <summary>What the practice hospital writes to the log: event ids 1700 to 1799. Its patients are invented, yet none is named.</summary>
internal static partial class PracticeLog
{
    [LoggerMessage(1700, LogLevel.Information, "The practice hospital {AETitle} listens on {EndPoint}: {Orders} orders, archive {Folder}")]
    public static partial void Listening(this ILogger logger, string aeTitle, System.Net.IPEndPoint endPoint, int orders, string folder);

    [LoggerMessage(1701, LogLevel.Information, "{Peer} asked the worklist: {Answers} answer(s)")]
    public static partial void Asked(this ILogger logger, string peer, int answers);

    [LoggerMessage(1702, LogLevel.Information, "{Peer} stored {SOPInstanceUID}")]
    public static partial void Stored(this ILogger logger, string peer, string sopInstanceUID);

    [LoggerMessage(1703, LogLevel.Warning, "An object of {Peer} was refused: {Why}")]
    public static partial void Refused(this ILogger logger, string peer, string why);

    [LoggerMessage(1704, LogLevel.Error, "The practice archive cannot write to {Folder}: {Why}")]
    public static partial void CannotStore(this ILogger logger, string folder, string why);

    [LoggerMessage(1705, LogLevel.Warning, "Trouble with {Peer}: {Why}")]
    public static partial void Trouble(this ILogger logger, string peer, string why);

    [LoggerMessage(1706, LogLevel.Information, "{Peer} asked for commitment: {Kept} object(s) are kept, {Missing} are not here")]
    public static partial void Committed(this ILogger logger, string peer, int kept, int missing);
}
