using CameraBridge.Pipeline;

namespace CameraBridge.Persistence;

/// <summary>The stages that take work from the database, in flow order.</summary>
internal enum Stage
{
    /// <summary>Subject: a capture. Looks at the picture and writes its cues.</summary>
    Cues,

    /// <summary>Subject: an open sitting, due when its folder has been quiet. Closes and divides it.</summary>
    Sittings,

    /// <summary>Subject: a closed sitting.</summary>
    Matches,

    /// <summary>Subject: a matched sitting.</summary>
    Objects,

    /// <summary>Subject: a delivery; lane: the destination.</summary>
    Deliveries,

    /// <summary>Subject: a stored delivery; lane: the destination. Asks the archive whether it keeps the object.</summary>
    Confirmations,

    /// <summary>Subject: a capture that every destination of its route keeps; lane: the source.</summary>
    Releases,

    /// <summary>Subject: a performed procedure step, which the RIS is told of beside the flow.</summary>
    PerformedSteps,
}

/// <summary>A piece of work under a lease. It stays in the table until its result is written in the same transaction that removes it.</summary>
internal sealed record Work(long Id, Stage Stage, long SubjectId, string Lane, int Attempts, DateTimeOffset CreatedAt)
{
    /// <summary>Counts the leases of this piece of work. A result is written only under the latest: who was overtaken changes nothing.</summary>
    public long Lease { get; init; }
}

/// <summary>How much work of a stage and lane is open: due now, in somebody's hands, and due later.</summary>
internal sealed record OpenWork(Stage Stage, string Lane, int Due, int Leased, int Later, DateTimeOffset? NextDueAt)
{
    /// <summary>It needs pictures that lie in another worker's spool.</summary>
    public bool IsElsewhere { get; init; }
}

/// <summary>A file that was seen before, as the scanner needs it: so that it need not be read again.</summary>
internal sealed record KnownFile(string Place, long Size, DateTimeOffset ModifiedAt);

/// <summary>A content that was taken from a place, for telling a file that is known from one that only has the same name. SHA-256 as in a capture.</summary>
internal sealed record KnownContent(string Place, string Folder, long Size, string Sha256);

/// <summary>
/// The state of the pipeline. Stages meet only here: a stage writes its result, removes its work and adds the next stage's work in one
/// transaction. Every method is one transaction. SQLite stands behind it by default; the same contract is kept by any other database.
/// </summary>
/// <exception cref="StateUnavailableException">Any method: the database is full, read-only, locked for too long or damaged.</exception>
internal partial interface IPipelineDatabase : IAsyncDisposable
{
    // --- work -----------------------------------------------------------------------------------------------------------------------

    /// <summary>Leases up to <paramref name="most"/> due pieces of work, oldest due first. A lease that has lapsed, or whose owner is known to be dead, is due again.</summary>
    Task<IReadOnlyList<Work>> LeaseAsync(Stage stage, string lane, int most, TimeSpan lease, CancellationToken cancellation);

    /// <summary>Prolongs leases that are still held.</summary>
    /// <returns>The work that is still held: neither completed, nor given back, nor taken by another.</returns>
    Task<IReadOnlyList<Work>> RenewAsync(IReadOnlyList<Work> work, TimeSpan lease, CancellationToken cancellation);

    /// <summary>Ends leases that are still held; the work is due as it was before.</summary>
    Task ReleaseAsync(IReadOnlyList<Work> work, CancellationToken cancellation);

    /// <summary>Gives work back without a result, due at the given time; attempts + 1 when <paramref name="counts"/>.</summary>
    Task PostponeAsync(IReadOnlyList<Work> work, DateTimeOffset dueAt, bool counts, CancellationToken cancellation);

    /// <summary>Makes all work of the lane that is in nobody's hands due not before the given time: the lane's peer is down.</summary>
    Task PauseLaneAsync(Stage stage, string lane, DateTimeOffset until, CancellationToken cancellation);

