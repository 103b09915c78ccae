namespace CameraBridge.Pipeline.Captures;

/// <summary>A file that was seen and is not taken yet.</summary>
internal sealed class SettlingFile(string place, DateTimeOffset firstSeenAt)
{
    public string Place { get; } = place;

    public DateTimeOffset FirstSeenAt { get; } = firstSeenAt;

    public long Size { get; set; }

    public long ModifiedMs { get; set; }

    /// <summary>Since when size and time are as they are.</summary>
    public DateTimeOffset UnchangedSince { get; set; }

    /// <summary>When it is to be looked at again.</summary>
    public DateTimeOffset DueAt { get; set; }

    /// <summary>Attempts to take it that failed.</summary>
    public int Failures { get; set; }

    /// <summary>Why it is reported as skipped while it is still tried; None while it merely waits.</summary>
    public SkipReason Reported { get; set; }

    /// <summary>Number of the scan that saw it last.</summary>
    public uint Scan { get; set; }

    /// <summary>Waited for the longest time: taken as it is.</summary>
    public bool Overdue { get; set; }
}

/// <summary>
/// Which files have settled: size and time unchanged for the settle time, or waited for the longest time. Holds no more than
/// a given number; what does not fit is seen again by the next scan. Used by one thread at a time, but for <see cref="WaitingFolders"/>.
/// </summary>
internal sealed class SettlingFiles(TimeSpan settleTime, TimeSpan longestSettleTime, int most = SettlingFiles.Most)
{
    /// <summary>Bounds the memory of a first scan of a huge source.</summary>
    public const int Most = 20_000;

    private static readonly TimeSpan LongestRetryDelay = TimeSpan.FromMinutes(10);

    private readonly Dictionary<string, SettlingFile> _files = new(StringComparer.Ordinal);

    public int Count => _files.Count;

    /// <summary>There is room for as many as are held, or more.</summary>
    public bool HasRoom => _files.Count <= most / 2;

    /// <summary>Files that wait, without those that are reported as skipped.</summary>
    public int Waiting => _files.Values.Count(file => file.Reported == SkipReason.None);

    /// <summary>The folders in which files wait, those of <see cref="Waiting"/>. May be asked at any time.</summary>
    public IReadOnlyCollection<string> WaitingFolders()
    {
        lock (_files)
        {
            return _files.Values.Where(file => file.Reported == SkipReason.None).Select(file => Places.FolderOf(file.Place)).ToHashSet(StringComparer.Ordinal);
        }
    }

    public IEnumerable<SettlingFile> Reported => _files.Values.Where(file => file.Reported != SkipReason.None);

    /// <summary>When the next file is due; null when there is none.</summary>
    public DateTimeOffset? NextDueAt => _files.Count == 0 ? null : _files.Values.Min(file => file.DueAt);

    /// <summary>Notes what a look found. False when there is no room.</summary>
    /// <param name="place">The file.</param>
    /// <param name="stat">Its size and time.</param>
    /// <param name="now">The time of the look.</param>
    /// <param name="scan">Number of the scan.</param>
    /// <param name="ageCounts">A file whose own time is older than the settle time counts as settled at once.</param>
    public bool Observe(string place, in FileStat stat, DateTimeOffset now, uint scan, bool ageCounts)
    {
        if (!_files.TryGetValue(place, out SettlingFile? file))
        {
            if (_files.Count >= most)
            {
                return false;
            }

            bool settled = ageCounts && now.ToUnixTimeMilliseconds() - stat.ModifiedMs >= settleTime.TotalMilliseconds;
            file = new SettlingFile(place, now)
            {
                Size = stat.Size,
                ModifiedMs = stat.ModifiedMs,
                UnchangedSince = now,
                DueAt = settled ? now : now + Shorter(settleTime, longestSettleTime),
                Scan = scan,
            };
            lock (_files)
            {
                _files.Add(place, file);
            }

            return true;
        }

        file.Scan = scan;
        if (file.Size != stat.Size || file.ModifiedMs != stat.ModifiedMs)
        {
            Changed(file, stat, now);
        }

        return true;
    }

    /// <summary>The file is not as it was: it has to rest anew, yet not beyond the longest time.</summary>
    public void Changed(SettlingFile file, in FileStat stat, DateTimeOffset now)
    {
        if (file.Reported == SkipReason.Empty || file.Reported == SkipReason.Unreadable)
        {
            file.Reported = SkipReason.None;
        }

        file.Size = stat.Size;
        file.ModifiedMs = stat.ModifiedMs;
        file.UnchangedSince = now;
        file.Failures = 0;
        DateTimeOffset longest = file.FirstSeenAt + longestSettleTime;
        file.DueAt = longest > now && longest < now + settleTime ? longest : now + settleTime;
    }

    /// <summary>Not now, although it rests: look again after the settle time.</summary>
    public void Wait(SettlingFile file, DateTimeOffset now) => file.DueAt = now + settleTime;

    /// <summary>It could not be taken: tried again after a delay that doubles.</summary>
    public void Failed(SettlingFile file, DateTimeOffset now)
    {
        double seconds = Math.Max(1, settleTime.TotalSeconds) * Math.Pow(2, Math.Min(file.Failures, 16));
        file.Failures++;
        file.DueAt = now + TimeSpan.FromSeconds(Math.Min(seconds, LongestRetryDelay.TotalSeconds));
    }

    /// <summary>The files that are due, in the order of their places, so that a folder's pictures are taken in their order.</summary>
    public IReadOnlyList<SettlingFile> TakeDue(DateTimeOffset now)
    {
        List<SettlingFile> due = [.. _files.Values.Where(file => file.DueAt <= now)];
        foreach (SettlingFile file in due)
        {
            file.Overdue = now - file.FirstSeenAt >= longestSettleTime;
        }

        due.Sort((a, b) => string.CompareOrdinal(a.Place, b.Place));
        return due;
    }

    public void Remove(SettlingFile file)
    {
        lock (_files)
        {
            _files.Remove(file.Place);
        }
    }

    /// <summary>Forgets what a complete scan did not see: it is gone from the source.</summary>
    public void DropUnseen(uint scan)
    {
        foreach (SettlingFile file in _files.Values.Where(file => file.Scan != scan).ToArray())
        {
            Remove(file);
        }
    }

    public void Clear()
    {
        lock (_files)
        {
            _files.Clear();
        }
    }

    private static TimeSpan Shorter(TimeSpan a, TimeSpan b) => a < b ? a : b;
}
