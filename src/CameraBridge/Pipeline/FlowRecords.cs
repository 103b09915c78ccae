using CameraBridge.Pipeline.Objects.Optics;
using CameraBridge.Pipeline.Sittings.Cues.Cards;

namespace CameraBridge.Pipeline;

/// <summary>A camera file that has settled, is hashed, and lies safe in the spool. Times are UTC unless the name says otherwise.</summary>
internal sealed record Capture
{
    public long Id { get; init; }

    public required string Source { get; init; }

    /// <summary>
    /// Path below the source's folder, '/' between the parts; where the source watches every mount below a folder, the path below the mount. Bytes of a
    /// name that are no printable UTF-8 are written \xHH, so a place is always one line of text.
    /// </summary>
    public required string Place { get; init; }

    /// <summary>
    /// <see cref="Place"/> without the file name; "" for the source's own folder. Where the source watches every mount below a folder, the mount's name
    /// comes before it, so that two sticks at a time are never one sitting.
    /// </summary>
    public required string Folder { get; init; }

    /// <summary>Bytes.</summary>
    public long Size { get; init; }

    public DateTimeOffset ModifiedAt { get; init; }

    /// <summary>SHA-256, 64 lower-case hexadecimal digits.</summary>
    public required string Sha256 { get; init; }

    /// <summary>File name below the spool folder.</summary>
    public required string SpoolName { get; init; }

    public DateTimeOffset SettledAt { get; init; }

    /// <summary>The sitting it belongs to.</summary>
    public long SittingId { get; init; }

    /// <summary>When the camera says it was taken, with the zone it was read in; null until the capture has been looked at.</summary>
    public DateTimeOffset? TakenAt { get; init; }

    /// <summary>Where <see cref="TakenAt"/> comes from: "exif" (with its own zone), "exif-local" (zone of the source), "file".</summary>
    public string? TakenAtOrigin { get; init; }

    public CaptureState State { get; init; }

    /// <summary>Why it is held, in words, without patient data.</summary>
    public string? HeldReason { get; init; }
}

internal enum CaptureState
{
    /// <summary>In the spool, not looked at yet.</summary>
    Taken,

    /// <summary>Looked at; its cues are known.</summary>
    Read,

    /// <summary>An imaging object was made of it.</summary>
    Encoded,

    /// <summary>It is evidence (a label shot, a cue card, a picture that a card takes back), and not filed as a clinical picture.</summary>
    Evidence,

    /// <summary>It cannot be filed as it is; the reason is with it.</summary>
    Held,
}

internal enum CueKind
{
    /// <summary>A code in the picture that a label pattern knows: whose pictures follow.</summary>
    Label,

    /// <summary>A sidecar file beside the pictures.</summary>
    Sidecar,

    /// <summary>A pattern that fits the folder's name.</summary>
    FolderName,

    /// <summary>A pattern that fits the file's name.</summary>
    FileName,

    /// <summary>The picture could not be looked at, so it may have been a label.</summary>
    Unreadable,

    /// <summary>What a person said of the picture when deciding on its sitting.</summary>
    Decision,

    /// <summary>A cue card in the picture: what is true of the pictures that follow.</summary>
    Card,
}

/// <summary>A meaning read from a capture. Holds patient data: it stays in the state and in the operator's view, never in logs.</summary>
internal sealed record Cue
{
    public long CaptureId { get; init; }

    public CueKind Kind { get; init; }

    /// <summary>Name of the pattern that fitted, or null.</summary>
    public string? Pattern { get; init; }

    public string? PatientID { get; init; }

    public string? IssuerOfPatientID { get; init; }

    public string? AccessionNumber { get; init; }

    /// <summary>"R", "L" or "B" (both) where a sidecar or a card says so, else null.</summary>
    public string? Side { get; init; }

    /// <summary>Name of an optic where a sidecar or a card says so, else null.</summary>
    public string? Optic { get; init; }

