using System.Security.Cryptography;
using System.Text;
using CameraBridge.Configuration;
using CameraBridge.Pipeline.Captures;
using Microsoft.Win32.SafeHandles;

namespace CameraBridge.Pipeline.Releases;

/// <summary>What lies at a capture's place now.</summary>
internal enum Found
{
    /// <summary>The very content that was taken.</summary>
    Same,

    /// <summary>Something else.</summary>
    Different,

    /// <summary>Nothing.</summary>
    Nothing,

    /// <summary>It cannot be read now.</summary>
    Unreadable,
}

/// <summary>
/// One folder tree of a source, opened for release. Every name below its root is opened from the folder that holds it and never through a link, so that nothing
/// outside the source can be reached, whatever is put there meanwhile.
/// </summary>
internal sealed class SourceTree : IDisposable
{
    private const int BufferLength = 1 << 18;

    private readonly SafeFileHandle _root;
    private readonly byte[] _buffer = new byte[BufferLength];

    private SourceTree(SafeFileHandle root, string rootPlace)
    {
        _root = root;
        RootPlace = rootPlace;
        Id = SystemCalls.TryStat(root, out FileStat stat, out _) ? FormattableString.Invariant($"{stat.Identity.Device}:{stat.Identity.Mount}:{stat.Identity.Inode}") : "";
    }

    /// <summary>Tells this tree from another one under the same path, as long as it stays mounted.</summary>
    public string Id { get; }

    /// <summary>The root in place form.</summary>
    public string RootPlace { get; }

    /// <summary>The trees of a source that are there now: its folder, or each mount below it.</summary>
    [System.Diagnostics.CodeAnalysis.SuppressMessage("Reliability", "CA2000:Dispose objects before losing scope", Justification = "The tree disposes of its root, and the caller of the trees.")]
    public static IReadOnlyList<SourceTree> Open(SourceConfiguration source)
    {
        List<SourceTree> trees = [];
        foreach (string root in Roots(source))
        {
            if (SystemCalls.OpenFolder(Places.ToPath(root, ""), out _, followLink: true) is { } handle)
            {
                trees.Add(new SourceTree(handle, root));
            }
        }

        return trees;
    }

    /// <summary>Roots of a source in place form, there or not.</summary>
    public static IEnumerable<string> Roots(SourceConfiguration source)
    {
        const string EveryMount = "/*";
        if (!source.Folder.EndsWith(EveryMount, StringComparison.Ordinal))
        {
            return [Places.FromText(source.Folder.Length > 1 ? source.Folder.TrimEnd('/') : source.Folder)];
        }

        string parent = source.Folder[..^EveryMount.Length];
        return Directory.Exists(parent)
            ? [.. Directory.EnumerateDirectories(parent).Order(StringComparer.Ordinal).Select(Places.FromText)]
            : [];
    }

    /// <summary>Compares what lies at the capture's place with what was taken: size, and the whole content.</summary>
    public Found Look(Capture capture, CancellationToken cancellation)
    {
        using SafeFileHandle? folder = OpenFolder(Places.FolderOf(capture.Place), out int error);
        if (folder is null)
        {
            return error is SystemCalls.NotFound or SystemCalls.NotAFolder or SystemCalls.TooManyLinks ? Found.Nothing : Found.Unreadable;
        }

        using SafeFileHandle? file = SystemCalls.OpenIn(folder, NameOf(capture.Place), isFolder: false, out error);
        if (file is null)
        {
            return error is SystemCalls.NotFound ? Found.Nothing : error is SystemCalls.TooManyLinks ? Found.Different : Found.Unreadable;
        }

        if (!SystemCalls.TryStat(file, out FileStat stat, out _) || stat.Kind != FileKind.File || stat.Size != capture.Size)
        {
            return Found.Different;
        }

        try
        {
            return Hash(file, stat.Size, cancellation) == capture.Sha256 ? Found.Same : Found.Different;
        }
        catch (IOException)
        {
            return Found.Unreadable;
        }
    }

