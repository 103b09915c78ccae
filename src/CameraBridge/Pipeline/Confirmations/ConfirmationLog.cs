namespace CameraBridge.Pipeline.Confirmations;

/// <summary>What confirmations write to the log: event ids 1800 to 1899. Ids, peers and sentences only, never a patient.</summary>
internal static partial class ConfirmationLog
{
    [LoggerMessage(1800, LogLevel.Information, "Destination {Destination} keeps {Count} object(s), by {Way}")]
    public static partial void Kept(this ILogger logger, string destination, int count, ConfirmationWay way);

    [LoggerMessage(1801, LogLevel.Error, "Destination {Destination} said that it stored {Count} object(s) and does not have them; they are sent again under the same UIDs: {Sentence}")]
    public static partial void Missing(this ILogger logger, string destination, int count, string sentence);

    [LoggerMessage(1802, LogLevel.Error, "Destination {Destination} does not confirm {Count} object(s); a person is to look: {Sentence}")]
    public static partial void Unconfirmed(this ILogger logger, string destination, int count, string sentence);

    [LoggerMessage(1803, LogLevel.Warning, "Destination {Destination} could not be asked whether it keeps its objects, and is asked again at {Until:u}: {Sentence}")]
    public static partial void CannotBeAsked(this ILogger logger, string destination, DateTimeOffset until, string sentence);

    [LoggerMessage(1804, LogLevel.Information, "Listening for reports of storage commitment as {AETitle} on {EndPoint}")]
    public static partial void Listening(this ILogger logger, string aeTitle, string endPoint);

    [LoggerMessage(1805, LogLevel.Warning, "A report of storage commitment from {Peer} is about the transaction {TransactionUID}, which nobody here asked for")]
    public static partial void UnknownTransaction(this ILogger logger, string peer, string transactionUID);

    [LoggerMessage(1806, LogLevel.Warning, "The report of storage commitment {TransactionUID} from {Peer} names {Count} object(s) that it was not asked for; they are left out")]
    public static partial void NotAskedFor(this ILogger logger, string peer, string transactionUID, int count);

    [LoggerMessage(1807, LogLevel.Warning, "Trouble with {Peer}, which reports of storage commitment may come from: {Sentence}")]
    public static partial void Trouble(this ILogger logger, string peer, string sentence);

    [LoggerMessage(1808, LogLevel.Warning, "Another program listens on {EndPoint}, so reports of storage commitment go there: {Sentence}")]
    public static partial void CannotListen(this ILogger logger, string endPoint, string sentence);
}
