using System.Threading.Channels;
using CameraBridge.Configuration;
using CameraBridge.Persistence;

namespace CameraBridge.Pipeline.Captures;

/// <summary>One file and what came of it.</summary>
internal sealed record IntakeResult(SettlingFile File, CopyResult Copy, bool IsNew);

/// <summary>
/// Takes settled files of one source: a few threads copy and sync, so that the disk always has several files to bring down at once, while the rows of
/// those that are done are written in batches. The threads are the source's own: a share that hangs holds up no other source.
/// </summary>
internal sealed class Intake(Spool spool, IPipelineDatabase database, WorkSignal signal, TimeProvider clock)
{
    /// <summary>Files in flight. More than cores, since most of the time goes into waiting for the disk.</summary>
    private const int Threads = 6;

    /// <summary>Files asked about at once.</summary>
    private const int LookUpBatch = 500;

    /// <summary>Rows written in one transaction, at most.</summary>
    private const int RowBatch = 256;

    /// <summary>Takes the files. Each result is told after its row is written, in no special order, one at a time.</summary>
    /// <param name="source">The source.</param>
    /// <param name="root">Folder that the places are below.</param>
    /// <param name="mount">Name that goes before the folders of the captures, or "".</param>
    /// <param name="files">What has settled.</param>
    /// <param name="heartbeat">Beats as it goes on.</param>
    /// <param name="told">Called with each result.</param>
    /// <param name="cancellation">Ends it early; what has no row then is taken again later.</param>
    /// <exception cref="SpoolUnavailableException">The spool takes no more; what was copied before has its rows.</exception>
    /// <exception cref="StateUnavailableException">The rows cannot be written; those files are taken again later.</exception>
    public async Task TakeAsync(
        SourceConfiguration source,
        string root,
        string mount,
        IReadOnlyList<SettlingFile> files,
        Heartbeat heartbeat,
        Action<IntakeResult> told,
        CancellationToken cancellation)
    {
        using var stop = CancellationTokenSource.CreateLinkedTokenSource(cancellation);
        var open = Channel.CreateBounded<OpenFile>(new BoundedChannelOptions(2 * LookUpBatch) { SingleWriter = true });
        var done = Channel.CreateBounded<(SettlingFile File, CopyResult Copy)>(new BoundedChannelOptions(2 * RowBatch) { SingleReader = true });
        Task feeding = FeedAsync(source.Name, files, open.Writer, stop.Token);
        Task[] copying = [.. Enumerable.Range(0, Math.Min(Threads, files.Count))
            .Select(_ => OwnThread.RunAsync(() => Copy(root, heartbeat, open.Reader, done.Writer, stop)))];
        Task closing = CloseAsync(copying, done.Writer);
        try
        {
            await WriteRowsAsync(source, mount, done.Reader, told, cancellation).ConfigureAwait(false);
        }
        catch
        {
            await stop.CancelAsync().ConfigureAwait(false);
            throw;
        }
        finally
        {
            await Task.WhenAll([feeding, closing]).ConfigureAwait(ConfigureAwaitOptions.SuppressThrowing);
        }

        // The first failure that is no mere consequence of stopping.
        Exception? failure = copying.Append(feeding).Select(task => task.Exception?.InnerException).FirstOrDefault(error => error is not (null or OperationCanceledException));
        if (failure is not null)
        {
            System.Runtime.ExceptionServices.ExceptionDispatchInfo.Throw(failure);
        }

        cancellation.ThrowIfCancellationRequested();
    }

    private async Task FeedAsync(string source, IReadOnlyList<SettlingFile> files, ChannelWriter<OpenFile> open, CancellationToken cancellation)
    {
        try
        {
            foreach (SettlingFile[] batch in files.Chunk(LookUpBatch))
            {
                IReadOnlyList<KnownContent> known = await database.KnownContentsAsync(source, [.. batch.Select(file => file.Place)], cancellation)
                    .ConfigureAwait(false);
                ILookup<string, KnownContent> byPlace = known.ToLookup(content => content.Place, StringComparer.Ordinal);
                foreach (SettlingFile file in batch)
                {
                    await open.WriteAsync(new OpenFile(file, byPlace[file.Place]), cancellation).ConfigureAwait(false);
                }
            }
        }
        finally
        {
            open.Complete();
        }
    }

