using System.Collections.Immutable;
using CameraBridge.Pipeline.Objects.Optics;
using CameraBridge.Pipeline.Sittings.Cues.Labels;

namespace CameraBridge.Configuration;

/// <summary>The whole configuration of a site, as read from one YAML file and found free of errors.</summary>
internal sealed record SiteConfiguration
{
    /// <summary>Institution Name (0008,0080) and its companions, copied into every object.</summary>
    public InstitutionConfiguration Institution { get; init; } = new();

    /// <summary>The zone of a camera clock when a source names none of its own.</summary>
    public TimeZoneInfo TimeZone { get; init; } = TimeZoneInfo.Utc;

    /// <summary>AE title under which this gateway calls its peers.</summary>
    public string CallingAETitle { get; init; } = "CAMERABRIDGE";

    /// <summary>Folder that holds the captures until every destination has them.</summary>
    public required string SpoolFolder { get; init; }

    /// <summary>File of the embedded database; "" where a server holds the state.</summary>
    public required string StateFile { get; init; }

    /// <summary>The server that holds the state of several workers; null for the file.</summary>
    public StateServerConfiguration? StateServer { get; init; }

    /// <summary>The state as messages name it.</summary>
    public string StateName => StateServer?.ToString() ?? StateFile;

    /// <summary>What pictures become, by the optic they were taken with.</summary>
    public OpticsTable Optics { get; init; } = OpticsTable.Own;

    public IReadOnlyList<SourceConfiguration> Sources { get; init; } = [];

    public LabelConfiguration Labels { get; init; } = new();

    /// <summary>The worklists to ask, each for every sitting; none means that nothing can be matched and every sitting is held.</summary>
    public IReadOnlyList<WorklistConfiguration> Worklists { get; init; } = [];

    public MatchingConfiguration Matching { get; init; } = new();

    public IReadOnlyList<DestinationConfiguration> Destinations { get; init; } = [];

    /// <summary>Which object goes where: the first that fits says it. None: every object goes to every destination.</summary>
    public IReadOnlyList<RouteConfiguration> Routes { get; init; } = [];

    public ClipConfiguration Clips { get; init; } = new();

    public RetentionConfiguration Retention { get; init; } = new();

    /// <summary>The RIS that is told of performed procedure steps; null: none.</summary>
    public PerformedStepConfiguration? PerformedStep { get; init; }

    /// <summary>Where the console is served; null: nowhere.</summary>
    public ConsoleConfiguration? Console { get; init; }

    /// <summary>Where reports of storage commitment are taken that archives bring in associations of their own; null: nowhere.</summary>
    public ListenConfiguration? Listen { get; init; }

    /// <summary>The source with this name; the one of a folder that was taken without a configured source has all defaults. Null: it is configured no more.</summary>
    public SourceConfiguration? FindSource(string name) =>
        Sources.FirstOrDefault(source => source.Name == name)
        ?? (name == SourceConfiguration.UnconfiguredName ? new SourceConfiguration { Name = name, Folder = "" } : null);
}

internal sealed record InstitutionConfiguration
{
    public string? Name { get; init; }

    public string? Address { get; init; }

    public string? Department { get; init; }
}

/// <summary>Whether a source stays (a share) or comes and goes (a stick), whose content must then be looked at anew each time it appears.</summary>
internal enum SourceKind
{
    Share,
    Stick,
}

/// <summary>What may happen to a source after Confirmation. Never before, and never to what was not read.</summary>
internal enum ReleasePolicy
{
    /// <summary>Nothing: the source is only read.</summary>
    Leave,

    /// <summary>A list of what is kept is left in each folder, for people.</summary>
    Mark,

    /// <summary>What is kept is removed, each file after its content was compared once more.</summary>
    Remove,
}

/// <summary>A watched folder and the camera behind it.</summary>
internal sealed record SourceConfiguration
{
    /// <summary>Name under which a folder is taken by <c>once</c> when it belongs to none of the site's sources.</summary>
    public const string UnconfiguredName = "once";

    /// <summary>Short name, unique, of letters, digits, '-' and '_'.</summary>
    public required string Name { get; init; }

    /// <summary>Absolute folder. For a stick, the folder may be missing until the stick is there; a last part of "*" watches every mount below.</summary>
    public required string Folder { get; init; }

    public SourceKind Kind { get; init; } = SourceKind.Share;

