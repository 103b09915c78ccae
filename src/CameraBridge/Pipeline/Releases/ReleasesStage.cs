using CameraBridge.Configuration;
using CameraBridge.Persistence;
using CameraBridge.Pipeline.Captures;

namespace CameraBridge.Pipeline.Releases;

/// <summary>
/// Does to a source what its policy says, once every destination of the route keeps the picture: nothing, a list for people, or removal. Only what was read is
/// touched: the content is compared again just before, and what happens is in the journal before and after. A source that is away is waited for.
/// </summary>
/// <param name="site">Sources and their policies.</param>
/// <param name="database">The state.</param>
/// <param name="clock">Source of waiting times.</param>
/// <param name="logger">Log.</param>
internal sealed class ReleasesStage(SiteConfiguration site, IPipelineDatabase database, TimeProvider clock, ILogger<ReleasesStage> logger) : IStage
{
    /// <summary>Longest time between two looks for a source that is away, or cannot be written; the first come sooner, and its coming wakes this stage.</summary>
    public static readonly TimeSpan AwayLookInterval = TimeSpan.FromHours(1);

    /// <summary>What is in the way of a release by the state's own word is looked at again after this; usually the word comes by itself before.</summary>
    private static readonly TimeSpan OpenLookInterval = TimeSpan.FromMinutes(10);

    public Stage Stage => Stage.Releases;

    public IReadOnlyList<string> Lanes { get; } = [.. site.Sources.Select(source => source.Name).Append(SourceConfiguration.UnconfiguredName).Distinct(StringComparer.Ordinal)];

    public int Batch => 100;

    public int Workers => 1;

    public TimeSpan Lease { get; } = TimeSpan.FromMinutes(5);

    public async Task RunAsync(IReadOnlyList<Work> batch, CancellationToken cancellation)
    {
        IReadOnlyList<ReleaseTask> tasks = await database.GetReleasesAsync(batch, cancellation).ConfigureAwait(false);
        SourceConfiguration source = site.FindSource(batch[0].Lane) ?? new SourceConfiguration { Name = batch[0].Lane, Folder = "" };
        List<ReleaseResult> results = [];
        List<ReleaseTask> due = [];
        DateTimeOffset now = clock.GetUtcNow();
        foreach (ReleaseTask task in tasks)
        {
            if (source.Release == ReleasePolicy.Leave)
            {
                results.Add(new ReleaseResult(task.Work, ReleaseState.Left, null));
            }
            else if (task.KeptAt is not { } keptAt)
            {
                results.Add(new ReleaseResult(task.Work, ReleaseState.Waiting, null, now + OpenLookInterval));
            }
            else if (keptAt + source.ReleaseAfter > now)
            {
                results.Add(new ReleaseResult(task.Work, ReleaseState.Waiting, null, keptAt + source.ReleaseAfter));
            }
            else
            {
                due.Add(task);
            }
        }

        if (due.Count > 0)
        {
            await ReleaseAsync(source, due, results, cancellation).ConfigureAwait(false);
        }

        await database.CompleteReleasesAsync(results, cancellation).ConfigureAwait(false);
        Tell(source, results);
    }

    private async Task ReleaseAsync(SourceConfiguration source, List<ReleaseTask> due, List<ReleaseResult> results, CancellationToken cancellation)
    {
        IReadOnlyList<SourceTree> trees = SourceTree.Open(source);
        try
        {
            DateTimeOffset later = clock.GetUtcNow() + TimeSpan.FromTicks(Math.Min(AwayLookInterval.Ticks, TimeSpan.TicksPerMinute * (1L << Math.Min(due.Min(task => task.Work.Attempts), 6))));
            List<(ReleaseTask Task, SourceTree Tree)> here = [];
            foreach (ReleaseTask task in due)
            {
                (SourceTree? tree, Found found) = Find(source, trees, task.Capture, cancellation);
                switch (found)
                {
                    case Found.Same:
                        here.Add((task, tree!));
                        break;
                    case Found.Different:
                        results.Add(new ReleaseResult(task.Work, ReleaseState.Different, "Something else lies at its place, and is left."));
                        break;
                    case Found.Nothing when task.BegunIn is { } begunIn && trees.Any(tree => tree.Id == begunIn || !IsEmpty(tree)):
                        // The program ended between the removal and its result. An empty tree that is another one is the mount point of a stick that is away.
                        results.Add(new ReleaseResult(task.Work, ReleaseState.Gone, "Its removal had begun, and it is not there any more."));
                        break;
                    case Found.Nothing when source.Kind == SourceKind.Share && trees.Count > 0 && !IsEmptied(trees):
                        results.Add(new ReleaseResult(task.Work, ReleaseState.Gone, "It was not there any more."));
                        break;
                    default:
                        // The stick is away, or another one hangs there: it may come back.
                        results.Add(new ReleaseResult(task.Work, ReleaseState.Waiting, null, later));
                        break;
                }
            }

            if (source.Release == ReleasePolicy.Mark)
            {
                Mark(source, here, results, later);
            }
            else
            {
                await RemoveAsync(source, here, results, later, cancellation).ConfigureAwait(false);
            }
        }
        finally
        {
            foreach (SourceTree tree in trees)
            {
                tree.Dispose();
            }
        }
    }

