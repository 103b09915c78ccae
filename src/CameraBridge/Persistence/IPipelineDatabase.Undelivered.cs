using CameraBridge.Pipeline;

namespace CameraBridge.Persistence;

/// <summary>What is not delivered, and a person's word to send it again.</summary>
internal partial interface IPipelineDatabase
{
    /// <summary>What waits for its destination, was refused or given up: by sitting, oldest first, then by destination, state and reason.</summary>
    /// <param name="destinations">Only to these; null for all.</param>
    /// <param name="sittingId">Only of this sitting; null for all.</param>
    /// <param name="cancellation">Gives the call up.</param>
    Task<IReadOnlyList<Undelivered>> GetUndeliveredAsync(IReadOnlyList<string>? destinations, long? sittingId, CancellationToken cancellation);

    /// <summary>
    /// A person's word to send again. What was refused or given up waits again, is due now, and its time to be given up begins anew; for what waits the next
    /// attempt is brought forward to now. What is due already or in somebody's hands stays as it is, and so does everything that is delivered. No delivery is
    /// made: each is the one it was, of the same object to the same destination. Who asked is kept, with what each delivery was before.
    /// </summary>
    /// <param name="destinations">Only to these.</param>
    /// <param name="sittingId">Only of this sitting; null for all.</param>
    /// <param name="decidedBy">Name of the person.</param>
    /// <param name="cancellation">Gives the call up.</param>
    /// <returns>What was changed, as it was before: <see cref="Undelivered.CanBeAskedFor"/>.</returns>
    Task<IReadOnlyList<Undelivered>> SendAgainAsync(IReadOnlyList<string> destinations, long? sittingId, string decidedBy, CancellationToken cancellation);
}

/// <summary>Deliveries of one sitting to one destination that are in the same state for the same reason.</summary>
internal sealed record Undelivered
{
    public long SittingId { get; init; }

    public required string Source { get; init; }

    public required string Folder { get; init; }

    public required string Destination { get; init; }

    /// <summary>Waiting, Refused or GivenUp.</summary>
    public DeliveryState State { get; init; }

    /// <summary>Last DIMSE status, or null when none came.</summary>
    public ushort? Status { get; init; }

    /// <summary>The last outcome in a sentence, without patient data; null when none was tried.</summary>
    public string? Outcome { get; init; }

    /// <summary>How many deliveries.</summary>
    public int Count { get; init; }

    /// <summary>How many objects of the sitting this destination has.</summary>
    public int Delivered { get; init; }

    /// <summary>When the oldest was made.</summary>
    public DateTimeOffset Since { get; init; }

    /// <summary>When the first of those that wait is tried again; null when they are due or in somebody's hands, or have ended.</summary>
    public DateTimeOffset? NextAttemptAt { get; init; }

    /// <summary>The person who last had them sent again, if any.</summary>
    public string? AskedBy { get; init; }

    public DateTimeOffset? AskedAt { get; init; }

    /// <summary>Whether asking for them changes anything: they have ended, or are to be tried later.</summary>
    public bool CanBeAskedFor => State != DeliveryState.Waiting || NextAttemptAt is not null;
}
