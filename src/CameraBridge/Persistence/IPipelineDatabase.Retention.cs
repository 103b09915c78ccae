namespace CameraBridge.Persistence;

/// <summary>What may be let go.</summary>
internal partial interface IPipelineDatabase
{
    /// <summary>
    /// Captures whose spool files nobody needs any more: kept by every destination, or label shots of a sitting that is, since before the given time; nothing to be released
    /// any more; and no other capture that is not so far shares the file. Never a picture that a card took back. Only of the spool that this worker reaches.
    /// </summary>
    Task<IReadOnlyList<TrimTask>> GetTrimmableAsync(DateTimeOffset before, int most, CancellationToken cancellation);

    /// <summary>Notes that their spool files are gone.</summary>
    Task MarkTrimmedAsync(IReadOnlyList<long> captureIds, CancellationToken cancellation);

    /// <summary>Lets go of what is large in the rows of objects whose spool files went before the given time: encoded headers, and what the worklist answered.</summary>
    /// <returns>How many objects; fewer than <paramref name="most"/> when that was all.</returns>
    Task<int> TrimStateAsync(DateTimeOffset before, int most, CancellationToken cancellation);
}

/// <summary>A capture whose files may go: the one it was taken into, and those that were made of it.</summary>
internal sealed record TrimTask(long CaptureId, IReadOnlyList<string> SpoolNames);
