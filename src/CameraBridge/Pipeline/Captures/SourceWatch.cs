using CameraBridge.Configuration;
using CameraBridge.Persistence;

namespace CameraBridge.Pipeline.Captures;

/// <summary>A configured source with its folder tree, or, where its folder ends in "/*", with every mount below that folder as they come and go.</summary>
internal sealed class SourceWatch(SourceConfiguration source, CaptureTools tools, IProgress<SourceStatus>? progress = null) : IDisposable
{
    private const string EveryMount = "/*";

    private readonly SortedDictionary<string, SourceMount> _mounts = new(StringComparer.Ordinal);
    private volatile IReadOnlyList<SourceMount> _shown = [];

    public SourceConfiguration Source => source;

    /// <summary>How each tree stands.</summary>
    public IReadOnlyList<SourceStatus> Status => [.. _shown.Select(mount => mount.Status)];

    /// <summary>At least one tree is there.</summary>
    public bool IsPresent => _shown.Any(mount => mount.IsPresent);

    /// <summary>Everything that was seen is taken or reported.</summary>
    public bool IsDone => _shown.All(mount => mount.IsDone || !mount.IsPresent);

    /// <summary>Folders in which a file was seen and is not taken yet. May be asked at any time.</summary>
    public IReadOnlyCollection<string> WaitingFolders => _shown.SelectMany(mount => mount.WaitingFolders).ToHashSet(StringComparer.Ordinal);

    /// <summary>When the tree that has been silent for longest answered last.</summary>
    public DateTimeOffset LastAnswerAt => _shown.Count == 0 ? tools.Clock.GetUtcNow() : _shown.Min(mount => mount.Heartbeat.LastAt);

    /// <summary>Whether at least one tree is there to be scanned.</summary>
    public async Task<bool> IsThereAsync()
    {
        FindMounts();
        bool[] there = await Task.WhenAll(_shown.Select(mount => mount.IsThereAsync())).ConfigureAwait(false);
        return there.Contains(true);
    }

    /// <summary>Forgets what was seen: another worker goes on with the source.</summary>
    public void Forget()
    {
        Dispose();
        _mounts.Clear();
        _shown = [];
    }

    /// <summary>Looks at every tree once, side by side, and says when to look again.</summary>
    /// <inheritdoc cref="SourceMount.LookAsync" path="/exception"/>
    public async Task<DateTimeOffset> LookAsync(bool once, CancellationToken cancellation)
    {
        FindMounts();
        DateTimeOffset next = tools.Clock.GetUtcNow() + source.RescanInterval;
        DateTimeOffset[] times = await Task.WhenAll(_shown.Select(mount => mount.LookAsync(once, cancellation))).ConfigureAwait(false);
        foreach (SourceMount gone in _shown.Where(mount => mount.Mount.Length > 0 && !mount.IsPresent))
        {
            _ = _mounts.Remove(gone.Mount);
            gone.Dispose();
        }

        _shown = [.. _mounts.Values];
        return times.Append(next).Min();
    }

    /// <summary>
    /// Until cancelled, keeps open the sittings of folders in which files wait: one that a camera still writes, or a clip that a slow stick takes minutes to give, is
    /// of the same patient as what was taken before it.
    /// </summary>
    /// <param name="isHeld">Whether the source is this worker's.</param>
    /// <param name="silence">Longest silence of the source after which its sittings wait for nothing any more.</param>
    /// <param name="cancellation">Ends it.</param>
    public async Task KeepOpenAsync(Func<bool> isHeld, TimeSpan silence, CancellationToken cancellation)
    {
        using var timer = new PeriodicTimer(source.QuietTime / 3, tools.Clock);
        while (await timer.WaitForNextTickAsync(cancellation).ConfigureAwait(false))
        {
            if (isHeld() && tools.Clock.GetUtcNow() - LastAnswerAt < silence + source.RescanInterval && WaitingFolders is { Count: > 0 } folders)
            {
                try
                {
                    await tools.Database.PostponeClosingAsync(source.Name, folders, source.QuietTime, cancellation).ConfigureAwait(false);
                }
                catch (StateUnavailableException)
                {
                    // Nothing closes while the state is away, and the look meets it too and tells of it.
                }
            }
        }
    }

    /// <summary>Waits until the next look, or until the system hints at a change.</summary>
    public async Task WaitAsync(DateTimeOffset until, CancellationToken cancellation)
    {
        TimeSpan wait = until - tools.Clock.GetUtcNow();
        if (wait <= TimeSpan.Zero)
        {
            return;
        }

        using var over = CancellationTokenSource.CreateLinkedTokenSource(cancellation);
        _ = await Task.WhenAny([Task.Delay(wait, tools.Clock, over.Token), .. _shown.Select(mount => mount.NextHint)]).ConfigureAwait(false);
        await over.CancelAsync().ConfigureAwait(false);
        cancellation.ThrowIfCancellationRequested();
    }

    public void Dispose()
    {
        foreach (SourceMount mount in _mounts.Values)
        {
            mount.Dispose();
        }
    }

    private void FindMounts()
    {
        if (!source.Folder.EndsWith(EveryMount, StringComparison.Ordinal))
        {
            Add("", Places.FromText(source.Folder.Length > 1 ? source.Folder.TrimEnd('/') : source.Folder));
            return;
        }

        string root = Places.FromText(source.Folder[..^EveryMount.Length]);
        using FolderReader reader = FolderReader.Open(Places.ToPath(root, ""), followLink: true);
        while (reader.TryStat(out _) && reader.Read(out ReadOnlySpan<byte> name, out FileKind kind))
        {
            if (CaptureNames.OfFolder(name) == NameVerdict.Candidate
                && (kind == FileKind.Folder || (kind == FileKind.Unknown && reader.TryStat(name, out FileStat stat, out _) && stat.Kind == FileKind.Folder)))
            {
                string mount = Places.FromBytes(name);
                Add(mount, $"{root}/{mount}");
            }
        }
    }

    private void Add(string mount, string root)
    {
        if (!_mounts.ContainsKey(mount))
        {
            _mounts.Add(mount, new SourceMount(source, root, mount, _mounts.ContainsKey, tools) { Progress = progress });
            _shown = [.. _mounts.Values];
        }
    }
}
