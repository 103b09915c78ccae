using CameraBridge.Configuration;
using CameraBridge.Diagnostics;
using CameraBridge.Persistence;

namespace CameraBridge.Pipeline.Captures;

/// <summary>
/// Where the flow begins: watches the sources and takes what settles there into the spool. Each source runs by itself: one that fails, hangs or is
/// pulled out stops no other. Sources are only read.
/// </summary>
internal sealed class CaptureSources : IDisposable
{
    /// <summary>A source that has not answered for so long is reported; nothing can be done about it but to wait.</summary>
    private static readonly TimeSpan HangLimit = TimeSpan.FromMinutes(1);

    /// <summary>Time given to what is under way when the program ends; then it is left, and taken again by the next start.</summary>
    private static readonly TimeSpan FarewellLimit = TimeSpan.FromSeconds(5);

    private static readonly TimeSpan FirstFailureDelay = TimeSpan.FromSeconds(5), LongestFailureDelay = TimeSpan.FromMinutes(5);

    private readonly Spool _spool;
    private readonly CaptureTools _tools;
    private readonly TimeProvider _clock;
    private readonly ILogger _logger;
    private readonly IReadOnlyList<SourceWatch> _watches;

    public CaptureSources(SiteConfiguration site, IPipelineDatabase database, WorkSignal signal, TimeProvider clock, ILoggerFactory loggers)
    {
        if (!OperatingSystem.IsLinux())
        {
            throw new PlatformNotSupportedException("Captures are taken on Linux only; run CameraBridge there, or in its container.");
        }

        _clock = clock;
        _logger = loggers.CreateLogger<CaptureSources>();
        _spool = new Spool(site.SpoolFolder, site.Retention.SpoolFloor);
        _tools = new CaptureTools(_spool, new SpoolPause(clock, _logger), new Intake(_spool, database, signal, clock), database, clock, _logger);
        _watches = [.. site.Sources.Select(source => new SourceWatch(source, _tools))];
    }

    /// <summary>How the watched sources stand.</summary>
    public IReadOnlyList<SourceStatus> Status => [.. _watches.SelectMany(watch => watch.Status)];

    /// <summary>
    /// To be called before the flow begins: a program that was killed may have taken half a folder long ago, and the rest is to be found before that half counts as all
    /// that there is.
    /// </summary>
    public async Task BeginAsync(CancellationToken cancellation)
    {
        try
        {
            foreach (SourceWatch watch in _watches)
            {
                await _tools.Database.PostponeClosingAsync(watch.Source.Name, null, SourceHold.FirstLookLimit, cancellation).ConfigureAwait(false);
            }
        }
        catch (StateUnavailableException)
        {
            // The loops meet it too, and tell of it.
        }
    }

    /// <summary>Watches every source until cancelled.</summary>
    public async Task RunAsync(CancellationToken cancellation)
    {
        try
        {
            _spool.Open();
        }
        catch (SpoolUnavailableException refusal)
        {
            _tools.Pause.Refused(refusal);
        }

        Task all = Task.WhenAll(_watches.Select(watch => Task.Run(() => RunAsync(watch, cancellation), CancellationToken.None)));
        try
        {
            _ = await OrLeftAsync(AsResultAsync(all), cancellation).ConfigureAwait(false);
        }
        catch (OperationCanceledException)
        {
            // The way it ends.
        }
    }

    /// <summary>
    /// Takes everything that can be read from a source, in one complete pass, and has its sittings closed. Need not be one of the watched sources. What is
    /// still being written is waited for, up to the source's longest settle time.
    /// </summary>
    /// <exception cref="StateUnavailableException">The state cannot be read or written.</exception>
    public async Task<SourceSummary> TakeAllAsync(SourceConfiguration source, CancellationToken cancellation, IProgress<SourceStatus>? progress = null)
    {
        using var watch = new SourceWatch(source, _tools, progress);
        using var over = CancellationTokenSource.CreateLinkedTokenSource(cancellation);
        Task keeping = watch.KeepOpenAsync(() => true, HangLimit, over.Token);
        string? trouble;
        try
        {
            trouble = await TakeAllAsync(watch, cancellation).ConfigureAwait(false);
        }
        finally
        {
            await over.CancelAsync().ConfigureAwait(false);
            await keeping.ConfigureAwait(ConfigureAwaitOptions.SuppressThrowing);
        }

        if (trouble is null)
        {
            await _tools.Database.CloseSoonAsync(source.Name, null, cancellation).ConfigureAwait(false);
        }

        return new SourceSummary
        {
            Source = source.Name,
            Taken = watch.Status.Sum(status => status.Taken),
            Known = watch.Status.Sum(status => status.Known - status.Taken),
            Skipped = SkippedFiles.Merge(watch.Status.SelectMany(status => status.Skipped)),
            Whole = trouble is null,
            Trouble = trouble,
        };
    }

    /// <returns>Why not everything could be taken, or null.</returns>
    private async Task<string?> TakeAllAsync(SourceWatch watch, CancellationToken cancellation)
    {
        SourceConfiguration source = watch.Source;
        bool wasPresent = false;
        while (true)
        {
            try
            {
                DateTimeOffset next = await OrLeftAsync(watch.LookAsync(once: true, cancellation), cancellation).ConfigureAwait(false);
                if (!watch.IsPresent)
                {
                    return wasPresent
                        ? $"Source {source.Name} went before everything was taken; put it back and take it again."
                        : $"The folder {source.Folder} of source {source.Name} is not there; mount it, or correct the path.";
                }

                wasPresent = true;
                if (watch.IsDone)
                {
                    return null;
                }

                await watch.WaitAsync(next, cancellation).ConfigureAwait(false);
            }
            catch (SpoolUnavailableException refusal)
            {
                return refusal.Message;
            }
        }
    }

