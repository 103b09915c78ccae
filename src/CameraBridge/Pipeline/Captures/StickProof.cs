using CameraBridge.Persistence;

namespace CameraBridge.Pipeline.Captures;

/// <summary>
/// Tells whether the stick that has come is the one whose sittings still wait for more, because it was pulled too early or the program was started anew. If
/// none of their captures lies on it, it is another stick, maybe with another patient in a folder of the same number: those sittings take no more.
/// </summary>
internal sealed class StickProof(string source, string mount, string root, Func<string, bool> isMounted, CaptureTools tools, Heartbeat heartbeat)
{
    /// <summary>Newest captures of open sittings that are asked for.</summary>
    private const int MostAsked = 256;

    /// <summary>Files that are read, the smallest of those.</summary>
    private const int MostRead = 8;

    /// <summary>The name that goes before the folders of this stick's captures, and whether other sticks' sittings had to be closed.</summary>
    public async Task<(string Prefix, bool IsAnother)> FindPrefixAsync(CancellationToken cancellation)
    {
        IReadOnlyList<KnownContent> open = await tools.Database.OpenContentsAsync(source, MostAsked, cancellation).ConfigureAwait(false);
        List<KnownContent> own = [.. open.Where(content => mount.Length == 0 || MountOf(content) == mount)];
        if (own.Count > 0)
        {
            if (await HoldsOneOfAsync(own, cancellation).ConfigureAwait(false))
            {
                return (mount, false);
            }

            await tools.Database.CloseSoonAsync(source, mount, cancellation).ConfigureAwait(false);
        }

        // The same stick may come back under another name of the mount, as some systems number them in the order of their coming.
        foreach (IGrouping<string, KnownContent> other in open.Except(own).GroupBy(MountOf, StringComparer.Ordinal))
        {
            if (!isMounted(other.Key) && await HoldsOneOfAsync(other, cancellation).ConfigureAwait(false))
            {
                return (other.Key, own.Count > 0);
            }
        }

        return (mount, own.Count > 0);
    }

    private Task<bool> HoldsOneOfAsync(IEnumerable<KnownContent> contents, CancellationToken cancellation) => OwnThread.RunAsync(() =>
    {
        using var copy = new CaptureCopy(root, tools.Spool, heartbeat);
        return contents.OrderBy(content => content.Size).Take(MostRead).Any(content => copy.Holds(content, cancellation));
    });

    private static string MountOf(KnownContent content) => content.Folder.Split('/')[0];
}
