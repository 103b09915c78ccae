namespace CameraBridge.Persistence;

/// <summary>What several workers on one state must agree on: who scans which source, and whose spool a picture lies in.</summary>
internal partial interface IPipelineDatabase
{
    /// <summary>
    /// Takes a source for this worker, or keeps it. As long as it is held, what this worker writes of the source is written under that hold: a worker that lost it meanwhile
    /// is refused (<see cref="SourceLostException"/>) in <see cref="AddCapturesAsync"/>, <see cref="NoteSeenAsync"/> and <see cref="CloseSoonAsync"/>.
    /// </summary>
    /// <returns>Null when this worker holds it; else who does.</returns>
    Task<string?> HoldSourceAsync(string source, TimeSpan lease, CancellationToken cancellation);

    /// <summary>Ends the hold, so that others need not wait until it lapses. Nothing happens where there is none.</summary>
    Task LeaveSourceAsync(string source, CancellationToken cancellation);

    /// <summary>The spools that captures lie in, and the work that waits for those who reach them; empty where there is one spool only.</summary>
    Task<IReadOnlyList<SpoolStanding>> GetSpoolsAsync(CancellationToken cancellation);
}

/// <summary>A spool of one of the workers.</summary>
/// <param name="Id">Of its file spool-id.</param>
/// <param name="Worker">The machine that last took a picture into it.</param>
/// <param name="Folder">As that machine calls it.</param>
/// <param name="SeenAt">When.</param>
/// <param name="Open">Pieces of work that need it.</param>
/// <param name="InHands">Of these, in somebody's hands.</param>
/// <param name="DueSince">When the oldest of the others became due; null when there is none.</param>
/// <param name="IsOwn">Whether it is the one of this configuration.</param>
internal sealed record SpoolStanding(string Id, string Worker, string Folder, DateTimeOffset SeenAt, int Open, int InHands, DateTimeOffset? DueSince, bool IsOwn);

/// <summary>The source is another worker's by now; nothing was written.</summary>
internal sealed class SourceLostException(string source) : Exception($"The source {source} was taken over by another worker, since this one had not kept its hold in time.");
