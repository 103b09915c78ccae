using CameraBridge.Pipeline;

namespace CameraBridge.Persistence;

/// <summary>What a copy on media is made of.</summary>
internal partial interface IPipelineDatabase
{
    /// <summary>The sittings of a source, oldest first.</summary>
    Task<IReadOnlyList<long>> GetSittingsOfSourceAsync(string source, CancellationToken cancellation);

    /// <summary>All of a sitting that can be copied, of one moment; null when there is none of this number.</summary>
    Task<SittingContents?> GetContentsAsync(long sittingId, CancellationToken cancellation);
}

/// <summary>A sitting with its captures in the order of their places, its objects with their pieces in the order in which they were made, and their deliveries.</summary>
internal sealed record SittingContents(Sitting Sitting, IReadOnlyList<Capture> Captures, IReadOnlyList<ImagingObject> Objects, IReadOnlyList<Delivery> Deliveries);