    /// <summary>Makes all work of the lane that is in nobody's hands due now: what it waited for has come.</summary>
    Task WakeLaneAsync(Stage stage, string lane, CancellationToken cancellation);

    /// <summary>
    /// Ends work that keeps failing by an unforeseen error. Its subject is held with the reason (a delivery is given up); a capture that could not be
    /// looked at gets the cue Unreadable.
    /// </summary>
    Task<bool> HoldAsync(Work work, Reason reason, CancellationToken cancellation);

    /// <summary>When the next piece of work of the stage and lane becomes due, or its lease lapses; null when there is none.</summary>
    Task<DateTimeOffset?> NextDueAsync(Stage stage, string lane, CancellationToken cancellation);

    /// <summary>How much work is open, per stage.</summary>
    Task<IReadOnlyDictionary<Stage, int>> CountWorkAsync(CancellationToken cancellation);

    /// <summary>Open work per stage and lane, of one source (null: of all).</summary>
    Task<IReadOnlyList<OpenWork>> GetOpenWorkAsync(string? source, CancellationToken cancellation);

    // --- captures -------------------------------------------------------------------------------------------------------------------

    /// <summary>
    /// Every place of a source that was taken or noted, for the scanner's memory at start. A place comes once for each size and time under which it was
    /// seen (two sticks may hold the same name), the latest last.
    /// </summary>
    IAsyncEnumerable<KnownFile> KnownFilesAsync(string source, CancellationToken cancellation);

    /// <summary>
    /// Writes captures that lie safe in the spool. Each joins the open sitting of its source and folder, or opens one; the sitting's closing becomes due
    /// <paramref name="quietTime"/> after now. Adds Cues work. A capture known by source, place and content is not written again.
    /// </summary>
    /// <returns>Ids in the order given; 0 for those that were known already.</returns>
    Task<IReadOnlyList<long>> AddCapturesAsync(IReadOnlyList<Capture> captures, TimeSpan quietTime, CancellationToken cancellation);

    /// <summary>Notes the size and time under which a known content was seen again at its place.</summary>
    Task NoteSeenAsync(string source, IReadOnlyList<KnownFile> files, CancellationToken cancellation);

    /// <summary>The contents that were taken from these places of a source, any number for a place, since a wiped camera uses its numbers again.</summary>
    Task<IReadOnlyList<KnownContent>> KnownContentsAsync(string source, IReadOnlyList<string> places, CancellationToken cancellation);

    /// <summary>The newest captures of the source's sittings that captures may still join: by them a stick that comes back is told from another one.</summary>
    Task<IReadOnlyList<KnownContent>> OpenContentsAsync(string source, int most, CancellationToken cancellation);

    /// <summary>
    /// Makes the closing of the source's open sittings due now: its stick is gone, or the folder was taken whole. From then on no capture joins them; one
    /// that comes later opens a new sitting, so that the next stick's folder of the same number never mixes with this one's.
    /// </summary>
    /// <param name="source">Name of the source.</param>
    /// <param name="below">Only sittings whose folder is this one or lies below it; null or "" for all.</param>
    /// <param name="cancellation">Gives the call up.</param>
    Task CloseSoonAsync(string source, string? below, CancellationToken cancellation);

    /// <summary>
    /// Puts off the closing of the source's open sittings for at least this time: a worker that was killed may have taken half a folder, and what it left is to be found
    /// before the folder counts as quiet; and a folder is not quiet while a file in it is seen and not taken yet. Does nothing while another worker holds the source.
    /// </summary>
    /// <param name="source">Name of the source.</param>
    /// <param name="folders">Only sittings of these folders; null for all.</param>
    /// <param name="time">How long from now.</param>
    /// <param name="cancellation">Gives the call up.</param>
    Task PostponeClosingAsync(string source, IReadOnlyCollection<string>? folders, TimeSpan time, CancellationToken cancellation);

