using CameraBridge.Pipeline;

namespace CameraBridge.Persistence;

/// <summary>A sitting as joint matching looks at it.</summary>
internal sealed record SittingTime
{
    public long SittingId { get; init; }

    public SittingState State { get; init; }

    /// <summary>When its first picture was taken: by what cameras wrote into the pictures, where one of them tells it, else by the files' times.</summary>
    public DateTimeOffset FirstTakenAt { get; init; }

    /// <summary>When its last picture lay here.</summary>
    public DateTimeOffset SettledAt { get; init; }

    public int Captures { get; init; }

    /// <summary>Of them those that are no label, card or sidecar.</summary>
    public int Pictures { get; init; }

    /// <summary>The camera as it names itself in the pictures; null where it does not, or there are several.</summary>
    public string? Camera { get; init; }

    public DateTimeOffset OpenedAt { get; init; }

    /// <summary>Where <see cref="FirstTakenAt"/> comes from: the files' own times, since no picture tells it.</summary>
    public bool IsFileTime { get; init; }

    /// <summary>The worklist item of its latest match as DICOM JSON (PS3.18 Annex F), null when it has none.</summary>
    public string? StepJson { get; init; }

    /// <summary>The evidence of that match.</summary>
    public IReadOnlyList<Reason> Evidence { get; init; } = [];
}

/// <summary>What the worklist was asked for a sitting and answered.</summary>
/// <param name="DecidedAt">When.</param>
/// <param name="Inquiry">See <see cref="Pipeline.Match.Inquiry"/>.</param>
internal sealed record PastInquiry(DateTimeOffset DecidedAt, string Inquiry);

internal partial interface IPipelineDatabase
{
    /// <summary>What the worklist was asked for a source's sittings, the latest first.</summary>
    /// <param name="source">Name of the source.</param>
    /// <param name="from">Decided since.</param>
    /// <param name="to">Decided until.</param>
    /// <param name="most">So many at most.</param>
    /// <param name="cancellation">Gives the call up.</param>
    Task<IReadOnlyList<PastInquiry>> GetInquiriesAsync(string source, DateTimeOffset from, DateTimeOffset to, int most, CancellationToken cancellation);

    /// <summary>
    /// The sittings of a source that were opened within a time and of which at least one picture tells when it was taken, the latest first: those of the same days
    /// beside a sitting, or the history of a site.
    /// </summary>
    /// <param name="source">Name of the source.</param>
    /// <param name="from">Earliest opening.</param>
    /// <param name="to">Latest opening.</param>
    /// <param name="matchedOnly">Only those that are filed.</param>
    /// <param name="most">So many at most.</param>
    /// <param name="cancellation">Gives the call up.</param>
    Task<IReadOnlyList<SittingTime>> GetSittingTimesAsync(
        string source, DateTimeOffset from, DateTimeOffset to, bool matchedOnly, int most, CancellationToken cancellation);
}
