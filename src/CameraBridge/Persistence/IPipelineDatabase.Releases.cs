using CameraBridge.Pipeline;

namespace CameraBridge.Persistence;

/// <summary>What may happen to the source, and what happened.</summary>
internal partial interface IPipelineDatabase
{
    /// <summary>The captures of this work, each with whether it may be released by what the state knows now.</summary>
    Task<IReadOnlyList<ReleaseTask>> GetReleasesAsync(IReadOnlyList<Work> work, CancellationToken cancellation);

    /// <summary>Writes into the journal that the files of these captures are about to be removed from these trees. Only what is still leased and may still be released.</summary>
    /// <returns>The work that may go on.</returns>
    Task<IReadOnlyList<Work>> BeginReleasesAsync(IReadOnlyList<(Work Work, string Tree)> work, CancellationToken cancellation);

    /// <summary>Writes what came of it.</summary>
    /// <returns>The work whose lease was lost: for it nothing was changed but the journal.</returns>
    Task<IReadOnlyList<Work>> CompleteReleasesAsync(IReadOnlyList<ReleaseResult> results, CancellationToken cancellation);

    /// <summary>Every capture of a source and how it stands, for telling what lies on a stick.</summary>
    Task<IReadOnlyList<CaptureStanding>> GetStandingsAsync(string source, CancellationToken cancellation);
}

/// <summary>A capture whose source may be released.</summary>
/// <param name="Work">The work.</param>
/// <param name="Capture">The capture.</param>
/// <param name="KeptAt">When the last destination confirmed; null when not every destination keeps it (any more to come), or something of its sitting is open.</param>
/// <param name="BegunIn">The tree in which its removal was begun, if the journal says so and not what came of it; else null.</param>
internal sealed record ReleaseTask(Work Work, Capture Capture, DateTimeOffset? KeptAt, string? BegunIn);

/// <summary>What came of releasing one capture's source.</summary>
/// <param name="Work">The work.</param>
/// <param name="State">What came of it; Waiting is tried again at <paramref name="DueAt"/>.</param>
/// <param name="Words">In a sentence, without a name of a file; null where there is nothing to say.</param>
/// <param name="DueAt">When to look again, for Waiting.</param>
internal sealed record ReleaseResult(Work Work, ReleaseState State, string? Words, DateTimeOffset? DueAt = null);
