using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Part10;
using CameraBridge.Pipeline.Captures;
using Microsoft.Win32.SafeHandles;

namespace CameraBridge.Commands.Exports;

/// <summary>
/// A folder with a file-set of ours. Each file is written beside its name, synced, and renamed; the directory, DICOMDIR, comes last, so that at any instant it
/// tells of whole files alone. What an export that was broken off left behind is removed by the next one.
/// </summary>
/// <param name="folder">Absolute path.</param>
/// <param name="fileSetUID">Of the file-set, if one is begun.</param>
/// <param name="fileSetID">The same.</param>
internal sealed class MediaFolder(string folder, string fileSetUID, string fileSetID) : IDisposable
{
    public const string ReadmeName = "README.TXT";

    private const string LockName = "EXPORT.LCK", TemporaryExtension = ".TMP";

    /// <summary>What systems put on an empty medium by themselves.</summary>
    private static readonly string[] OfSystems =
        ["System Volume Information", "lost+found", "$RECYCLE.BIN", ".Trashes", ".fseventsd", ".Spotlight-V100", ".TemporaryItems"];

    private readonly HashSet<string> _touched = new(StringComparer.Ordinal);
    private FileStream? _lock;
    private FolderIdentity _identity;

    public string Folder { get; } = folder;

    /// <summary>What the file-set tells of; what is added here is on the medium only when <see cref="FinishAsync"/> is done.</summary>
    public MediaDirectory Directory { get; private set; } = new(fileSetUID, fileSetID);

    /// <summary>There was no file-set.</summary>
    public bool IsNew { get; private set; } = true;

    /// <summary>Free bytes where the folder lies or will lie.</summary>
    public long FreeBytes => new DriveInfo(Existing).AvailableFreeSpace;

    /// <summary>The largest file that the medium's file system holds.</summary>
    public long LargestFile { get; private set; } = long.MaxValue;

    private string Existing => System.IO.Directory.Exists(Folder) ? Folder : Path.GetDirectoryName(Folder)!;

    /// <summary>Looks at the folder, and changes nothing but that no other export may use it.</summary>
    /// <exception cref="CommandException">It is not empty and no file-set of ours, another export is at work, or it cannot be read.</exception>
    public async Task OpenAsync(CancellationToken cancellation)
    {
        try
        {
            if (System.IO.Directory.Exists(Folder))
            {
                _lock = Lock(Folder);
                MediaDirectory? before = await LookAsync(Folder, cancellation).ConfigureAwait(false);
                (Directory, IsNew) = (before ?? Directory, before is null);
            }
            else if (File.Exists(Folder) || !System.IO.Directory.Exists(Path.GetDirectoryName(Folder)))
            {
                throw Refused("no-folder", $"The folder {Folder} cannot be made: it is a file, or the folder above it is not there. Is the medium mounted?");
            }

            LargestFile = new DriveInfo(Existing).DriveFormat is "vfat" or "msdos" or "fat" ? uint.MaxValue : long.MaxValue;
        }
        catch (Exception error) when (error is IOException or UnauthorizedAccessException)
        {
            throw Failed(Folder, error);
        }
    }

    public static CommandException Failed(string folder, Exception error) => new(
        ExitCodes.Undelivered, "folder",
        $"The folder {folder} cannot be read or written: {error.Message.TrimEnd('.')}. Do not rely on what this run wrote. See to the medium, then run the export again.");

    /// <summary>Makes the folder and puts an empty directory into it, or removes from one of ours what is left of an export that was broken off.</summary>
    /// <returns>How many files were removed.</returns>
    /// <exception cref="IOException">It cannot be written.</exception>
    /// <exception cref="UnauthorizedAccessException">The same.</exception>
    public int Begin()
    {
        if (!System.IO.Directory.Exists(Folder))
        {
            Spool.MakeFolder(Folder);
            _lock = Lock(Folder);
            FolderSync.Sync(Path.GetDirectoryName(Folder)!, mayBeClosed: true);
        }

        _identity = Identify();
        if (IsNew)
        {
            // Of no record yet: what is to be written may not be listed before it is there.
            WriteWhole(MediaFileID.Directory, new MediaDirectory(Directory.FileSetUID, Directory.FileSetID).Encode());
            return 0;
        }

        return RemoveLeftovers();
    }

