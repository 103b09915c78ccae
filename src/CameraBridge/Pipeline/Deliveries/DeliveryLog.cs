namespace CameraBridge.Pipeline.Deliveries;

/// <summary>What deliveries write to the log: event ids 1400 to 1499. Ids, peers and sentences only, never a patient.</summary>
internal static partial class DeliveryLog
{
    [LoggerMessage(1400, LogLevel.Warning, "Destination {Destination} is out and is tried again at {Until:u}: {Sentence}")]
    public static partial void DestinationOut(this ILogger logger, string destination, DateTimeOffset until, string sentence);

    [LoggerMessage(1401, LogLevel.Information, "Destination {Destination} takes objects again")]
    public static partial void DestinationBack(this ILogger logger, string destination);

    [LoggerMessage(1402, LogLevel.Information, "Destination {Destination}: {Stored} object(s) stored")]
    public static partial void Delivered(this ILogger logger, string destination, int stored);

    [LoggerMessage(1403, LogLevel.Warning, "Delivery {Delivery} to {Destination} was stored with a warning: {Sentence}")]
    public static partial void StoredWithWarning(this ILogger logger, long delivery, string destination, string sentence);

    [LoggerMessage(1404, LogLevel.Error, "Delivery {Delivery} to {Destination} is refused: {Sentence}")]
    public static partial void Refused(this ILogger logger, long delivery, string destination, string sentence);

    [LoggerMessage(1405, LogLevel.Error, "Delivery {Delivery} to {Destination} is given up: {Sentence}")]
    public static partial void GivenUp(this ILogger logger, long delivery, string destination, string sentence);

    [LoggerMessage(1406, LogLevel.Warning, "Delivery {Delivery} to {Destination} failed for now and is tried again at {DueAt:u}: {Sentence}")]
    public static partial void FailedForNow(this ILogger logger, long delivery, string destination, DateTimeOffset dueAt, string sentence);

    [LoggerMessage(1407, LogLevel.Warning, "Destination {Destination}: {Count} result(s) came after their lease was lost and were not written; the objects are sent again under the same UIDs")]
    public static partial void LeaseLost(this ILogger logger, string destination, int count);
}
