using Microsoft.Win32.SafeHandles;

namespace CameraBridge.Pipeline.Captures;

/// <summary>The spool cannot take a file. The message names the folder, its free bytes and the next step; no source was touched.</summary>
internal sealed class SpoolUnavailableException(string message, Exception? inner = null) : Exception(message, inner);

/// <summary>
/// The folder that holds captures until every destination has them. A file is written under a temporary name in <c>incoming/</c>, synced, renamed to
/// its name, and the folder that holds the name is synced: at any instant there is nothing, a temporary file, a whole file, or a whole file
/// with its row in the state. The name is made of the content's SHA-256, so what a crash left without a row is simply written over when
/// its source is read again, and never with other bytes.
/// <code>
/// SPOOL/a/abcdef...         the captures; few folders, since each that got a name has to be synced
/// SPOOL/incoming/RUN/lock   held by the process that writes there; RUN/N.part are its temporary files
/// </code>
/// </summary>
internal sealed class Spool : IDisposable
{
    private const string IncomingFolder = "incoming", LockName = "lock", TemporaryExtension = ".part";

    /// <summary>Left free, at most: the state, on the same disk as a rule, must be able to write down what was taken.</summary>
    private const long LargestReserve = 64L << 20;

    /// <summary>Share of the disk that is left free when that is less.</summary>
    private const int ReserveShare = 50;

    private readonly string _folder;
    private readonly string _incoming;
    private readonly Lock _opening = new();
    private readonly HashSet<string> _prefixes = new(StringComparer.Ordinal);
    private FileStream? _lock;
    private long _number;

    private readonly long _floor;

    /// <param name="folder">Its folder.</param>
    /// <param name="floor">Bytes that stay free on its disk, however much is to be taken; at least the reserve.</param>
    public Spool(string folder, long floor = 0)
    {
        _floor = floor;
        _folder = Path.GetFullPath(folder);
        _incoming = Path.Combine(_folder, IncomingFolder, Guid.NewGuid().ToString("N"));
    }

    public string PathOf(string spoolName) => Path.Combine(_folder, spoolName);

    public static string NameOf(string sha256) => $"{sha256[..1]}/{sha256}";

    /// <summary>Makes the folders and removes what dead processes left unfinished. Does nothing when that is done.</summary>
    /// <exception cref="SpoolUnavailableException">The folders cannot be made.</exception>
    public void Open()
    {
        lock (_opening)
        {
            if (_lock is not null)
            {
                return;
            }

            try
            {
                if (!Directory.Exists(_folder))
                {
                    MakeFolder(_folder);
                    SyncFolder(Path.GetDirectoryName(_folder)!, mayBeClosed: true);
                }

                RemoveAbandoned();
                MakeFolder(Path.Combine(_folder, IncomingFolder));
                MakeFolder(_incoming);
                _lock = new FileStream(Path.Combine(_incoming, LockName), FileMode.CreateNew, FileAccess.Write, FileShare.None);
            }
            catch (Exception error) when (error is IOException or UnauthorizedAccessException)
            {
                throw Unavailable(error);
            }
        }
    }

    /// <summary>A new temporary file of this process. Whoever asks for it ends it by <see cref="Keep"/> or <see cref="Discard"/>.</summary>
    /// <param name="size">Bytes that will be written.</param>
    /// <param name="path">Its path.</param>
    /// <exception cref="SpoolUnavailableException">No room, or the folder cannot be written.</exception>
    public SafeFileHandle Create(long size, out string path)
    {
        Open();
        path = Path.Combine(_incoming, $"{Interlocked.Increment(ref _number)}{TemporaryExtension}");
        try
        {
            var drive = new DriveInfo(_folder);
            long reserve = Math.Max(Math.Min(LargestReserve, drive.TotalSize / ReserveShare), Math.Min(_floor, drive.TotalSize / 2));
            if (drive.AvailableFreeSpace - size < reserve)
            {
                throw new SpoolUnavailableException(Sentence($"no room for a file of {size} bytes beside the {reserve} that stay free for the state"));
            }

            return File.OpenHandle(path, FileMode.CreateNew, FileAccess.Write, FileShare.Read);
        }
        catch (Exception error) when (error is IOException or UnauthorizedAccessException)
        {
            throw Unavailable(error);
        }
    }

    /// <summary>Writes into a temporary file.</summary>
    /// <exception cref="SpoolUnavailableException">The disk is full, read-only or broken.</exception>
    public void Write(SafeFileHandle temporary, ReadOnlySpan<byte> bytes, long offset)
    {
        try
        {
            RandomAccess.Write(temporary, bytes, offset);
        }
        catch (Exception error) when (error is IOException or UnauthorizedAccessException)
        {
            throw Unavailable(error);
        }
    }

