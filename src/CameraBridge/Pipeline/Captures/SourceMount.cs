using System.Threading.Channels;
using CameraBridge.Configuration;
using CameraBridge.Persistence;

namespace CameraBridge.Pipeline.Captures;

/// <summary>What the parts of the scanner work with.</summary>
internal sealed record CaptureTools(Spool Spool, SpoolPause Pause, Intake Intake, IPipelineDatabase Database, TimeProvider Clock, ILogger Logger);

/// <summary>
/// One folder tree of a source as it comes and goes: a share, a stick, or one of several mounts. A look finds out whether it is there and still
/// the same, scans it when that is due, and takes what has settled.
/// <para>
/// A share is trusted: what was taken with this size and time is known. A stick is not: each time one appears, everything on it is compared by
/// content, since a wiped camera uses its numbers again and its clock is doubtful.
/// </para>
/// </summary>
internal sealed class SourceMount : IDisposable
{
    /// <summary>Time for comparing known files in one scan, so that new ones are not kept waiting by a slow share.</summary>
    private static readonly TimeSpan CompareLimit = TimeSpan.FromMilliseconds(500);

    /// <summary>A hint brings a scan forward, yet not nearer to the last one than this.</summary>
    private static readonly TimeSpan ShortestScanPause = TimeSpan.FromSeconds(1);

    private readonly SourceConfiguration _source;
    private readonly CaptureTools _tools;
    private readonly string _root;
    private readonly ScanMemory _memory;
    private readonly SourceHints _hints = new();
    private readonly Func<string, bool> _isMounted;
    private readonly string _logMount;

    /// <summary>Name before the captures' folders: that of the mount, or of the mount where the same stick hung before.</summary>
    private string _folderPrefix;
    private FolderIdentity? _identity;
    private bool _isLoaded;
    private bool _saidEmpty;
    private bool _saidNoHints;
    private ScanResult? _lastScan;
    private DateTimeOffset _lastScanAt;
    private DateTimeOffset _nextScanAt = DateTimeOffset.MinValue;
    private DateTimeOffset _hintedScanFrom = DateTimeOffset.MinValue;
    private int _taken;
    private int _knownSince;
    private SkipTally _foreignSince = new();

    /// <param name="source">The source.</param>
    /// <param name="root">Folder of this tree, in place form.</param>
    /// <param name="mount">Name of the mount, or "" where the source is one tree.</param>
    /// <param name="isMounted">Whether a mount of this name is there now.</param>
    /// <param name="tools">Spool, state, clock and log.</param>
    /// <param name="mostSettling">New files held at a time.</param>
    public SourceMount(
        SourceConfiguration source, string root, string mount, Func<string, bool> isMounted, CaptureTools tools, int mostSettling = SettlingFiles.Most)
    {
        _source = source;
        _tools = tools;
        _root = root;
        _isMounted = isMounted;
        _folderPrefix = mount;
        _memory = new ScanMemory(new SettlingFiles(source.SettleTime, source.LongestSettleTime, mostSettling));
        _logMount = mount.Length == 0 ? "" : $" (mount {KnownPlaces.LogId(mount)})";
        Mount = mount;
        Heartbeat = new Heartbeat(tools.Clock);
        Status = new SourceStatus { Source = source.Name, Mount = mount };
    }

    public string Mount { get; }

    public Heartbeat Heartbeat { get; }

    public SourceStatus Status { get; private set; }

    public bool IsPresent => _identity is not null;

    /// <summary>Nothing waits: what was seen is taken or reported.</summary>
    public bool IsDone => _lastScan is { Overflowed: false } && _memory.Settling.Waiting == 0;

    /// <summary>Folders, as captures have them, in which a file was seen and is not taken yet; none while the tree is away. May be asked at any time.</summary>
    public IEnumerable<string> WaitingFolders => !IsPresent ? [] : _memory.Settling.WaitingFolders().Select(folder => Places.Join(_folderPrefix, folder));

    /// <summary>Ends with the next hint of the system.</summary>
    public Task NextHint => _hints.Next;

    /// <summary>Told of the status while files are being taken.</summary>
    public IProgress<SourceStatus>? Progress { get; init; }