    /// <summary>What else a sidecar says of how the picture was taken; the options of the optic that it chooses stand under "with".</summary>
    public OpticValues Values { get; init; } = OpticValues.None;

    /// <summary>What the card in the picture says; null for other cues, and for a card that cannot be understood (<see cref="Finding"/> tells why).</summary>
    public CardCue? Card { get; init; }

    /// <summary>What was measured on a scale card; null for other cues, and where it could not be measured.</summary>
    public ScaleMeasure? Scale { get; init; }

    /// <summary>What could not be understood while reading, with a stable code and without patient data; null for a clean cue.</summary>
    public Reason? Finding { get; init; }
}

internal enum SittingState
{
    /// <summary>Captures may still come.</summary>
    Open,

    /// <summary>Complete; waits for its match.</summary>
    Closed,

    Matched,

    Held,

    /// <summary>Nothing in it is to be filed (a label without pictures).</summary>
    Empty,
}

/// <summary>The captures of one patient in one go.</summary>
internal sealed record Sitting
{
    public long Id { get; init; }

    public required string Source { get; init; }

    public required string Folder { get; init; }

    public SittingState State { get; init; }

    public DateTimeOffset OpenedAt { get; init; }

    /// <summary>The sitting before it in the same folder, whose label does not reach here; 0 for none.</summary>
    public long FollowsSittingId { get; init; }

    /// <summary>Why this part begins where it does, for the evidence: "folder", "label", "unreadable", "late".</summary>
    public string Begins { get; init; } = "folder";

    /// <summary>
    /// Why it is in doubt which captures belong here, in words, or null: then a match is never automatic. For example the order of the folder's
    /// pictures, and so what lies between two labels, could not be told.
    /// </summary>
    public string? Doubt { get; init; }
}

/// <summary>A reason in words with a stable code, for people and for programs. Without patient data.</summary>
internal sealed record Reason(string Code, string Words);

/// <summary>A step of the worklist that a person may choose, best first, with what speaks for and against it.</summary>
internal sealed record Proposal(string StepJson, IReadOnlyList<Reason> For, IReadOnlyList<Reason> Against)
{
    /// <summary>How likely it is by joint matching, 0 to 1; null where the sitting is identified or nothing can be said.</summary>
    public double? Probability { get; init; }
}

/// <summary>The scheduled procedure step a sitting belongs to, or why it is held.</summary>
internal sealed record Match
{
    public long SittingId { get; init; }

    /// <summary>The worklist item as DICOM JSON (PS3.18 Annex F), null when held.</summary>
    public string? StepJson { get; init; }

    public IReadOnlyList<Reason> Evidence { get; init; } = [];

    /// <summary>Why it is held; empty when matched.</summary>
    public IReadOnlyList<Reason> HeldReasons { get; init; } = [];

    public IReadOnlyList<Proposal> Proposals { get; init; } = [];

    /// <summary>What was asked and what was answered: a JSON document with the query and the answers as DICOM JSON.</summary>
    public string? Inquiry { get; init; }

    /// <summary>"rules" for an automatic match, or the name of the person who assigned it.</summary>
    public string DecidedBy { get; init; } = "rules";

    public DateTimeOffset DecidedAt { get; init; }

    /// <summary>SOP Instance UID of the performed procedure step that begins with this match; null where the site tells no RIS. Not read back: the step has its own row.</summary>
    public string? PerformedStepUID { get; init; }

    /// <summary>Cues that a person gives with the decision, to be written with it. Empty when read: they stand among the cues then.</summary>
    public IReadOnlyList<Cue> Said { get; init; } = [];
}

/// <summary>A DICOM object made once: its UIDs and its encoded data set are stored before the first byte is sent; its pixels stay in the spool.</summary>
internal sealed record ImagingObject
{
    public const int UrgentRank = 0;
    public const int ClipRank = 2;

    public long Id { get; init; }

