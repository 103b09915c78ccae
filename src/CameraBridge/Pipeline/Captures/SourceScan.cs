using System.Text;

namespace CameraBridge.Pipeline.Captures;

/// <summary>What the scanner remembers of one folder tree between two scans.</summary>
internal sealed class ScanMemory(SettlingFiles settling)
{
    public KnownPlaces Known { get; } = new();

    public SettlingFiles Settling { get; } = settling;

    /// <summary>Modification times of the folders: a folder with another time than before has its known files compared.</summary>
    public Dictionary<UInt128, (long ModifiedMs, uint Seen)> Folders { get; } = [];

    /// <summary>Number of the scan under way or done last; 0 before the first.</summary>
    public uint Scan { get; set; }
}

/// <summary>How a scan is made.</summary>
/// <param name="Now">The time it counts with.</param>
/// <param name="AgeCounts">A file that is older than the settle time counts as settled at once.</param>
/// <param name="CompareLimit">Time that may be spent on comparing known files; what is left is compared by the next scans. Null: all now.</param>
/// <param name="Hinted">Places that the system says were written.</param>
internal sealed record ScanOptions(DateTimeOffset Now, bool AgeCounts, TimeSpan? CompareLimit, IReadOnlySet<UInt128> Hinted);

/// <summary>What a scan found.</summary>
internal sealed class ScanResult
{
    public SkipTally Skipped { get; } = new();

    public int Folders { get; set; }

    /// <summary>Files that are captures already.</summary>
    public int Known { get; set; }

    /// <summary>Known files that were compared by size and time.</summary>
    public int Compared { get; set; }

    /// <summary>Every folder was listed to its end.</summary>
    public bool Complete { get; set; } = true;

    /// <summary>More new files than fit: the next scan brings the rest.</summary>
    public bool Overflowed { get; set; }

    public bool FoundAnything { get; set; }
}

/// <summary>
/// One pass over a folder tree of any depth: names first; size and time only of what is unknown, and of what there is a reason to doubt: its folder's
/// time has changed, the system hinted at it, the source has come back, or its turn in a slow round over everything has come. Runs on the
/// thread that calls it, since a dead share may hold that thread for long.
/// </summary>
internal sealed class SourceScan(string root, ScanMemory memory, ScanOptions options, TimeProvider clock, Heartbeat heartbeat)
{
    /// <summary>Known files compared in each scan by turns.</summary>
    private const int ComparedByTurns = 2_000;

    private readonly ScanResult _result = new();
    private readonly Stack<string> _folders = new();
    private readonly long _start = clock.GetTimestamp();
    private readonly uint _number = memory.Scan;
    private readonly uint _rounds = (uint)Math.Max(1, memory.Known.Count / ComparedByTurns);
    private byte[] _key = new byte[4096];

    /// <summary>Runs the pass. What is found to be new or changed is in the memory's settling files afterwards.</summary>
    public ScanResult Run(CancellationToken cancellation)
    {
        _folders.Push("");
        while (_folders.TryPop(out string? folder))
        {
            cancellation.ThrowIfCancellationRequested();
            heartbeat.Beat();
            List(folder);
        }

        return _result;
    }

    /// <summary>After a complete scan of a source that is still there: forgets what is gone.</summary>
    public static void Forget(ScanMemory memory)
    {
        memory.Known.DropUnseen(memory.Scan);
        memory.Settling.DropUnseen(memory.Scan);
        foreach ((UInt128 key, (_, uint seen)) in memory.Folders)
        {
            if (seen != memory.Scan)
            {
                memory.Folders.Remove(key);
            }
        }
    }

    private void List(string folder)
    {
        using FolderReader reader = FolderReader.Open(Places.ToPath(root, folder), followLink: folder.Length == 0);
        if (!reader.TryStat(out FileStat stat))
        {
            FolderFailed(folder, reader.Error);
            return;
        }

        int prefix = StartKey(folder);
        UInt128 folderKey = KnownPlaces.KeyOf(_key.AsSpan(0, prefix));
        bool changed = !memory.Folders.TryGetValue(folderKey, out (long ModifiedMs, uint Seen) before) || before.ModifiedMs != stat.ModifiedMs;
        memory.Folders[folderKey] = (stat.ModifiedMs, _number);
        _result.Folders++;
        while (reader.Read(out ReadOnlySpan<byte> name, out FileKind kind))
        {
            _result.FoundAnything = true;
            Enter(reader, folder, prefix, name, kind, changed);
        }

        if (reader.Error != 0)
        {
            // Unless its time is forgotten, the next scan would trust what it knows of a folder that was seen in part only.
            memory.Folders.Remove(folderKey);
            FolderFailed(folder, reader.Error);
        }
    }

    private void Enter(FolderReader reader, string folder, int prefix, ReadOnlySpan<byte> name, FileKind kind, bool folderChanged)
    {
        FileStat stat = default;
        if (kind == FileKind.Unknown)
        {
            if (!reader.TryStat(name, out stat, out _))
            {
                return;
            }

            kind = stat.Kind;
        }

        UInt128 key = KeyOf(prefix, name);
        switch (kind)
        {
            case FileKind.Folder:
                NameVerdict verdict = CaptureNames.OfFolder(name);
                if (verdict == NameVerdict.Candidate)
                {
                    _folders.Push(PlaceOf(folder, name));
                }
                else
                {
                    Skip(key, folder, name, ReasonOf(verdict));
                }

                break;
            case FileKind.File:
                EnterFile(reader, folder, key, name, folderChanged);
                break;
            default:
                Skip(key, folder, name, kind == FileKind.SymbolicLink ? SkipReason.SymbolicLink : SkipReason.Special);
                break;
        }
    }