    /// <summary>Writes one file.</summary>
    /// <returns>SHA-256 of what was read to be written.</returns>
    /// <exception cref="UnreadableObjectException">The bytes cannot be read; no file is left.</exception>
    /// <exception cref="IOException">The medium cannot be written.</exception>
    /// <exception cref="UnauthorizedAccessException">The same.</exception>
    public async Task<string> WriteAsync(MediaFile file, PixelSource bytes, CancellationToken cancellation)
    {
        string path = MediaFileID.ToPath(Folder, file.ReferencedFileID);
        string parent = Path.GetDirectoryName(path)!, temporary = TemporaryOf(path);
        DemandSameMedium();
        System.IO.Directory.CreateDirectory(parent);
        bool done = false;
        try
        {
            string sha256;
            FileStream written = new(temporary, FileMode.Create, FileAccess.Write, FileShare.None, bufferSize: 0);
            await using (written.ConfigureAwait(false))
            {
                sha256 = await HashedCopy.CopyAsync(bytes, written, cancellation).ConfigureAwait(false);
                RandomAccess.FlushToDisk(written.SafeFileHandle);
            }

            File.Move(temporary, path, overwrite: true);
            for (string folder = parent; folder.Length >= Folder.Length && _touched.Add(folder);)
            {
                folder = Path.GetDirectoryName(folder)!;
            }

            done = true;
            return sha256;
        }
        finally
        {
            if (!done)
            {
                Delete(temporary);
            }
        }
    }

    /// <summary>SHA-256 of a file as the medium has it, not as memory remembers it; null when it is not there.</summary>
    /// <exception cref="IOException">It cannot be read.</exception>
    /// <exception cref="UnauthorizedAccessException">The same.</exception>
    public async Task<string?> ReadBackAsync(MediaFile file, CancellationToken cancellation)
    {
        string path = MediaFileID.ToPath(Folder, file.ReferencedFileID);
        return File.Exists(path) ? await HashedCopy.ReadBackAsync(path, cancellation).ConfigureAwait(false) : null;
    }

    /// <summary>Brings the names of all that was written to the medium.</summary>
    /// <exception cref="IOException">They could not be brought there.</exception>
    public void SyncNames()
    {
        foreach (string folder in _touched)
        {
            FolderSync.Sync(folder);
        }
    }

    /// <summary>Takes a file away that this run wrote.</summary>
    public void Discard(MediaFile file) => Delete(MediaFileID.ToPath(Folder, file.ReferencedFileID));

    /// <summary>Puts the text for people and the directory in place, and reads both back.</summary>
    /// <exception cref="IOException">The medium cannot be written, or did not keep what was written.</exception>
    /// <exception cref="UnauthorizedAccessException">The same.</exception>
    public async Task FinishAsync(ReadOnlyMemory<byte> readme, CancellationToken cancellation)
    {
        foreach ((string name, PixelSource bytes) in ((string, PixelSource)[])[(ReadmeName, PixelSource.FromBytes(readme)), (MediaFileID.Directory, Directory.Encode())])
        {
            WriteWhole(name, bytes);
            if (await HashedCopy.ReadBackAsync(Path.Combine(Folder, name), cancellation).ConfigureAwait(false) != await HashedCopy.HashAsync(bytes, cancellation).ConfigureAwait(false))
            {
                throw new IOException($"What was read back of {name} is not what was written.");
            }
        }
    }

    public void Dispose() => _lock?.Dispose();

    private static CommandException Refused(string code, string message) => new(ExitCodes.UsageOrConfiguration, code, message);

    private static bool IsSomebodys(string name) => name != LockName && name != TemporaryOf(MediaFileID.Directory) && !OfSystems.Contains(name) && !name.StartsWith(".Trash-", StringComparison.Ordinal);

    /// <summary>Eight characters, a dot and three more: any file system that media have holds it.</summary>
    private static string TemporaryOf(string path) => Path.ChangeExtension(path, TemporaryExtension);

