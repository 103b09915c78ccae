using System.Collections.Concurrent;
using System.Diagnostics.CodeAnalysis;
using CameraBridge.Diagnostics;
using CameraBridge.Persistence;

namespace CameraBridge.Pipeline;

/// <summary>
/// A step of the flow. The loop leases work for it and calls it; the stage writes its result, removes the work and adds the next stage's work in
/// one transaction of the database.
/// </summary>
internal interface IStage
{
    Stage Stage { get; }

    /// <summary>[""], or the destinations that this instance serves.</summary>
    IReadOnlyList<string> Lanes { get; }

    /// <summary>Pieces of work leased at once.</summary>
    int Batch { get; }

    /// <summary>Batches worked on at the same time, in each lane.</summary>
    int Workers { get; }

    /// <summary>Where one lane has other than <see cref="Workers"/>.</summary>
    int WorkersOf(string lane) => Workers;

    /// <summary>The lease is renewed while <see cref="RunAsync"/> runs; this is how long the work of a process that died on another machine lies still.</summary>
    TimeSpan Lease { get; }

    /// <summary>
    /// Does the work and writes the results. What throws is tried again piece by piece, so that one poisoned piece stops no other; work that was
    /// neither completed nor postponed is given back by the loop.
    /// </summary>
    Task RunAsync(IReadOnlyList<Work> batch, CancellationToken cancellation);
}

/// <summary>The loop's waits and limits, each with its name.</summary>
internal sealed record StageLoopLimits
{
    /// <summary>Longest time between two looks at the database: what other processes add is found after this.</summary>
    public TimeSpan LookInterval { get; init; } = TimeSpan.FromSeconds(2);

    /// <summary>Pause after the state could not be read or written.</summary>
    public TimeSpan StateRetryDelay { get; init; } = TimeSpan.FromSeconds(5);

    /// <summary>First pause of a piece of work that failed by an unforeseen error; it doubles each time.</summary>
    public TimeSpan FirstFailureDelay { get; init; } = TimeSpan.FromSeconds(2);

    public TimeSpan LongestFailureDelay { get; init; } = TimeSpan.FromMinutes(5);

    /// <summary>A piece of work that failed so often by an unforeseen error is held.</summary>
    public int MostFailures { get; init; } = 5;

    /// <summary>Time given to write down what is under way when the process ends.</summary>
    public TimeSpan FarewellLimit { get; init; } = TimeSpan.FromSeconds(5);
}