    public void Dispose()
    {
        foreach (SourceWatch watch in _watches)
        {
            watch.Dispose();
        }

        _spool.Dispose();
    }

    private async Task RunAsync(SourceWatch watch, CancellationToken cancellation)
    {
        using var hold = new SourceHold(watch, _tools);
        Task keeping = Task.WhenAll(hold.KeepAsync(HangLimit, cancellation), watch.KeepOpenAsync(() => hold.IsHeld, HangLimit, cancellation));
        try
        {
            await RunAsync(watch, hold, cancellation).ConfigureAwait(false);
        }
        finally
        {
            await keeping.ConfigureAwait(ConfigureAwaitOptions.SuppressThrowing);
            using var limit = new CancellationTokenSource(FarewellLimit, _clock);
            await ((Task)hold.LeaveAsync(limit.Token)).ConfigureAwait(ConfigureAwaitOptions.SuppressThrowing);
        }
    }

    private async Task RunAsync(SourceWatch watch, SourceHold hold, CancellationToken cancellation)
    {
        TimeSpan delay = TimeSpan.Zero;
        while (!cancellation.IsCancellationRequested)
        {
            try
            {
                await LookWhileHeldAsync(watch, hold, cancellation).ConfigureAwait(false);
                delay = TimeSpan.Zero;
                continue;
            }
            catch (Exception lost) when (lost is SourceLostException || (lost is OperationCanceledException && hold.Lost.IsCancellationRequested && !cancellation.IsCancellationRequested))
            {
                await hold.LoseAsync().ConfigureAwait(false);
                watch.Forget();
                continue;
            }
            catch (StateUnavailableException failure)
            {
                delay = Longer(delay);
                _logger.StateUnavailable(watch.Source.Name, failure.Message, _clock.GetUtcNow() + delay);
            }
            catch (Exception error) when (error is not OperationCanceledException)
            {
                delay = Longer(delay);
                _logger.Unforeseen(watch.Source.Name, _clock.GetUtcNow() + delay, UnforeseenError.Describe(error));
            }

            await Task.Delay(delay, _clock, cancellation).ConfigureAwait(false);
        }
    }

    /// <summary>One look at a source that is this worker's, and the wait for the next.</summary>
    private async Task LookWhileHeldAsync(SourceWatch watch, SourceHold hold, CancellationToken cancellation)
    {
        if (!hold.IsHeld)
        {
            bool isThere = await WithinLimitsAsync(watch, watch.IsThereAsync()).ConfigureAwait(false);
            if (!isThere || !await hold.TakeAsync(cancellation).ConfigureAwait(false))
            {
                TimeSpan pause = isThere && watch.Source.RescanInterval > SourceHold.RetryInterval ? SourceHold.RetryInterval : watch.Source.RescanInterval;
                await Task.Delay(pause, _clock, cancellation).ConfigureAwait(false);
                return;
            }
        }

        using var looking = CancellationTokenSource.CreateLinkedTokenSource(cancellation, hold.Lost);
        DateTimeOffset next = await WithinLimitsAsync(watch, watch.LookAsync(once: false, looking.Token)).ConfigureAwait(false);
        if (!watch.IsPresent)
        {
            await hold.LeaveAsync(cancellation).ConfigureAwait(false);
        }
        else
        {
            await hold.LookedAsync(cancellation).ConfigureAwait(false);
        }

        await watch.WaitAsync(next, looking.Token).ConfigureAwait(false);
    }

    /// <summary>One look, during which a source that does not answer is reported once. The look ends itself when cancelled, unless it hangs.</summary>
    private async Task<T> WithinLimitsAsync<T>(SourceWatch watch, Task<T> look)
    {
        bool said = false;
        while (true)
        {
            try
            {
                return await look.WaitAsync(HangLimit, _clock, CancellationToken.None).ConfigureAwait(false);
            }
            catch (TimeoutException) when (!look.IsCompleted)
            {
                if (!said && _clock.GetUtcNow() - watch.LastAnswerAt >= HangLimit)
                {
                    _logger.SourceHangs(watch.Source.Name, watch.LastAnswerAt);
                    said = true;
                }
            }
        }
    }

    /// <summary>
    /// Waits for work that ends itself when cancelled, yet not for ever: a thread that hangs in a dead share cannot be ended. It may be left, since nothing
    /// counts before its row is written.
    /// </summary>
    private async Task<T> OrLeftAsync<T>(Task<T> work, CancellationToken cancellation)
    {
        try
        {
            return await work.WaitAsync(cancellation).ConfigureAwait(false);
        }
        catch (OperationCanceledException) when (!work.IsCompleted)
        {
            await ((Task)work).WaitAsync(FarewellLimit, _clock, CancellationToken.None).ConfigureAwait(ConfigureAwaitOptions.SuppressThrowing);
            throw;
        }
    }

    private static async Task<bool> AsResultAsync(Task work)
    {
        await work.ConfigureAwait(false);
        return true;
    }

    private static TimeSpan Longer(TimeSpan delay) =>
        delay == TimeSpan.Zero ? FirstFailureDelay : delay * 2 < LongestFailureDelay ? delay * 2 : LongestFailureDelay;
}