    /// <summary>The source has been looked at to its end: what was put off closes at its own time again.</summary>
    Task ResumeClosingAsync(string source, CancellationToken cancellation);

    Task<IReadOnlyList<Capture>> GetCapturesAsync(IReadOnlyList<long> captureIds, CancellationToken cancellation);

    /// <summary>The captures of a sitting, in the order of their places.</summary>
    Task<IReadOnlyList<Capture>> GetCapturesOfSittingAsync(long sittingId, CancellationToken cancellation);

    // --- cues and sittings ----------------------------------------------------------------------------------------------------------

    /// <summary>Writes what was read from captures (time and cues) and removes the work.</summary>
    /// <returns>The work whose lease was lost: for it nothing was changed.</returns>
    Task<IReadOnlyList<Work>> CompleteCuesAsync(IReadOnlyList<CaptureReading> readings, CancellationToken cancellation);

    /// <summary>
    /// The cues of the sitting's captures, and the Sidecar and FolderName cues of captures in other parts of its folder that speak for the whole folder
    /// (<see cref="SittingPart.FolderEvidence"/>).
    /// </summary>
    Task<IReadOnlyList<Cue>> GetCuesOfSittingAsync(long sittingId, CancellationToken cancellation);

    Task<Sitting?> GetSittingAsync(long sittingId, CancellationToken cancellation);

    /// <summary>
    /// Closes an open sitting and divides it: the first part keeps its row, each further part becomes a sitting of its own, all Closed (or Empty) with Matches
    /// work. Refused (false, the work postponed to the new due time) when a capture has joined it since the work was leased or still has Cues work.
    /// </summary>
    Task<bool> CompleteSittingAsync(Work work, IReadOnlyList<SittingPart> parts, CancellationToken cancellation);

    // --- matches --------------------------------------------------------------------------------------------------------------------

    /// <summary>Writes the match and, when matched, adds Objects work; when held, the sitting is Held.</summary>
    /// <returns>False when the lease was lost: nothing was changed.</returns>
    Task<bool> CompleteMatchAsync(Work work, Match match, CancellationToken cancellation);

    /// <summary>A sitting that could not be decided yet (the worklist is down): shown as held with the reason, asked again when due.</summary>
    /// <returns>False when the lease was lost: nothing was changed.</returns>
    Task<bool> DeferMatchAsync(Work work, Match match, DateTimeOffset dueAt, CancellationToken cancellation);

    Task<Match?> GetMatchAsync(long sittingId, CancellationToken cancellation);

    /// <summary>A person's decision on a held sitting: writes the match and adds Objects work.</summary>
    /// <returns>False when the sitting is not held (any more).</returns>
    Task<bool> AssignAsync(Match match, CancellationToken cancellation);

    /// <summary>
    /// A person's decision to try the held captures of a matched sitting again: they are held no longer, and Objects work is added, which takes the place
    /// of any that is open. Captures that have become objects or evidence stay as they are.
    /// </summary>
    /// <param name="match">The decision. Once the sitting has objects its step must be the very one under which they were made.</param>
    /// <param name="cancellation">Gives the call up.</param>
    /// <returns>False when the sitting is not matched, has no held captures, or has objects under another step: nothing was changed.</returns>
    Task<bool> MakeAgainAsync(Match match, CancellationToken cancellation);

    // --- objects --------------------------------------------------------------------------------------------------------------------

    /// <summary>When the study began, by the first sitting that asked: all its objects tell the same, whatever sitting they are of.</summary>
    /// <param name="StudyInstanceUID">The study.</param>
    /// <param name="startedAt">What is remembered if nobody has asked before.</param>
    /// <param name="cancellation">Gives the call up.</param>
    Task<DateTimeOffset> StartStudyAsync(string StudyInstanceUID, DateTimeOffset startedAt, CancellationToken cancellation);

    /// <summary>The series that objects of the sitting are in, in the order in which they were made.</summary>
    Task<IReadOnlyList<ObjectSeries>> GetSeriesOfSittingAsync(long sittingId, CancellationToken cancellation);

