using Microsoft.Win32.SafeHandles;

namespace CameraBridge.Pipeline.Captures;

/// <summary>Brings the names of a folder's files to the disk: a file that is synced is lost all the same when its name is not.</summary>
internal static class FolderSync
{
    /// <param name="path">The folder.</param>
    /// <param name="mayBeClosed">It is none of ours, and may be closed to listing: then nothing is done.</param>
    /// <exception cref="IOException">It is not there, or the names could not be brought to the disk.</exception>
    public static void Sync(string path, bool mayBeClosed = false)
    {
        using SafeFileHandle? folder = SystemCalls.OpenFolder(Places.ToPath(Places.FromText(path), ""), out int error, followLink: true);
        if (folder is not null)
        {
            RandomAccess.FlushToDisk(folder);
        }
        else if (!mayBeClosed || error != SystemCalls.AccessDenied)
        {
            throw new IOException(SystemCalls.Words(error));
        }
    }
}
