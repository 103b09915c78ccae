using System.Text;

namespace CameraBridge.Pipeline.Captures;

/// <summary>
/// The system's notices of change (inotify) for one folder tree, as a mere hint: they wake the scanner early and name files that are worth comparing. They
/// get lost when many come at once, do not come from other hosts of a share, and end when a mount goes; the rescans alone are the truth.
/// </summary>
internal sealed class SourceHints : IDisposable
{
    /// <summary>More are not kept: the rescan compares the folders' times and goes round over everything anyway.</summary>
    private const int MostPlaces = 4096;

    private readonly Lock _gate = new();
    private HashSet<UInt128> _places = [];
    private TaskCompletionSource _woken = New();
    private FileSystemWatcher? _watcher;
    private bool _pending;
    private string _root = "";

    /// <summary>Ends with the next notice.</summary>
    public Task Next
    {
        get
        {
            lock (_gate)
            {
                return _woken.Task;
            }
        }
    }

    /// <summary>Notices are coming; false before the start and after the system has given up.</summary>
    public bool IsWatching { get; private set; }

    /// <summary>A notice has come since the last <see cref="Take"/>.</summary>
    public bool IsPending
    {
        get
        {
            lock (_gate)
            {
                return _pending;
            }
        }
    }

    /// <summary>Begins anew for a folder. Null, or why notices are not to be had.</summary>
    public string? Start(string root)
    {
        Stop();
        _root = root;
        try
        {
            _watcher = new FileSystemWatcher(root)
            {
                IncludeSubdirectories = true,
                NotifyFilter = NotifyFilters.FileName | NotifyFilters.DirectoryName | NotifyFilters.LastWrite | NotifyFilters.Size,
            };
            _watcher.Created += OnChange;
            _watcher.Changed += OnChange;
            _watcher.Renamed += OnChange;
            _watcher.Error += OnError;
            _watcher.EnableRaisingEvents = true;
            IsWatching = true;
            return null;
        }
        catch (Exception error) when (error is IOException or UnauthorizedAccessException or ArgumentException)
        {
            Stop();
            return error.Message;
        }
    }

    public void Stop()
    {
        _watcher?.Dispose();
        _watcher = null;
        IsWatching = false;
    }

    /// <summary>The places hinted at since the last call.</summary>
    public IReadOnlySet<UInt128> Take()
    {
        lock (_gate)
        {
            HashSet<UInt128> places = _places;
            _places = [];
            _pending = false;
            if (_woken.Task.IsCompleted)
            {
                _woken = New();
            }

            return places;
        }
    }

    /// <summary>Keeps what was hinted at, and waits for the next notice.</summary>
    public void Rest()
    {
        lock (_gate)
        {
            if (_woken.Task.IsCompleted)
            {
                _woken = New();
            }
        }
    }

    public void Dispose() => _watcher?.Dispose();

    private void OnChange(object sender, FileSystemEventArgs change)
    {
        string path = change.FullPath;
        UInt128? key = path.Length > _root.Length + 1
            ? KnownPlaces.KeyOf(Places.FromBytes(Encoding.UTF8.GetBytes(path[(_root.Length + 1)..])))
            : null;
        Wake(key);
    }

    private void OnError(object sender, ErrorEventArgs error)
    {
        // Notices were lost, or the mount is gone: the next look makes a new watcher.
        IsWatching = false;
        Wake(null);
    }

    private void Wake(UInt128? place)
    {
        lock (_gate)
        {
            if (place is { } key && _places.Count < MostPlaces)
            {
                _places.Add(key);
            }

            _pending = true;
            _woken.TrySetResult();
        }
    }

    private static TaskCompletionSource New() => new(TaskCreationOptions.RunContinuationsAsynchronously);
}