    private void EnterFile(FolderReader reader, string folder, UInt128 key, ReadOnlySpan<byte> name, bool folderChanged)
    {
        ref Mark mark = ref memory.Known.Find(key);
        bool isKnown = !System.Runtime.CompilerServices.Unsafe.IsNullRef(ref mark);
        if (!isKnown)
        {
            if (ReasonOf(CaptureNames.OfFile(name)) is var reason and not SkipReason.None)
            {
                Skip(key, folder, name, reason);
                return;
            }
        }
        else
        {
            mark.Seen = _number;
            if (mark.Reason is SkipReason.Hidden or SkipReason.System or SkipReason.Marker || !MustCompare(ref mark, key, folderChanged))
            {
                CountKnown(mark.Reason, folder, name);
                return;
            }
        }

        if (!reader.TryStat(name, out FileStat stat, out int error))
        {
            if (error is not (SystemCalls.NotFound or SystemCalls.NotAFolder))
            {
                _result.Complete = false;
                memory.Settling.Observe(PlaceOf(folder, name), default, options.Now, _number, options.AgeCounts);
            }

            return;
        }

        if (isKnown)
        {
            _result.Compared++;
            mark.Compared = _number;
            if (mark.Size == stat.Size && mark.ModifiedMs == stat.ModifiedMs)
            {
                CountKnown(mark.Reason, folder, name);
                return;
            }

            mark.Compared = 0;
        }

        _result.Overflowed |= !memory.Settling.Observe(PlaceOf(folder, name), stat, options.Now, _number, options.AgeCounts);
    }

    private bool MustCompare(ref Mark mark, UInt128 key, bool folderChanged)
    {
        bool doubted = mark.Compared == 0 || folderChanged;
        if (!doubted)
        {
            return options.Hinted.Contains(key) || ((uint)(key & 0xFFFFFFFF) % _rounds == _number % _rounds && HasTime());
        }

        if (HasTime())
        {
            return true;
        }

        mark.Compared = 0;
        return options.Hinted.Contains(key);
    }

    private bool HasTime() => options.CompareLimit is not { } limit || clock.GetElapsedTime(_start) < limit;

    private void CountKnown(SkipReason reason, string folder, ReadOnlySpan<byte> name)
    {
        if (reason == SkipReason.None)
        {
            _result.Known++;
            return;
        }

        Tell(reason, isNew: false, folder, name);
    }

    private void Skip(UInt128 key, string folder, ReadOnlySpan<byte> name, SkipReason reason)
    {
        ref Mark mark = ref memory.Known.Find(key);
        bool isNew = System.Runtime.CompilerServices.Unsafe.IsNullRef(ref mark) || mark.Reason != reason;
        memory.Known.Set(key, new Mark { Reason = reason, Seen = _number, Compared = _number });
        Tell(reason, isNew, folder, name);
    }

    private void Tell(SkipReason reason, bool isNew, string folder, ReadOnlySpan<byte> name)
    {
        if (_result.Skipped.Count(reason, isNew))
        {
            _result.Skipped.Show(reason, isNew, PlaceOf(folder, name));
        }
    }

    private void FolderFailed(string folder, int error)
    {
        if (error is SystemCalls.NotFound or SystemCalls.NotAFolder or SystemCalls.TooManyLinks && folder.Length > 0)
        {
            // It went away, or a link took its place, between its parent's listing and now.
            return;
        }

        _result.Complete = false;
        SkipReason reason = error == SystemCalls.NameTooLong ? SkipReason.PathTooLong : SkipReason.UnreadableFolder;
        UInt128 key = KnownPlaces.KeyOf(folder + "/");
        bool isNew = System.Runtime.CompilerServices.Unsafe.IsNullRef(ref memory.Known.Find(key));
        memory.Known.Set(key, new Mark { Reason = reason, Seen = _number, Compared = _number });
        _result.Skipped.Add(reason, isNew, folder);
    }

    /// <summary>Puts the folder's part of the key in place; returns its length.</summary>
    private int StartKey(string folder)
    {
        int most = Encoding.UTF8.GetMaxByteCount(folder.Length);
        if (_key.Length < most + 2048)
        {
            _key = new byte[most + 4096];
        }

        return Encoding.UTF8.GetBytes(folder, _key);
    }

    private UInt128 KeyOf(int prefix, ReadOnlySpan<byte> name)
    {
        int at = prefix;
        if (at > 0)
        {
            _key[at++] = (byte)'/';
        }

        if (Places.IsPlain(name))
        {
            name.CopyTo(_key.AsSpan(at));
            return KnownPlaces.KeyOf(_key.AsSpan(0, at + name.Length));
        }

        // At most 255 bytes of name, each at most four characters of text.
        return KnownPlaces.KeyOf(_key.AsSpan(0, at + Encoding.UTF8.GetBytes(Places.FromBytes(name), _key.AsSpan(at))));
    }

    private static string PlaceOf(string folder, ReadOnlySpan<byte> name) => Places.Join(folder, Places.FromBytes(name));

    /// <summary>Why a name alone keeps a file from being looked at; an unfinished copy is looked at, since it may be given its name any moment.</summary>
    private static SkipReason ReasonOf(NameVerdict verdict) => verdict switch
    {
        NameVerdict.Hidden => SkipReason.Hidden,
        NameVerdict.System => SkipReason.System,
        NameVerdict.Marker => SkipReason.Marker,
        _ => SkipReason.None,
    };
}