    /// <summary>Syncs a temporary file, closes it and gives it its name. It is safe when <see cref="SyncFolders"/> has been called for that name.</summary>
    /// <exception cref="SpoolUnavailableException">The bytes could not be brought to the disk.</exception>
    public string Keep(SafeFileHandle temporary, string path, string sha256)
    {
        string name = NameOf(sha256);
        try
        {
            RandomAccess.FlushToDisk(temporary);
            temporary.Dispose();
            MakePrefix(sha256[..1]);
            File.Move(path, PathOf(name), overwrite: true);
            return name;
        }
        catch (Exception error) when (error is IOException or UnauthorizedAccessException)
        {
            throw Unavailable(error);
        }
    }

    /// <summary>Removes a temporary file that is not wanted.</summary>
    public static void Discard(SafeFileHandle temporary, string path)
    {
        temporary.Dispose();
        try
        {
            File.Delete(path);
        }
        catch (Exception error) when (error is IOException or UnauthorizedAccessException)
        {
            // A disk that refuses even this is reported by the next write; the next start removes the file.
        }
    }

    /// <summary>Brings the names of captures to the disk.</summary>
    /// <exception cref="SpoolUnavailableException">They could not be brought there.</exception>
    public void SyncFolders(IEnumerable<string> spoolNames)
    {
        foreach (string prefix in spoolNames.Select(Places.FolderOf).Distinct(StringComparer.Ordinal))
        {
            SyncFolder(PathOf(prefix));
        }
    }

    public void Dispose()
    {
        lock (_opening)
        {
            if (_lock is null)
            {
                return;
            }

            _lock.Dispose();
            _lock = null;
            try
            {
                Directory.Delete(_incoming, recursive: true);
            }
            catch (Exception error) when (error is IOException or UnauthorizedAccessException)
            {
                // The next start removes it.
            }
        }
    }

    /// <summary>Makes a folder for patients' pictures: open to the account of this process only.</summary>
    internal static void MakeFolder(string path)
    {
        if (OperatingSystem.IsWindows())
        {
            _ = Directory.CreateDirectory(path);
        }
        else
        {
            _ = Directory.CreateDirectory(path, UnixFileMode.UserRead | UnixFileMode.UserWrite | UnixFileMode.UserExecute);
        }
    }

    private void MakePrefix(string prefix)
    {
        lock (_prefixes)
        {
            string path = PathOf(prefix);
            bool exists = Directory.Exists(path);
            if (exists && _prefixes.Contains(prefix))
            {
                return;
            }

            if (!exists)
            {
                MakeFolder(path);
            }

            // Also when it exists: whoever made it may have been killed before bringing its name to the disk.
            SyncFolder(_folder);
            _prefixes.Add(prefix);
        }
    }

    /// <param name="path">The folder.</param>
    /// <param name="mayBeClosed">It is none of ours, and may be closed to listing.</param>
    private void SyncFolder(string path, bool mayBeClosed = false)
    {
        try
        {
            FolderSync.Sync(path, mayBeClosed);
        }
        catch (IOException failure)
        {
            throw Unavailable(failure);
        }
    }

    /// <summary>
    /// Removes the temporary files of processes that are dead: whose lock, which the system takes from a process however it ends, can be had. Only files
    /// of our own names go.
    /// </summary>
    private void RemoveAbandoned()
    {
        string incoming = Path.Combine(_folder, IncomingFolder);
        if (!Directory.Exists(incoming))
        {
            return;
        }

        foreach (string run in Directory.EnumerateDirectories(incoming).Where(run => Guid.TryParseExact(Path.GetFileName(run), "N", out _)))
        {
            try
            {
                using (new FileStream(Path.Combine(run, LockName), FileMode.OpenOrCreate, FileAccess.Write, FileShare.None))
                {
                    foreach (string file in Directory.EnumerateFiles(run, "*" + TemporaryExtension))
                    {
                        File.Delete(file);
                    }

                    File.Delete(Path.Combine(run, LockName));
                }

                Directory.Delete(run);
            }
            catch (Exception error) when (error is IOException or UnauthorizedAccessException)
            {
                // Another process is alive and writes there, or the folder holds what is not ours.
            }
        }
    }

    private SpoolUnavailableException Unavailable(Exception error) => new(Sentence(error.Message.TrimEnd('.')), error);

    private string Sentence(string what)
    {
        long? free = null;
        try
        {
            free = new DriveInfo(_folder).AvailableFreeSpace;
        }
        catch (Exception error) when (error is IOException or UnauthorizedAccessException)
        {
            // The sentence does without the number.
        }

        string bytes = free is { } known ? $" ({known} bytes are free)" : "";
        return $"The spool folder {_folder} takes no more pictures: {what}{bytes}. Free or repair that disk, or move the spool; the sources stay untouched and taking goes on by itself.";
    }
}