    /// <summary>A share whose folder is empty is most likely not mounted: nothing is concluded from that.</summary>
    private static bool IsEmptied(IReadOnlyList<SourceTree> trees) => trees.All(IsEmpty);

    private static bool IsEmpty(SourceTree tree) => !Directory.EnumerateFileSystemEntries(Places.ToText(tree.RootPlace)).Any();

    /// <summary>The tree that holds the capture's very content; else whatever speaks most for its having been there.</summary>
    private static (SourceTree? Tree, Found Found) Find(SourceConfiguration source, IReadOnlyList<SourceTree> trees, Capture capture, CancellationToken cancellation)
    {
        Found best = Found.Nothing;
        foreach (SourceTree tree in trees)
        {
            Found found = tree.Look(capture, cancellation);
            if (found == Found.Same)
            {
                return (tree, found);
            }

            best = found == Found.Unreadable || best == Found.Unreadable ? Found.Unreadable : found == Found.Different ? found : best;
        }

        // Cameras number alike: another stick's file of the same name says nothing about this one, which may come back.
        return (null, best == Found.Different && (source.Kind == SourceKind.Stick || trees.Count > 1) ? Found.Nothing : best);
    }

    private async Task RemoveAsync(
        SourceConfiguration source, List<(ReleaseTask Task, SourceTree Tree)> here, List<ReleaseResult> results, DateTimeOffset later, CancellationToken cancellation)
    {
        IReadOnlyList<Work> begun = await database.BeginReleasesAsync([.. here.Select(one => (one.Task.Work, one.Tree.Id))], cancellation).ConfigureAwait(false);
        HashSet<long> may = [.. begun.Select(work => work.Id)];
        HashSet<(SourceTree Tree, string Folder)> emptied = [];
        foreach ((ReleaseTask task, SourceTree tree) in here.Where(one => may.Contains(one.Task.Work.Id)))
        {
            switch (tree.Remove(task.Capture, cancellation))
            {
                case 0:
                    emptied.Add((tree, Places.FolderOf(task.Capture.Place)));
                    results.Add(new ReleaseResult(task.Work, ReleaseState.Removed, null));
                    break;
                case SystemCalls.NotFound:
                    results.Add(new ReleaseResult(task.Work, ReleaseState.Gone, "It was not there any more."));
                    break;
                case < 0:
                    results.Add(new ReleaseResult(task.Work, ReleaseState.Different, "Something else lies at its place, and is left."));
                    break;
                case var error:
                    logger.CannotWrite(source.Name, SystemCalls.Words(error), later);
                    results.Add(new ReleaseResult(task.Work, ReleaseState.Waiting, null, later));
                    break;
            }
        }

        foreach ((SourceTree tree, string folder) in emptied)
        {
            tree.RemoveEmptyFolders(folder);
        }
    }

    private void Mark(SourceConfiguration source, List<(ReleaseTask Task, SourceTree Tree)> here, List<ReleaseResult> results, DateTimeOffset later)
    {
        DateTimeOffset now = TimeZoneInfo.ConvertTime(clock.GetUtcNow(), source.TimeZone ?? site.TimeZone);
        foreach (IGrouping<(SourceTree Tree, string Folder), (ReleaseTask Task, SourceTree Tree)> folder in here.GroupBy(one => (one.Tree, Places.FolderOf(one.Task.Capture.Place))))
        {
            try
            {
                folder.Key.Tree.WithFolder(
                    folder.Key.Folder, path => KeptList.Add(path, folder.Select(one => one.Task.Capture.Place[(one.Task.Capture.Place.LastIndexOf('/') + 1)..]), now));
                results.AddRange(folder.Select(one => new ReleaseResult(one.Task.Work, ReleaseState.Marked, null)));
            }
            catch (Exception unwritable) when (unwritable is IOException or UnauthorizedAccessException)
            {
                // The message of the system may name the folder, which may bear a patient's name.
                logger.CannotWrite(source.Name, unwritable is UnauthorizedAccessException ? "it may not be written by the service's user" : "it is full, read-only or gone", later);
                results.AddRange(folder.Select(one => new ReleaseResult(one.Task.Work, ReleaseState.Waiting, null, later)));
            }
        }
    }

    private void Tell(SourceConfiguration source, List<ReleaseResult> results)
    {
        int Count(ReleaseState state) => results.Count(result => result.State == state);
        if (Count(ReleaseState.Removed) is > 0 and var removed)
        {
            logger.Removed(source.Name, removed);
        }

        if (Count(ReleaseState.Different) is > 0 and var different)
        {
            logger.Different(source.Name, different);
        }

        if (Count(ReleaseState.Marked) is > 0 and var marked)
        {
            logger.Marked(source.Name, marked);
        }
    }
}