    public long CaptureId { get; init; }

    public long SittingId { get; init; }

    public required string SOPClassUID { get; init; }

    public required string SOPInstanceUID { get; init; }

    public required string TransferSyntaxUID { get; init; }

    public string StudyInstanceUID { get; init; } = "";

    public string SeriesInstanceUID { get; init; } = "";

    /// <summary>What goes first: 0 stills of urgent orders, 1 other stills, 2 clips.</summary>
    public int Rank { get; init; } = 1;

    public bool IsClip => Rank == ClipRank;

    /// <summary>Names of the destinations that its route demands; known when it is made, and then in its deliveries.</summary>
    public IReadOnlyList<string> Destinations { get; init; } = [];

    /// <summary>The encoded data set as a list of pieces: literal bytes, and ranges of the spool file.</summary>
    public required IReadOnlyList<StoredPiece> Pieces { get; init; }
}

/// <summary>A series of a sitting's objects: what goes into all of them, so that pictures that become objects later can join it.</summary>
internal sealed record ObjectSeries
{
    public required string SeriesInstanceUID { get; init; }

    /// <summary>Name of the optic.</summary>
    public required string Optic { get; init; }

    /// <summary>Stills or clips: each has a series of its own.</summary>
    public CaptureKind Kind { get; init; }

    /// <summary>What the objects say of modality and equipment, as one text: a series is of one equipment (PS3.3 section C.7.5.1).</summary>
    public required string Equipment { get; init; }

    public int SeriesNumber { get; init; }

    public DateTimeOffset StartedAt { get; init; }

    /// <summary>The highest Instance Number given in it.</summary>
    public int Instances { get; init; }
}

/// <summary>Literal bytes, or (Bytes null) a range of the spool file <paramref name="SpoolName"/>.</summary>
internal sealed record StoredPiece(byte[]? Bytes, string? SpoolName, long Offset, long Length);

internal enum DeliveryState
{
    Waiting,

    /// <summary>The archive answered success.</summary>
    Stored,

    /// <summary>Stored, with a warning status.</summary>
    StoredWithWarning,

    /// <summary>The archive will not take it; only a person has it tried again.</summary>
    Refused,

    /// <summary>Tried for longer than the policy allows; only a person has it tried again.</summary>
    GivenUp,
}

/// <summary>One object to one destination.</summary>
internal sealed record Delivery
{
    public long Id { get; init; }

    public long ImagingObjectId { get; init; }

    public required string Destination { get; init; }

    public DeliveryState State { get; init; }

    public int Attempts { get; init; }

    public DateTimeOffset CreatedAt { get; init; }

    /// <summary>When its time to be given up began: when it was made, or a person had it put into the queue again after it had ended.</summary>
    public DateTimeOffset QueuedAt { get; init; }

    /// <summary>When a person last asked for it to be tried; null when nobody has.</summary>
    public DateTimeOffset? AskedAt { get; init; }

    /// <summary>Last DIMSE status, or null when none came.</summary>
    public ushort? Status { get; init; }

    /// <summary>The last outcome in a sentence, without patient data.</summary>
    public string? Outcome { get; init; }

    /// <summary>Whether the archive keeps it; null where no confirmation is asked for, or it is not stored yet.</summary>
    public Confirmation? Confirmation { get; init; }
}

/// <summary>By what an archive shows that it keeps an object.</summary>
internal enum ConfirmationWay
{
    /// <summary>Its report of storage commitment (PS3.4 Annex J).</summary>
    Commitment,

    /// <summary>Its answer to a query for the object (C-FIND or QIDO-RS).</summary>
    Query,

    /// <summary>The object itself, retrieved and compared.</summary>
    Retrieval,
}

internal enum ConfirmationState
{
    /// <summary>Not asked yet, or not answered.</summary>
    Waiting,

    /// <summary>The archive keeps the object.</summary>
    Kept,