    /// <summary>Station AE title that its orders are scheduled for; null asks for any station.</summary>
    public string? StationAETitle { get; init; }

    public string? StationName { get; init; }

    /// <summary>Name of a row of the optics table: what the pictures of this source are, unless a cue says otherwise.</summary>
    public string Optic { get; init; } = "general";

    /// <summary>Zone of the camera's clock; null: the site's.</summary>
    public TimeZoneInfo? TimeZone { get; init; }

    /// <summary>Size and time must have stayed as they are for this long before a file is taken.</summary>
    public TimeSpan SettleTime { get; init; } = TimeSpan.FromSeconds(3);

    /// <summary>A file that never settles is taken (or, when unreadable, reported) after this time.</summary>
    public TimeSpan LongestSettleTime { get; init; } = TimeSpan.FromMinutes(10);

    /// <summary>A folder without a new capture for this long is a complete sitting.</summary>
    public TimeSpan QuietTime { get; init; } = TimeSpan.FromMinutes(2);

    /// <summary>Time between two looks at the folder.</summary>
    public TimeSpan RescanInterval { get; init; } = TimeSpan.FromSeconds(10);

    public DeviceConfiguration Device { get; init; } = new();

    /// <summary>What becomes of files when every destination of their route keeps them.</summary>
    public ReleasePolicy Release { get; init; } = ReleasePolicy.Leave;

    /// <summary>How long after the last confirmation.</summary>
    public TimeSpan ReleaseAfter { get; init; } = TimeSpan.FromHours(1);

    /// <summary>Whether a note in its root says in words if it may be wiped.</summary>
    public bool StateNote { get; init; }

    /// <summary>Patterns over folder and file names, with the same named groups as label patterns.</summary>
    public IReadOnlyList<IdentityPattern> NamePatterns { get; init; } = [];
}

/// <summary>The camera, for the equipment attributes; what is not known is left out of the object or empty, as its type says.</summary>
internal sealed record DeviceConfiguration
{
    public string? Manufacturer { get; init; }

    public string? ModelName { get; init; }

    public string? SerialNumber { get; init; }

    public string? SoftwareVersions { get; init; }
}

/// <summary>Reading of label shots.</summary>
internal sealed record LabelConfiguration
{
    public bool Read { get; init; } = true;

    /// <summary>True: stills after a photographed scale card say how large a pixel is (Pixel Spacing, FIDUCIAL). Not for measuring without validation on site.</summary>
    public bool ScaleCards { get; init; }

    public IReadOnlyList<IdentityPattern> Patterns { get; init; } = [];

    /// <summary>Symbologies that are searched because a pattern asks for them.</summary>
    public IReadOnlyList<RareCode> RareCodes => [.. Patterns.SelectMany(pattern => pattern.AlsoIn).Distinct().Order()];
}

/// <summary>How an identity is picked out of the text of a code, a folder or a file name.</summary>
/// <param name="Name">Short name, for evidence.</param>
/// <param name="Expression">
/// Regular expression with the named groups <c>patient_id</c>, <c>issuer</c>, <c>accession_number</c>, at least one of the first and the last; null where
/// <see cref="Elements"/> say it.
/// </param>
/// <param name="Issuer">Issuer of the patient ID where the text names none.</param>
internal sealed record IdentityPattern(string Name, System.Text.RegularExpressions.Regex? Expression, string? Issuer = null)
{
    /// <summary>For GS1 element strings: the Application Identifier that holds what a group of this name would; empty with an expression.</summary>
    public IReadOnlyDictionary<string, string> Elements { get; init; } = ImmutableDictionary<string, string>.Empty;

    /// <summary>The check that what is picked out must pass, by the name of its group.</summary>
    public IReadOnlyDictionary<string, CheckScheme> CheckDigits { get; init; } = ImmutableDictionary<string, CheckScheme>.Empty;

    /// <summary>Symbologies that are searched for this pattern's sake, beside QR Code, Data Matrix and Code 128.</summary>
    public IReadOnlyList<RareCode> AlsoIn { get; init; } = [];
}

/// <summary>A peer reached by DIMSE.</summary>
internal sealed record PeerConfiguration
{
    /// <summary>Short name for messages.</summary>
    public required string Name { get; init; }

    public required string Host { get; init; }

    public required int Port { get; init; }

    public required string CalledAETitle { get; init; }