    /// <summary>Whether the tree is there, as the system says now.</summary>
    public async Task<bool> IsThereAsync()
    {
        FolderIdentity? identity = await OwnThread.RunAsync(() => Identify(once: false)).ConfigureAwait(false);
        Heartbeat.Beat();
        return identity is not null;
    }

    /// <summary>Looks once, and says when to look again.</summary>
    /// <param name="once">A single pass: scans at once, a file's own age counts for its having settled, and what is empty is reported without a wait.</param>
    /// <param name="cancellation">Ends it.</param>
    /// <exception cref="SpoolUnavailableException">Only for a single pass; else the pause is kept here.</exception>
    /// <exception cref="StateUnavailableException">The state cannot be read or written.</exception>
    public async Task<DateTimeOffset> LookAsync(bool once, CancellationToken cancellation)
    {
        DateTimeOffset now = _tools.Clock.GetUtcNow();
        FolderIdentity? identity = await OwnThread.RunAsync(() => Identify(once)).ConfigureAwait(false);
        Heartbeat.Beat();
        if (identity != _identity)
        {
            if (_identity is not null)
            {
                await LeaveAsync(cancellation).ConfigureAwait(false);
            }

            if (identity is { } arrived)
            {
                await ArriveAsync(arrived, once, cancellation).ConfigureAwait(false);
            }
        }

        if (_identity is null)
        {
            ShowStatus();
            return now + _source.RescanInterval;
        }

        bool hinted = _hints.IsPending && now >= _hintedScanFrom;
        if (once || hinted || HasRoomAgain || now >= _nextScanAt)
        {
            await ScanAsync(once, now, cancellation).ConfigureAwait(false);
        }
        else
        {
            _hints.Rest();
        }

        try
        {
            await TakeAsync(once, cancellation).ConfigureAwait(false);
        }
        finally
        {
            ShowStatus();
        }

        return NextLookAt();
    }

    public void Dispose() => _hints.Dispose();

    /// <summary>The last scan found more than fitted, and most of that is taken.</summary>
    private bool HasRoomAgain => _lastScan is { Overflowed: true } && _memory.Settling.HasRoom;

    private DateTimeOffset NextLookAt()
    {
        if (HasRoomAgain)
        {
            return _tools.Clock.GetUtcNow();
        }

        DateTimeOffset next = _hints.IsPending ? Earlier(_nextScanAt, _hintedScanFrom) : _nextScanAt;
        DateTimeOffset? due = _memory.Settling.NextDueAt;
        if (due is { } at)
        {
            next = Earlier(next, _tools.Pause.Until is { } pause && pause > at ? pause : at);
        }

        return next;
    }

    /// <summary>
    /// Which tree is there. A stick's that is empty is none: it may be the mount point that a stick has left, of which nothing may be concluded, least of all that
    /// it is another stick. For a single pass a person has said that it is there.
    /// </summary>
    private FolderIdentity? Identify(bool once)
    {
        using FolderReader reader = FolderReader.Open(Places.ToPath(_root, ""), followLink: true);
        return reader.TryStat(out FileStat stat) && (once || _source.Kind != SourceKind.Stick || reader.Read(out _, out _)) ? stat.Identity : null;
    }

    private async Task ArriveAsync(FolderIdentity identity, bool once, CancellationToken cancellation)
    {
        if (_source.Kind == SourceKind.Stick)
        {
            _memory.Known.Clear();
            _memory.Folders.Clear();
            _memory.Settling.Clear();
            var proof = new StickProof(_source.Name, Mount, _root, _isMounted, _tools, Heartbeat);
            (_folderPrefix, bool isAnother) = await proof.FindPrefixAsync(cancellation).ConfigureAwait(false);
            if (isAnother)
            {
                _tools.Logger.OtherStick(_source.Name, _logMount);
            }
        }
        else if (!_isLoaded)
        {
            await foreach (KnownFile file in _tools.Database.KnownFilesAsync(_source.Name, cancellation).ConfigureAwait(false))
            {
                _memory.Known.Set(
                    KnownPlaces.KeyOf(file.Place),
                    new Mark { Size = file.Size, ModifiedMs = file.ModifiedAt.ToUnixTimeMilliseconds() });
            }

            _isLoaded = true;
        }
        else
        {
            _memory.Known.DoubtAll();
        }

        _lastScan = null;
        _nextScanAt = DateTimeOffset.MinValue;
        if (!once)
        {
            await WatchAsync().ConfigureAwait(false);
        }

        // What was to be released here waits for it.
        await _tools.Database.WakeLaneAsync(Stage.Releases, _source.Name, cancellation).ConfigureAwait(false);
        _identity = identity;
        _tools.Logger.SourceCame(_source.Name, _logMount);
    }

