using CameraBridge.Pipeline;

namespace CameraBridge.Persistence;

/// <summary>What is stored and not confirmed.</summary>
internal partial interface IPipelineDatabase
{
    /// <summary>What is stored and not known to be kept, grouped by sitting, destination, state and last word.</summary>
    /// <param name="destinations">Only for these; null for all.</param>
    /// <param name="sittingId">Only of this sitting; null for all.</param>
    /// <param name="cancellation">Gives the call up.</param>
    Task<IReadOnlyList<Unconfirmed>> GetUnconfirmedAsync(IReadOnlyList<string>? destinations, long? sittingId, CancellationToken cancellation);

    /// <summary>A person has archives asked again at once, those that were given to a person too. The objects are not sent for that.</summary>
    /// <returns>How many deliveries that concerns.</returns>
    Task<int> AskAgainAsync(IReadOnlyList<string> destinations, long? sittingId, CancellationToken cancellation);
}

/// <summary>Deliveries of one sitting to one destination that are stored and not confirmed, and of which the same is to be said.</summary>
internal sealed record Unconfirmed
{
    public long SittingId { get; init; }

    public required string Source { get; init; }

    public required string Folder { get; init; }

    public required string Destination { get; init; }

    /// <summary>Waiting or Unconfirmed.</summary>
    public ConfirmationState State { get; init; }

    public ConfirmationWay? Way { get; init; }

    /// <summary>The last word, without patient data.</summary>
    public string? Words { get; init; }

    public int Count { get; init; }

    /// <summary>When the oldest was first stored.</summary>
    public DateTimeOffset Since { get; init; }

    /// <summary>When the archive is asked next; null when it is due, or is not asked any more.</summary>
    public DateTimeOffset? NextAskingAt { get; init; }
}