    /// <summary>Null: the site's calling AE title.</summary>
    public string? CallingAETitle { get; init; }

    /// <summary>Defined term of (0008,0005) that its text is in when it names none, for example "ISO_IR 100".</summary>
    public string? FallbackCharacterSet { get; init; }

    public TimeSpan ConnectLimit { get; init; } = TimeSpan.FromSeconds(10);

    public TimeSpan ResponseLimit { get; init; } = TimeSpan.FromSeconds(30);
}

/// <summary>How a worklist is asked.</summary>
internal enum WorklistKind
{
    /// <summary>By C-FIND (PS3.4 Annex K).</summary>
    Dimse,

    /// <summary>By DICOMweb, Modality Scheduled Procedure Steps (PS3.18 chapter 14).</summary>
    MwlRs,

    /// <summary>By DICOMweb, Unified Procedure Steps (PS3.18 chapter 11).</summary>
    UpsRs,
}

/// <summary>A worklist. Each filter is an option, since servers differ; what comes back is filtered here once more.</summary>
internal sealed record WorklistConfiguration
{
    public WorklistKind Kind { get; init; } = WorklistKind.Dimse;

    /// <summary>The peer, where it is asked by C-FIND; else null.</summary>
    public PeerConfiguration? Peer { get; init; }

    /// <summary>The server, where it is asked by DICOMweb; else null.</summary>
    public WebConfiguration? Web { get; init; }

    /// <summary>Short name for messages.</summary>
    public string Name => Peer?.Name ?? Web?.Name ?? "";

    /// <summary>Ask for the source's station only.</summary>
    public bool AskByStation { get; init; } = true;

    /// <summary>Ask for the modality of the source's optic only.</summary>
    public bool AskByModality { get; init; }

    /// <summary>Days before and after the capture day that are asked for and accepted.</summary>
    public int DaysAround { get; init; } = 1;

    /// <summary>A step of another station than the source's is no match.</summary>
    public bool RequireStation { get; init; } = true;

    /// <summary>A step of another modality than the optic's is no match.</summary>
    public bool RequireModality { get; init; }

    /// <summary>More answers than this end the query early; the sitting is then held, since what fits may be among the rest.</summary>
    public int AnswerLimit { get; init; } = 1000;

    /// <summary>A worklist that is down is asked again after this time.</summary>
    public TimeSpan RetryAfter { get; init; } = TimeSpan.FromSeconds(30);
}

/// <summary>What becomes of a sitting that nothing identifies.</summary>
internal enum UnidentifiedPolicy
{
    /// <summary>It is held, with the steps that it may belong to and how likely each is.</summary>
    Propose,

    /// <summary>It is filed under its likeliest step, if that is likely enough and no rule speaks against it.</summary>
    File,
}

/// <summary>What joint matching of all sittings of a source with all open steps may do.</summary>
internal sealed record MatchingConfiguration
{
    public UnidentifiedPolicy Unidentified { get; init; } = UnidentifiedPolicy.Propose;

    /// <summary>How likely the likeliest step must be to be filed under; above 0.5, so that no two steps can be, and below 1.</summary>
    public double Threshold { get; init; } = 0.98;
}

/// <summary>What becomes of H.264 Main and Constrained Baseline, which every decoder of High plays and the standard does not name.</summary>
internal enum LesserProfiles
{
    /// <summary>Compressed anew as High: to the letter of PS3.5 section 8.2.7.</summary>
    Encode,

    /// <summary>Filed as they are.</summary>
    Pass,
}

/// <summary>What becomes of sound that no transfer syntax takes.</summary>
internal enum UnfitSound
{
    Encode,
    Drop,
}

/// <summary>What may be done to clips that do not conform.</summary>
internal sealed record ClipConfiguration
{
    /// <summary>Whether ffmpeg may convert what does not conform; else it is held.</summary>
    public bool Convert { get; init; } = true;

    /// <summary>Absolute path of the program; null: the one on the PATH, if any.</summary>
    public string? Ffmpeg { get; init; }

    public LesserProfiles LesserProfiles { get; init; } = LesserProfiles.Encode;

    public UnfitSound UnfitSound { get; init; } = UnfitSound.Encode;

    /// <summary>A conversion that takes longer is ended, and the clip held.</summary>
    public TimeSpan LongestConversion { get; init; } = TimeSpan.FromHours(2);
}