    /// <summary>The archive does not say so, however often it was asked or sent the object; a person is to look.</summary>
    Unconfirmed,
}

/// <summary>What one asking came to.</summary>
internal enum ConfirmationOutcome
{
    /// <summary>Nothing that counts; to be asked again.</summary>
    Waiting,

    /// <summary>The archive keeps the object.</summary>
    Kept,

    /// <summary>The archive does not have it: the same bytes go again under the same UID.</summary>
    Missing,

    /// <summary>Asking again is of no use; a person is to look.</summary>
    Unconfirmed,
}

/// <summary>The archive's word that it keeps an object. A status of success only means that it was received.</summary>
internal sealed record Confirmation
{
    public long DeliveryId { get; init; }

    public ConfirmationState State { get; init; }

    /// <summary>How it was asked last; null before.</summary>
    public ConfirmationWay? Way { get; init; }

    /// <summary>Askings since the object was last sent.</summary>
    public int Asked { get; init; }

    /// <summary>How often the object was sent again since the archive did not have it.</summary>
    public int SentAgain { get; init; }

    /// <summary>The last word in a sentence, without patient data.</summary>
    public string? Words { get; init; }

    public DateTimeOffset CreatedAt { get; init; }

    /// <summary>When it was kept, or given to a person.</summary>
    public DateTimeOffset? FinishedAt { get; init; }
}

/// <summary>What came of releasing a capture's source.</summary>
internal enum ReleaseState
{
    /// <summary>Not yet: the waiting time runs, the source is away, or something of the sitting is open.</summary>
    Waiting,

    /// <summary>The policy is to leave it as it is.</summary>
    Left,

    /// <summary>It stays, and the folder's list of kept files names it.</summary>
    Marked,

    /// <summary>It was removed from the source.</summary>
    Removed,

    /// <summary>It was not there any more.</summary>
    Gone,

    /// <summary>Something else lies at its place, which is left.</summary>
    Different,
}

/// <summary>How a capture stands, from the point of view of somebody who wants to wipe its source.</summary>
internal enum Standing
{
    /// <summary>Every destination keeps it, or it is a label shot of a sitting that is wholly kept, or of one with nothing to file.</summary>
    Kept,

    /// <summary>Taken, and on its way.</summary>
    Underway,

    Undelivered,

    /// <summary>Delivered, and not confirmed by every destination.</summary>
    Unconfirmed,

    /// <summary>It waits for a person.</summary>
    Held,
}

/// <summary>One capture's standing, by what a file on the source is known by.</summary>
internal sealed record CaptureStanding(string Place, long Size, DateTimeOffset ModifiedAt, string Sha256, Standing Standing);

/// <summary>What the RIS knows of a performed step.</summary>
internal enum PerformedStepState
{
    /// <summary>Nothing yet.</summary>
    Planned,

    InProgress,

    /// <summary>Its end has been sent, and the answer is not written down: it may have ended.</summary>
    Ending,

    Completed,

    Discontinued,

    /// <summary>It does not take it; a person is to enter it by hand. The pictures are not concerned.</summary>
    Refused,
}

/// <summary>What the RIS is told of a sitting: that its procedure began, and what came of it (PS3.4 Annex F).</summary>
internal sealed record PerformedStep
{
    public long Id { get; init; }

    public long SittingId { get; init; }

    public required string SOPInstanceUID { get; init; }

    public PerformedStepState State { get; init; }

    public DateTimeOffset BeginsAt { get; init; }

    /// <summary>When it was to be ended; null while its sitting's objects are not made.</summary>
    public DateTimeOffset? EndsAt { get; init; }

    /// <summary>Whether it is the sitting's first; others are appended to it.</summary>
    public bool IsFirst { get; init; }

    /// <summary>Last DIMSE status, or null when none came.</summary>
    public ushort? Status { get; init; }

    /// <summary>The last word in a sentence, without patient data.</summary>
    public string? Words { get; init; }
}