    private async Task LeaveAsync(CancellationToken cancellation)
    {
        _hints.Stop();
        bool whole = _lastScan is { Complete: true } && IsDone
            && !_memory.Settling.Reported.Any(file => file.Reported is SkipReason.Unreadable or SkipReason.Changing);
        if (whole && _source.Kind == SourceKind.Stick)
        {
            // Before anything is forgotten: should the state be away just now, the next look comes here again.
            await _tools.Database.CloseSoonAsync(_source.Name, _folderPrefix, cancellation).ConfigureAwait(false);
        }

        if (whole)
        {
            _tools.Logger.SourceWent(_source.Name, _logMount);
        }
        else
        {
            _tools.Logger.SourceYanked(_source.Name, _logMount, _memory.Settling.Count);
        }

        _identity = null;
        _lastScan = null;
    }

    private async Task WatchAsync()
    {
        string? words = await OwnThread.RunAsync(() => _hints.Start(Places.ToText(_root))).ConfigureAwait(false);
        if (words is not null && !_saidNoHints)
        {
            _tools.Logger.NoHints(_source.Name, _logMount, words.Replace(Places.ToText(_root), "...", StringComparison.Ordinal));
        }

        _saidNoHints = words is not null;
    }

    private async Task ScanAsync(bool once, DateTimeOffset now, CancellationToken cancellation)
    {
        if (!once && !_hints.IsWatching)
        {
            await WatchAsync().ConfigureAwait(false);
        }

        long start = _tools.Clock.GetTimestamp();
        _memory.Scan++;
        var scan = new SourceScan(_root, _memory, new ScanOptions(now, once, once ? null : CompareLimit, _hints.Take()), _tools.Clock, Heartbeat);
        ScanResult result = await OwnThread.RunAsync(() => scan.Run(cancellation)).ConfigureAwait(false);

        // A mount that went in the middle looks like folders that vanished one by one.
        result.Complete &= await OwnThread.RunAsync(() => Identify(once)).ConfigureAwait(false) == _identity;
        bool emptyShare = _source.Kind == SourceKind.Share && !result.FoundAnything && _memory.Known.Count > 0;
        if (emptyShare && !_saidEmpty)
        {
            _tools.Logger.EmptyShare(_source.Name, _memory.Known.Count);
        }
        else if (result.Complete && !emptyShare)
        {
            SourceScan.Forget(_memory);
        }

        _saidEmpty = emptyShare;
        Say(result.Skipped);
        _lastScan = result;
        _lastScanAt = now;
        _knownSince = 0;
        _foreignSince = new SkipTally();
        TimeSpan lasted = _tools.Clock.GetElapsedTime(start);
        DateTimeOffset end = _tools.Clock.GetUtcNow();
        _nextScanAt = end + _source.RescanInterval;
        _hintedScanFrom = end + (lasted * 10 > ShortestScanPause ? lasted * 10 : ShortestScanPause);
    }