/// <summary>Runs one stage: in each lane, so many workers that lease a batch, run it, and wake the next stage.</summary>
internal sealed class StageLoop(
    IStage stage,
    IPipelineDatabase database,
    WorkSignal signal,
    TimeProvider clock,
    ILogger<StageLoop> logger,
    StageLoopLimits? limits = null)
{
    private readonly StageLoopLimits _limits = limits ?? new StageLoopLimits();
    private readonly ConcurrentDictionary<long, int> _failures = new();
    private int _busy;
    private StateUnavailableException? _trouble;

    /// <summary>Whether no worker of this loop has work in its hands.</summary>
    public bool IsIdle => Volatile.Read(ref _busy) == 0;

    /// <summary>Why the state could not be read or written at the last attempt; null when it could.</summary>
    public StateUnavailableException? Trouble => Volatile.Read(ref _trouble);

    /// <summary>Runs until cancelled, and then ends without an exception. Work under way is given back before.</summary>
    public Task RunAsync(CancellationToken cancellation) =>
        Task.WhenAll(stage.Lanes.SelectMany(lane =>
            Enumerable.Range(0, stage.WorkersOf(lane)).Select(_ => Task.Run(() => WorkAsync(lane, cancellation), CancellationToken.None))));

    private async Task WorkAsync(string lane, CancellationToken cancellation)
    {
        TimeSpan pause = TimeSpan.Zero;
        while (!cancellation.IsCancellationRequested)
        {
            Task woken = signal.Next(stage.Stage);
            try
            {
                if (pause > TimeSpan.Zero)
                {
                    await Task.Delay(pause, clock, cancellation).ConfigureAwait(false);
                    pause = TimeSpan.Zero;
                }

                bool ran = await RunOnceAsync(lane, cancellation).ConfigureAwait(false);
                Volatile.Write(ref _trouble, null);
                if (!ran)
                {
                    await WaitAsync(woken, await UntilNextDueAsync(lane, cancellation).ConfigureAwait(false), cancellation).ConfigureAwait(false);
                }
            }
            catch (OperationCanceledException) when (cancellation.IsCancellationRequested)
            {
                return;
            }
            catch (StateUnavailableException unavailable)
            {
                logger.StateUnavailable(stage.Stage, unavailable.Message);
                Volatile.Write(ref _trouble, unavailable);
                pause = _limits.StateRetryDelay;
            }
        }
    }

    /// <summary>Leases one batch of the lane and runs it.</summary>
    /// <returns>False when nothing was due.</returns>
    public async Task<bool> RunOnceAsync(string lane, CancellationToken cancellation)
    {
        Interlocked.Increment(ref _busy);
        try
        {
            IReadOnlyList<Work> batch = await database.LeaseAsync(stage.Stage, lane, stage.Batch, stage.Lease, cancellation).ConfigureAwait(false);
            if (batch.Count == 0)
            {
                return false;
            }

            await RunBatchAsync(batch, cancellation).ConfigureAwait(false);
            if (stage.Stage < Stage.Releases)
            {
                signal.Raise(stage.Stage + 1);
            }

            return true;
        }
        finally
        {
            Interlocked.Decrement(ref _busy);
        }
    }

    private async Task RunBatchAsync(IReadOnlyList<Work> batch, CancellationToken cancellation)
    {
        using var renewing = CancellationTokenSource.CreateLinkedTokenSource(cancellation);
        Task renewal = RenewAsync(batch, renewing.Token);
        try
        {
            if (await TryAsync(batch, cancellation).ConfigureAwait(false) is not { } failure)
            {
                return;
            }

            IReadOnlyList<Work> unfinished = await database.RenewAsync(batch, stage.Lease, cancellation).ConfigureAwait(false);
            foreach (Work work in unfinished)
            {
                Exception? own = batch.Count == 1 ? failure : await TryAsync([work], cancellation).ConfigureAwait(false);
                if (own is not null)
                {
                    await FailAsync(work, own, cancellation).ConfigureAwait(false);
                }
            }
        }
        finally
        {
            await renewing.CancelAsync().ConfigureAwait(false);
            await renewal.ConfigureAwait(false);
            await GiveBackAsync(batch).ConfigureAwait(false);
        }
    }

    /// <returns>The unforeseen error, or null.</returns>
    [SuppressMessage(
        "Design",
        "CA1031:Do not catch general exception types",
        Justification = "The one place where an unforeseen error is met: it is logged, isolated to its piece of work, and that piece is held after some attempts.")]
    private async Task<Exception?> TryAsync(IReadOnlyList<Work> batch, CancellationToken cancellation)
    {
        try
        {
            await stage.RunAsync(batch, cancellation).ConfigureAwait(false);
            foreach (Work work in _failures.IsEmpty ? [] : batch)
            {
                _failures.TryRemove(work.Id, out _);
            }

            return null;
        }
        catch (OperationCanceledException) when (cancellation.IsCancellationRequested)
        {
            throw;
        }
        catch (StateUnavailableException)
        {
            throw;
        }
        catch (Exception unforeseen)
        {
            return unforeseen;
        }
    }

    private async Task FailAsync(Work work, Exception error, CancellationToken cancellation)
    {
        // Counted here and not by the work's attempts: those grow also while a peer is down, and after a restart a mended program starts anew.
        int failures = _failures.AddOrUpdate(work.Id, 1, (_, before) => before + 1);
        if (failures >= _limits.MostFailures)
        {
            logger.WorkHeld(stage.Stage, work.Id, work.SubjectId, failures, UnforeseenError.Describe(error));
            string words = FormattableString.Invariant(
                $"internal error in the stage {stage.Stage}: see the log entry of work {work.Id}, report it, and assign or retake by hand");
            await database.HoldAsync(work, new Reason("internal-error", words), cancellation).ConfigureAwait(false);
            _failures.TryRemove(work.Id, out _);
            return;
        }

        TimeSpan delay = _limits.FirstFailureDelay * Math.Pow(2, failures - 1);
        delay = delay < _limits.LongestFailureDelay ? delay : _limits.LongestFailureDelay;
        logger.WorkFailed(stage.Stage, work.Id, work.SubjectId, failures, delay, UnforeseenError.Describe(error));
        await database.PostponeAsync([work], clock.GetUtcNow() + delay, counts: true, cancellation).ConfigureAwait(false);
    }

    /// <summary>Keeps the leases alive while the stage works.</summary>
    private async Task RenewAsync(IReadOnlyList<Work> batch, CancellationToken cancellation)
    {
        using var timer = new PeriodicTimer(stage.Lease / 3, clock);
        while (true)
        {
            try
            {
                if (!await timer.WaitForNextTickAsync(cancellation).ConfigureAwait(false))
                {
                    return;
                }

                await database.RenewAsync(batch, stage.Lease, cancellation).ConfigureAwait(false);
            }
            catch (OperationCanceledException)
            {
                return;
            }
            catch (StateUnavailableException unavailable)
            {
                // A lease that cannot be renewed may lapse; then fencing keeps this worker's results out. Nothing is lost.
                logger.StateUnavailable(stage.Stage, unavailable.Message);
            }
        }
    }

    /// <summary>What is still leased by this worker is due again now: nothing waits for a lease to lapse because a process was told to stop.</summary>
    private async Task GiveBackAsync(IReadOnlyList<Work> batch)
    {
        using var limit = new CancellationTokenSource(_limits.FarewellLimit, clock);
        try
        {
            await database.ReleaseAsync(batch, limit.Token).ConfigureAwait(false);
        }
        catch (Exception unavailable) when (unavailable is StateUnavailableException or OperationCanceledException)
        {
            logger.StateUnavailable(stage.Stage, unavailable.Message);
        }
    }

    private async Task<TimeSpan> UntilNextDueAsync(string lane, CancellationToken cancellation)
    {
        DateTimeOffset? due = await database.NextDueAsync(stage.Stage, lane, cancellation).ConfigureAwait(false);
        TimeSpan wait = due is { } at ? at - clock.GetUtcNow() : _limits.LookInterval;
        return wait <= TimeSpan.Zero ? TimeSpan.Zero : wait < _limits.LookInterval ? wait : _limits.LookInterval;
    }

    private async Task WaitAsync(Task woken, TimeSpan most, CancellationToken cancellation)
    {
        using var over = CancellationTokenSource.CreateLinkedTokenSource(cancellation);
        await Task.WhenAny(woken, Task.Delay(most, clock, over.Token)).ConfigureAwait(false);
        await over.CancelAsync().ConfigureAwait(false);
        cancellation.ThrowIfCancellationRequested();
    }
}