/// <summary>How long what is kept elsewhere stays here, and how much of the disk stays free.</summary>
internal sealed record RetentionConfiguration
{
    /// <summary>Spool files are let go so long after every destination confirmed.</summary>
    public TimeSpan KeepSpool { get; init; } = TimeSpan.FromDays(30);

    /// <summary>Headers of objects and answers of the worklist are let go so long after their spool files; what is needed to know a stick again stays.</summary>
    public TimeSpan KeepState { get; init; } = TimeSpan.FromDays(365);

    /// <summary>No picture is taken that would leave less than this free on the spool's disk, in bytes; at least the program's own reserve.</summary>
    public long SpoolFloor { get; init; } = 200_000_000;
}

/// <summary>A RIS that takes performed procedure steps, and how patiently it is told.</summary>
internal sealed record PerformedStepConfiguration
{
    public required PeerConfiguration Peer { get; init; }

    public TimeSpan FirstRetryDelay { get; init; } = TimeSpan.FromSeconds(10);

    public TimeSpan LongestRetryDelay { get; init; } = TimeSpan.FromHours(1);

    /// <summary>After this age a step that the RIS does not take is left to a person. The pictures are not concerned.</summary>
    public TimeSpan GiveUpAfter { get; init; } = TimeSpan.FromDays(3);
}

/// <summary>Where browsers reach the console.</summary>
internal sealed record ConsoleConfiguration
{
    public required int Port { get; init; }

    /// <summary>This machine alone, unless the site says otherwise: the pages ask nobody for a name.</summary>
    public System.Net.IPAddress Address { get; init; } = System.Net.IPAddress.Loopback;
}

/// <summary>A port on which archives reach this gateway.</summary>
internal sealed record ListenConfiguration
{
    public required int Port { get; init; }

    public System.Net.IPAddress Address { get; init; } = System.Net.IPAddress.Any;

    /// <summary>Null: the site's calling AE title, under which archives know this gateway.</summary>
    public string? AETitle { get; init; }
}

/// <summary>How an archive is to show that it keeps what it stored.</summary>
internal enum ConfirmBy
{
    /// <summary>By storage commitment where the archive takes it, else by a query.</summary>
    Auto,

    Commitment,

    Query,

    /// <summary>By retrieving each object and comparing it with what was sent; for DICOMweb.</summary>
    Retrieval,

    /// <summary>Not at all: the site takes the archive's answer for it, and nothing is ever released on that.</summary>
    None,
}

/// <summary>An archive, and how patiently it is served.</summary>
internal sealed record DestinationConfiguration
{
    /// <summary>Short name for messages, reports and routes.</summary>
    public string Name => Peer?.Name ?? Web?.Name ?? "";

    /// <summary>An archive that is reached by DIMSE; null for one that is reached by DICOMweb.</summary>
    public PeerConfiguration? Peer { get; init; }

    /// <summary>An archive that is reached by DICOMweb; null for one that is reached by DIMSE.</summary>
    public WebConfiguration? Web { get; init; }

    /// <summary>Associations, or requests, at the same time.</summary>
    public int Associations { get; init; } = 4;

    /// <summary>First delay after a failure; it doubles, with jitter, up to <see cref="LongestRetryDelay"/>.</summary>
    public TimeSpan FirstRetryDelay { get; init; } = TimeSpan.FromSeconds(5);

    public TimeSpan LongestRetryDelay { get; init; } = TimeSpan.FromMinutes(15);

    /// <summary>It takes the fragmentable transfer syntaxes (.100.1 to .106.1), which clips beyond 4 GiB need.</summary>
    public bool FragmentableVideo { get; init; }

    public ConfirmBy ConfirmBy { get; init; } = ConfirmBy.Auto;

    /// <summary>Limits by time of day; none: no limit.</summary>
    public IReadOnlyList<BandwidthWindow> Bandwidth { get; init; } = [];

    /// <summary>A request for storage commitment without a report for this long is made anew, with a new transaction.</summary>
    public TimeSpan ReportLimit { get; init; } = TimeSpan.FromMinutes(10);

    /// <summary>So often an object is sent again that the archive said it stored and does not have; then a person is to look.</summary>
    public const int SendAgainMost = 3;

    /// <summary>After this age a delivery that still fails is given up and shown as undelivered; nothing is deleted.</summary>
    public TimeSpan GiveUpAfter { get; init; } = TimeSpan.FromDays(7);
}