    private async Task TakeAsync(bool once, CancellationToken cancellation)
    {
        IReadOnlyList<SettlingFile> due = _tools.Pause.Until is null || once ? _memory.Settling.TakeDue(_tools.Clock.GetUtcNow()) : [];
        if (due.Count == 0)
        {
            return;
        }

        var verdicts = new IntakeVerdicts(_memory, once, _tools.Clock);
        bool isWhole = once && due.Count == _memory.Settling.Count && _lastScan is { Complete: true, Overflowed: false };
        WholeFolders? folders = isWhole ? new WholeFolders(due.Select(file => file.Place)) : null;
        var closing = Channel.CreateUnbounded<string>();
        Task closed = CloseFoldersAsync(closing.Reader, cancellation);
        try
        {
            await _tools.Intake.TakeAsync(_source, _root, _folderPrefix, due, Heartbeat, Told, cancellation).ConfigureAwait(false);
            _tools.Pause.Took();
        }
        catch (SpoolUnavailableException refusal) when (!once)
        {
            _tools.Pause.Refused(refusal);
        }
        finally
        {
            if (verdicts.Taken + verdicts.Known > 0)
            {
                _tools.Logger.Taken(_source.Name, _logMount, verdicts.Taken, verdicts.Known);
            }

            Say(verdicts.Skipped);
            closing.Writer.Complete();
            await closed.ConfigureAwait(false);
            if (verdicts.FirstFailure is { } failure)
            {
                _tools.Logger.Failed(_source.Name, _logMount, verdicts.Failures, failure.Words, KnownPlaces.LogId(failure.File.Place), failure.File.DueAt);
            }
        }

        void Told(IntakeResult result)
        {
            Heartbeat.Beat();
            verdicts.Judge(result);
            _taken += result.IsNew ? 1 : 0;
            _knownSince += result.Copy.Outcome is CopyOutcome.Copied or CopyOutcome.Known ? 1 : 0;
            if (result.Copy.Outcome is CopyOutcome.Copied or CopyOutcome.Known && folders?.Took(result.File.Place) is { } whole)
            {
                closing.Writer.TryWrite(whole);
            }

            if (result.Copy.Outcome == CopyOutcome.Foreign)
            {
                _foreignSince.Add(SkipReason.Foreign, isNew: false, result.File.Place);
            }

            if (Progress is not null && _knownSince % 32 == 0)
            {
                ShowStatus();
                Progress.Report(Status);
            }
        }
    }

    /// <summary>Closes the sittings of folders that were taken whole, while the next ones are still being copied.</summary>
    private async Task CloseFoldersAsync(ChannelReader<string> folders, CancellationToken cancellation)
    {
        await foreach (string folder in folders.ReadAllAsync(cancellation).ConfigureAwait(false))
        {
            await _tools.Database.CloseSoonAsync(_source.Name, Places.Join(_folderPrefix, folder), cancellation).ConfigureAwait(false);
        }
    }

    private void Say(SkipTally skipped)
    {
        foreach ((SkipReason reason, int count, string first) in skipped.New())
        {
            if (reason.NeedsAttention())
            {
                _tools.Logger.NotTaken(_source.Name, _logMount, count, reason.Words(), KnownPlaces.LogId(first));
            }
            else
            {
                _tools.Logger.Skipped(_source.Name, _logMount, count, reason.Words(), KnownPlaces.LogId(first));
            }
        }
    }

    private void ShowStatus()
    {
        var reported = new SkipTally();
        foreach (SettlingFile file in _memory.Settling.Reported)
        {
            reported.Add(file.Reported, isNew: false, file.Place);
        }

        IEnumerable<SkippedFiles> skipped = [.. _lastScan?.Skipped.ToList() ?? [], .. _foreignSince.ToList(), .. reported.ToList()];

        Status = new SourceStatus
        {
            Source = _source.Name,
            Mount = Mount,
            // The folder that a stick is mounted on stays when the stick goes, and is empty.
            Present = IsPresent && !(_source.Kind == SourceKind.Stick && _lastScan is { FoundAnything: false }),
            LastScanAt = _lastScan is null ? Status.LastScanAt : _lastScanAt,
            ScanComplete = _lastScan is { Complete: true },
            Taken = _taken,
            Known = (_lastScan?.Known ?? 0) + _knownSince,
            Waiting = _memory.Settling.Waiting,
            Skipped = SkippedFiles.Merge(skipped),
            Trouble = _tools.Pause.Trouble ?? (_saidEmpty ? $"The folder of source {_source.Name} is empty, but files were known there; mount the share." : null),
        };
    }

    private static DateTimeOffset Earlier(DateTimeOffset a, DateTimeOffset b) => a < b ? a : b;
}