    /// <summary>
    /// Removes the capture's file if it still is what was taken: compared once more from the open file, and the name must still stand for that file.
    /// </summary>
    /// <returns>0, or the system's error number; negative when something else lies there by now.</returns>
    public int Remove(Capture capture, CancellationToken cancellation)
    {
        byte[] name = NameOf(capture.Place);
        using SafeFileHandle? folder = OpenFolder(Places.FolderOf(capture.Place), out int error);
        if (folder is null)
        {
            return error;
        }

        using SafeFileHandle? file = SystemCalls.OpenIn(folder, name, isFolder: false, out error);
        if (file is null)
        {
            return error;
        }

        bool same = SystemCalls.TryStat(file, out FileStat before, out _) && before.Kind == FileKind.File && before.Size == capture.Size
            && !SystemCalls.IsOpenForWriting(file)
            && HashOrNull(file, before.Size, cancellation) == capture.Sha256
            && SystemCalls.TryStat(folder, name, out FileStat named, out _) && named.Kind == FileKind.File && named.Identity.Inode == before.Identity.Inode
            && named.Size == before.Size && named.ModifiedMs == before.ModifiedMs;
        if (!same)
        {
            return -1;
        }

        error = SystemCalls.Remove(folder, name, isFolder: false);
        if (error == 0)
        {
            SystemCalls.Sync(folder);
        }

        return error;
    }

    /// <summary>Does something in a folder of the tree, by a path that leads to this very folder and to nothing that was put at its name since.</summary>
    /// <param name="place">The folder; "" for the root.</param>
    /// <param name="act">Gets the path.</param>
    /// <exception cref="IOException">The folder is not there any more, or cannot be opened.</exception>
    public void WithFolder(string place, Action<string> act)
    {
        using SafeFileHandle folder = OpenFolder(place, out _) ?? throw new IOException("The folder is not there any more.");
        bool isHeld = false;
        try
        {
            folder.DangerousAddRef(ref isHeld);
            act($"/proc/self/fd/{folder.DangerousGetHandle()}");
        }
        finally
        {
            if (isHeld)
            {
                folder.DangerousRelease();
            }
        }
    }

    /// <summary>Removes a folder, and those above it, as long as they are empty; the root stays.</summary>
    public void RemoveEmptyFolders(string folder)
    {
        while (folder.Length > 0)
        {
            string above = Places.FolderOf(folder);
            using SafeFileHandle? parent = OpenFolder(above, out _);
            if (parent is null || SystemCalls.Remove(parent, NameOf(folder), isFolder: true) != 0)
            {
                return;
            }

            SystemCalls.Sync(parent);
            folder = above;
        }
    }

    /// <summary>The content of a file, hashed; null when it cannot be read or is none.</summary>
    public string? HashOf(string place, CancellationToken cancellation)
    {
        using SafeFileHandle? folder = OpenFolder(Places.FolderOf(place), out _);
        using SafeFileHandle? file = folder is null ? null : SystemCalls.OpenIn(folder, NameOf(place), isFolder: false, out _);
        return file is not null && SystemCalls.TryStat(file, out FileStat stat, out _) && stat.Kind == FileKind.File ? HashOrNull(file, stat.Size, cancellation) : null;
    }

    public void Dispose() => _root.Dispose();

    private static byte[] NameOf(string place) => Places.ToPath(place[(place.LastIndexOf('/') + 1)..], "");

    /// <summary>A folder below the root, opened name by name.</summary>
    [System.Diagnostics.CodeAnalysis.SuppressMessage("Reliability", "CA2000:Dispose objects before losing scope", Justification = "Each folder is disposed of when the next one is open; the last is the caller's.")]
    private SafeFileHandle? OpenFolder(string place, out int error)
    {
        SafeFileHandle? folder = SystemCalls.OpenIn(_root, Encoding.ASCII.GetBytes(".\0"), isFolder: true, out error);
        foreach (string name in place.Length == 0 ? [] : place.Split('/'))
        {
            if (folder is null)
            {
                return null;
            }

            SafeFileHandle? next = SystemCalls.OpenIn(folder, Places.ToPath(name, ""), isFolder: true, out error);
            folder.Dispose();
            folder = next;
        }

        return folder;
    }

    private string? HashOrNull(SafeFileHandle file, long size, CancellationToken cancellation)
    {
        try
        {
            return Hash(file, size, cancellation);
        }
        catch (IOException)
        {
            return null;
        }
    }

    private string? Hash(SafeFileHandle file, long size, CancellationToken cancellation)
    {
        using var hash = IncrementalHash.CreateHash(HashAlgorithmName.SHA256);
        long offset = 0;
        while (RandomAccess.Read(file, _buffer, offset) is > 0 and int read)
        {
            cancellation.ThrowIfCancellationRequested();
            hash.AppendData(_buffer, 0, read);
            offset += read;
            if (offset > size)
            {
                return null;
            }
        }

        return offset == size ? Convert.ToHexStringLower(hash.GetHashAndReset()) : null;
    }
}
