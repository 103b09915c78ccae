namespace CameraBridge.Persistence;

/// <summary>How much waits for each destination, and how fast it went lately.</summary>
internal partial interface IPipelineDatabase
{
    /// <summary>Queues of all destinations that have deliveries, waiting or lately done.</summary>
    /// <param name="window">How far back what was delivered is counted.</param>
    /// <param name="cancellation">Gives the call up.</param>
    Task<IReadOnlyList<DeliveryQueue>> GetQueuesAsync(TimeSpan window, CancellationToken cancellation);

    /// <summary>Captures that were taken, and their bytes: what a picture and a clip of this site weigh.</summary>
    Task<IReadOnlyList<(bool IsClip, int Count, long Bytes)>> GetCaptureSizesAsync(CancellationToken cancellation);
}

/// <summary>What waits for a destination. Bytes are those of the captures, which are all but a few thousand of an object's.</summary>
/// <param name="Destination">The destination.</param>
/// <param name="Stills">Stills that wait.</param>
/// <param name="Clips">Clips that wait.</param>
/// <param name="Bytes">Bytes of both.</param>
/// <param name="DoneBytes">Bytes delivered within the window.</param>
/// <param name="DoneSince">When the first of those was delivered; null when there are none.</param>
internal sealed record DeliveryQueue(string Destination, int Stills, int Clips, long Bytes, long DoneBytes, DateTimeOffset? DoneSince);