    private static FileStream Lock(string folder)
    {
        try
        {
            return new FileStream(Path.Combine(folder, LockName), FileMode.OpenOrCreate, FileAccess.Write, FileShare.None, bufferSize: 1, FileOptions.DeleteOnClose);
        }
        catch (IOException) when (File.Exists(Path.Combine(folder, LockName)))
        {
            throw new CommandException(ExitCodes.Undelivered, "busy", $"Another export writes into {folder} now. Run this one again when it is done.");
        }
    }

    /// <returns>The directory of a file-set of ours; null when the folder is empty.</returns>
    private static async Task<MediaDirectory?> LookAsync(string folder, CancellationToken cancellation)
    {
        string path = Path.Combine(folder, MediaFileID.Directory);
        if (!System.IO.Directory.EnumerateFileSystemEntries(folder).Select(entry => Path.GetFileName(entry)!).Any(IsSomebodys))
        {
            return null;
        }

        if (!File.Exists(path))
        {
            throw Refused("not-empty", $"The folder {folder} is not empty and no file-set of this program. Name an empty or a new folder; nothing was changed.");
        }

        try
        {
            MediaDirectory read = await MediaDirectory.ReadAsync(path, cancellation).ConfigureAwait(false);
            int missing = read.Files.Count(file => !File.Exists(MediaFileID.ToPath(folder, file.ReferencedFileID)));
            return missing == 0
                ? read
                : throw Refused("not-ours", $"The DICOMDIR in {folder} lists {missing} file(s) that are not there. Name an empty or a new folder; nothing was changed.");
        }
        catch (MediaDirectoryException reason)
        {
            throw Refused("not-ours", $"The DICOMDIR in {folder} is none that this program can extend. {reason.Message} Name an empty or a new folder; nothing was changed.");
        }
    }

    private static void Delete(string path)
    {
        try
        {
            File.Delete(path);
        }
        catch (Exception error) when (error is IOException or UnauthorizedAccessException)
        {
            // The directory does not list it, and the next export removes it.
        }
    }

    private FolderIdentity Identify()
    {
        using SafeFileHandle? opened = SystemCalls.OpenFolder(Places.ToPath(Places.FromText(Folder), ""), out int error, followLink: true);
        return opened is not null && SystemCalls.TryStat(opened, out FileStat stat, out error) ? stat.Identity : throw new IOException(SystemCalls.Words(error));
    }

    /// <summary>Where a stick was pulled out, its mount point is still there, on this machine's disk: no patient's picture may land there.</summary>
    private void DemandSameMedium()
    {
        if (Identify() != _identity)
        {
            throw new IOException("The medium was taken away, and another folder is there now.");
        }
    }

    private void WriteWhole(string name, PixelSource bytes)
    {
        DemandSameMedium();
        string path = Path.Combine(Folder, name);
        using (FileStream written = new(TemporaryOf(path), FileMode.Create, FileAccess.Write, FileShare.None, bufferSize: 0))
        {
            using Stream source = bytes.OpenRead();
            source.CopyTo(written);
            RandomAccess.FlushToDisk(written.SafeFileHandle);
        }

        File.Move(TemporaryOf(path), path, overwrite: true);
        FolderSync.Sync(Folder);
    }

    /// <summary>Files of names that only this program gives, which no directory lists.</summary>
    private int RemoveLeftovers()
    {
        HashSet<string> listed = [.. Directory.Files.Select(file => MediaFileID.ToPath(Folder, file.ReferencedFileID))];
        int removed = 0;
        foreach (string path in ((string[])["PA", "ST", "SE"]).Aggregate((IEnumerable<string>)[Folder], Below).SelectMany(folder => Numbered(System.IO.Directory.GetFiles(folder), "IM")))
        {
            if (!listed.Contains(path))
            {
                File.Delete(path);
                removed++;
            }
        }

        return removed;
    }

    private static IEnumerable<string> Below(IEnumerable<string> folders, string prefix) =>
        folders.SelectMany(folder => Numbered(System.IO.Directory.GetDirectories(folder), prefix));

    private static IEnumerable<string> Numbered(IEnumerable<string> paths, string prefix) => paths.Where(path =>
        Path.GetFileName(path) is { } name
        && name.StartsWith(prefix, StringComparison.Ordinal)
        && MediaFileID.IsFileID(name.EndsWith(TemporaryExtension, StringComparison.Ordinal) ? name[..^TemporaryExtension.Length] : name));
}
