using System.Security.Cryptography;
using CameraBridge.Persistence;
using CameraBridge.Pipeline.Captures;
using Microsoft.Win32.SafeHandles;

namespace CameraBridge.Pipeline.Objects;

/// <summary>
/// Keeps made bytes (a picture turned upright, a clip in another container) in the spool, as safe as the captures: written under a temporary name, synced,
/// named by their own SHA-256, and the name synced. The same capture made again after a crash gets the same name, with the same bytes.
/// </summary>
internal sealed class DerivedFiles(string spoolFolder) : IDisposable
{
    private readonly Spool _spool = new(spoolFolder);

    /// <summary>An empty file to be written, by whatever program.</summary>
    /// <param name="size">Bytes that will be written, about; a disk without room for them is told at once.</param>
    /// <exception cref="StateUnavailableException">The spool takes no files now: its disk is full or broken. To be tried again later.</exception>
    public DerivedFile Create(long size)
    {
        try
        {
            using SafeFileHandle handle = _spool.Create(size, out string path);
            return new DerivedFile(_spool, path);
        }
        catch (SpoolUnavailableException unavailable)
        {
            throw new StateUnavailableException(unavailable.Message, unavailable);
        }
    }

    public void Dispose() => _spool.Dispose();
}

/// <summary>A made file on its way into the spool; disposed of without having been kept, it is removed.</summary>
internal sealed class DerivedFile : IDisposable
{
    private readonly Spool _spool;
    private bool _isKept;

    public DerivedFile(Spool spool, string path)
    {
        _spool = spool;
        Path = path;
    }

    /// <summary>Where it lies now: the temporary name, or the last one once it is kept.</summary>
    public string Path { get; private set; }

    /// <summary>Opens it for writing.</summary>
    public FileStream OpenWrite() => new(Path, FileMode.Open, FileAccess.Write, FileShare.None, bufferSize: 0);

    /// <summary>Runs what writes the file; an input or output error then is the spool's.</summary>
    /// <exception cref="StateUnavailableException">The disk is full, read-only or broken.</exception>
    public T Write<T>(Func<Stream, T> write)
    {
        try
        {
            using FileStream stream = OpenWrite();
            return write(stream);
        }
        catch (Exception error) when (error is IOException and not FileNotFoundException or UnauthorizedAccessException)
        {
            throw Unavailable(error);
        }
    }

    /// <summary>Brings the bytes and the name to the disk.</summary>
    /// <returns>The path it has from now on.</returns>
    /// <exception cref="StateUnavailableException">They could not be brought there.</exception>
    public string Keep()
    {
        try
        {
            string sha256;
            using (FileStream written = new(Path, FileMode.Open, FileAccess.Read, FileShare.Read, bufferSize: 0))
            {
                sha256 = Convert.ToHexStringLower(SHA256.HashData(written));
            }

            // Spool.Keep syncs and closes it.
            SafeFileHandle handle = File.OpenHandle(Path, FileMode.Open, FileAccess.ReadWrite, FileShare.Read);
            using (handle)
            {
                string name = _spool.Keep(handle, Path, sha256);
                _isKept = true;
                Path = _spool.PathOf(name);
                _spool.SyncFolders([name]);
            }

            return Path;
        }
        catch (Exception error) when (error is SpoolUnavailableException or IOException or UnauthorizedAccessException)
        {
            throw Unavailable(error);
        }
    }

    public void Dispose()
    {
        if (_isKept)
        {
            return;
        }

        try
        {
            File.Delete(Path);
        }
        catch (Exception error) when (error is IOException or UnauthorizedAccessException)
        {
            // A disk that refuses even this is reported by the next write; the next start removes the file.
        }
    }

    private static StateUnavailableException Unavailable(Exception error) => new(error is SpoolUnavailableException
        ? error.Message
        : $"A made file could not be written into the spool: {error.Message.TrimEnd('.')}. Free or repair that disk; making objects goes on by itself.", error);
}