    /// <summary>The work of one thread. A spool that takes no more stops them all.</summary>
    private void Copy(
        string root,
        Heartbeat heartbeat,
        ChannelReader<OpenFile> open,
        ChannelWriter<(SettlingFile File, CopyResult Copy)> done,
        CancellationTokenSource stop)
    {
        try
        {
            using var copy = new CaptureCopy(root, spool, heartbeat);
            while (open.WaitToReadAsync(stop.Token).AsTask().GetAwaiter().GetResult())
            {
                while (!stop.IsCancellationRequested && open.TryRead(out OpenFile? next))
                {
                    CopyResult result = TakeOne(copy, next, stop.Token);
                    done.WriteAsync((next.File, result), stop.Token).AsTask().GetAwaiter().GetResult();
                }
            }
        }
        catch
        {
            // Nobody may go on feeding a queue that has lost its readers.
            stop.Cancel();
            throw;
        }
    }

    /// <summary>A file that fails in a way nobody foresaw is a failed file, and stops no other.</summary>
    private static CopyResult TakeOne(CaptureCopy copy, OpenFile next, CancellationToken cancellation)
    {
        try
        {
            return copy.Take(next.File, next.Known, cancellation);
        }
        catch (Exception error) when (error is not (SpoolUnavailableException or OperationCanceledException))
        {
            return new CopyResult(CopyOutcome.Failed, Words: $"unforeseen {error.GetType().Name}");
        }
    }

    private static async Task CloseAsync(Task[] copying, ChannelWriter<(SettlingFile File, CopyResult Copy)> done)
    {
        await Task.WhenAll(copying).ConfigureAwait(ConfigureAwaitOptions.SuppressThrowing);
        done.Complete();
    }

    private async Task WriteRowsAsync(
        SourceConfiguration source,
        string mount,
        ChannelReader<(SettlingFile File, CopyResult Copy)> done,
        Action<IntakeResult> told,
        CancellationToken cancellation)
    {
        var batch = new List<(SettlingFile File, CopyResult Copy)>(RowBatch);
        while (await done.WaitToReadAsync(cancellation).ConfigureAwait(false))
        {
            while (batch.Count < RowBatch && done.TryRead(out (SettlingFile File, CopyResult Copy) next))
            {
                batch.Add(next);
            }

            await WriteRowsAsync(source, mount, batch, told, cancellation).ConfigureAwait(false);
            batch.Clear();
        }
    }

    private async Task WriteRowsAsync(
        SourceConfiguration source,
        string mount,
        List<(SettlingFile File, CopyResult Copy)> batch,
        Action<IntakeResult> told,
        CancellationToken cancellation)
    {
        DateTimeOffset now = clock.GetUtcNow();
        List<(SettlingFile File, CopyResult Copy)> copied = [.. batch.Where(item => item.Copy.Outcome == CopyOutcome.Copied)];
        IReadOnlyList<long> ids = [];
        if (copied.Count > 0)
        {
            spool.SyncFolders(copied.Select(item => item.Copy.SpoolName!));
            ids = await database.AddCapturesAsync([.. copied.Select(item => CaptureOf(source.Name, mount, item, now))], source.QuietTime, cancellation)
                .ConfigureAwait(false);
            signal.Raise(Stage.Cues);
        }

        if (source.Kind == SourceKind.Share)
        {
            KnownFile[] seen = [.. batch.Where(item => item.Copy.Outcome == CopyOutcome.Known)
                .Select(item => new KnownFile(item.File.Place, item.Copy.Stat.Size, DateTimeOffset.FromUnixTimeMilliseconds(item.Copy.Stat.ModifiedMs)))];
            if (seen.Length > 0)
            {
                await database.NoteSeenAsync(source.Name, seen, cancellation).ConfigureAwait(false);
            }
        }

        for (int index = 0; index < copied.Count; index++)
        {
            told(new IntakeResult(copied[index].File, copied[index].Copy, IsNew: ids[index] != 0));
        }

        foreach ((SettlingFile file, CopyResult copy) in batch.Where(item => item.Copy.Outcome != CopyOutcome.Copied))
        {
            told(new IntakeResult(file, copy, IsNew: false));
        }
    }

    private static Capture CaptureOf(string source, string mount, (SettlingFile File, CopyResult Copy) item, DateTimeOffset now) => new()
    {
        Source = source,
        Place = item.File.Place,
        Folder = Places.Join(mount, Places.FolderOf(item.File.Place)),
        Size = item.Copy.Stat.Size,
        ModifiedAt = DateTimeOffset.FromUnixTimeMilliseconds(item.Copy.Stat.ModifiedMs),
        Sha256 = item.Copy.Sha256!,
        SpoolName = item.Copy.SpoolName!,
        SettledAt = now,
        State = CaptureState.Taken,
    };

    private sealed record OpenFile(SettlingFile File, IEnumerable<KnownContent> Known);
}