    /// <summary>The objects that were made of the sitting's captures, without their pieces.</summary>
    Task<IReadOnlyList<ImagingObject>> GetObjectsOfSittingAsync(long sittingId, CancellationToken cancellation);

    /// <summary>Writes the objects of a sitting and their series, marks captures Encoded, Evidence or Held, and adds a delivery with its work for each of the destinations that an object names.</summary>
    /// <returns>False when the lease was lost: nothing was changed.</returns>
    Task<bool> CompleteObjectsAsync(
        Work work,
        IReadOnlyList<ImagingObject> objects,
        IReadOnlyList<ObjectSeries> series,
        IReadOnlyList<CaptureVerdict> others,
        CancellationToken cancellation);

    // --- deliveries -----------------------------------------------------------------------------------------------------------------

    Task<IReadOnlyList<DeliveryTask>> GetDeliveriesAsync(IReadOnlyList<Work> work, CancellationToken cancellation);

    /// <summary>Writes outcomes. A final state removes the work; Waiting postpones it to its due time.</summary>
    /// <returns>The work whose lease was lost: for it nothing was changed.</returns>
    Task<IReadOnlyList<Work>> CompleteDeliveriesAsync(IReadOnlyList<DeliveryResult> results, CancellationToken cancellation);

    // --- what the operator sees -----------------------------------------------------------------------------------------------------

    /// <summary>Sittings that are held or wait for the worklist, and sittings that have held captures, oldest first.</summary>
    Task<IReadOnlyList<HeldSitting>> GetHeldAsync(CancellationToken cancellation);

    /// <summary>Everything known of the sittings of a source (null: all), for reports.</summary>
    Task<IReadOnlyList<SittingReport>> GetReportAsync(string? source, CancellationToken cancellation);
}

/// <summary>What the look at one capture gave.</summary>
internal sealed record CaptureReading(Work Work, DateTimeOffset TakenAt, string TakenAtOrigin, IReadOnlyList<Cue> Cues)
{
    /// <summary>See <see cref="Pipeline.Capture.Camera"/>.</summary>
    public string? Camera { get; init; }
}

/// <summary>A part of a folder that is one sitting: its captures in order, why it begins, and whether it has anything to file.</summary>
internal sealed record SittingPart(IReadOnlyList<long> CaptureIds, string Begins, bool Empty)
{
    /// <summary>See <see cref="Sitting.Doubt"/>.</summary>
    public string? Doubt { get; init; }

    /// <summary>Captures of other parts of the folder whose Sidecar and FolderName cues count here too, since they speak for the whole folder.</summary>
    public IReadOnlyList<long> FolderEvidence { get; init; } = [];
}

/// <summary>A capture that becomes no object: evidence, or held with its reason.</summary>
internal sealed record CaptureVerdict(long CaptureId, CaptureState State, string? HeldReason);

internal sealed record DeliveryTask(Work Work, Delivery Delivery, ImagingObject Object);

/// <summary>What became of a delivery. <c>Tried</c> is false when it was not tried since its destination is down: its attempts do not grow.</summary>
internal sealed record DeliveryResult(Work Work, DeliveryState State, ushort? Status, string Outcome, DateTimeOffset? DueAt, bool Tried = true)
{
    /// <summary>When the archive is first asked whether it keeps what it stored; null where the site takes its word for it.</summary>
    public DateTimeOffset? ConfirmAt { get; init; }
}

internal sealed record HeldSitting(Sitting Sitting, Match? Match, IReadOnlyList<Capture> Captures);

internal sealed record SittingReport(Sitting Sitting, Match? Match, IReadOnlyList<Capture> Captures, IReadOnlyList<Delivery> Deliveries);

/// <summary>The state cannot be read or written. The message names the file or server and the next step.</summary>
internal sealed class StateUnavailableException(string message, Exception? inner = null) : Exception(message, inner);
