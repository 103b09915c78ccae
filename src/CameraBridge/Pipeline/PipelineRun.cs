using CameraBridge.Persistence;

namespace CameraBridge.Pipeline;

/// <summary>Runs all stages together, with the intake of captures beside them: for ever, or until nothing is left to do.</summary>
/// <param name="stages">See <see cref="Stages.Build"/>; disposed of with the run.</param>
/// <param name="database">The state; stays open.</param>
/// <param name="signal">Shared with the intake.</param>
/// <param name="clock">Source of all waits.</param>
/// <param name="loggers">Log.</param>
/// <param name="limits">The loops' waits and limits.</param>
internal sealed class PipelineRun(
    IReadOnlyList<IStage> stages,
    IPipelineDatabase database,
    WorkSignal signal,
    TimeProvider clock,
    ILoggerFactory loggers,
    StageLoopLimits? limits = null) : IAsyncDisposable
{
    /// <summary>Time between two looks whether all is done.</summary>
    private static readonly TimeSpan QuietLookInterval = TimeSpan.FromMilliseconds(200);

    /// <summary>How long a run until quiet goes on trying what can only be tried again later (a peer that is down), counted from the last progress.</summary>
    public static readonly TimeSpan DefaultPatience = TimeSpan.FromSeconds(30);

    private readonly IReadOnlyList<StageLoop> _loops =
        [.. stages.Select(stage => new StageLoop(stage, database, signal, clock, loggers.CreateLogger<StageLoop>(), limits))];

    /// <summary>Runs until cancelled.</summary>
    /// <param name="intake">Watches the sources; runs beside the stages, and is to end when cancelled.</param>
    /// <param name="cancellation">Ends the run; what is under way is given back first.</param>
    public async Task RunAsync(Func<CancellationToken, Task> intake, CancellationToken cancellation)
    {
        using var stop = CancellationTokenSource.CreateLinkedTokenSource(cancellation);
        await Task.WhenAll([StopOthersOnFailureAsync(intake(stop.Token), stop), .. _loops.Select(loop => StopOthersOnFailureAsync(loop.RunAsync(stop.Token), stop))])
            .ConfigureAwait(false);
    }

    /// <summary>Runs the intake to its end, and the stages until nothing is left that they can do.</summary>
    /// <param name="intake">
    /// Takes everything there is, and says whether it could. Then its sittings are closed, and waited for; else they stay open for the rest to join them.
    /// </param>
    /// <param name="source">Only work of this source is waited for; null: all work.</param>
    /// <param name="patience">See <see cref="DefaultPatience"/>.</param>
    /// <param name="cancellation">Ends the run early.</param>
    /// <param name="progress">Told the open work at each look.</param>
    /// <returns>The work that is left: it waits for a peer, or belongs to a destination that is no longer configured. Empty when all is done.</returns>
    /// <exception cref="StateUnavailableException">The state could not be read, or not be written for as long as the patience lasts.</exception>
    public async Task<IReadOnlyList<OpenWork>> RunUntilQuietAsync(
        Func<CancellationToken, Task<bool>> intake,
        string? source,
        TimeSpan patience,
        CancellationToken cancellation,
        IProgress<IReadOnlyList<OpenWork>>? progress = null)
    {
        using var stop = CancellationTokenSource.CreateLinkedTokenSource(cancellation);
        Task[] running = [.. _loops.Select(loop => loop.RunAsync(stop.Token))];
        try
        {
            bool whole = await intake(cancellation).ConfigureAwait(false);
            signal.Raise(Stage.Sittings);
            return await WaitUntilQuietAsync(running, whole, source, patience, cancellation, progress).ConfigureAwait(false);
        }
        finally
        {
            await stop.CancelAsync().ConfigureAwait(false);
            await Task.WhenAll(running).ConfigureAwait(ConfigureAwaitOptions.SuppressThrowing);
        }
    }

    public async ValueTask DisposeAsync()
    {
        foreach (IAsyncDisposable disposable in stages.OfType<IAsyncDisposable>())
        {
            await disposable.DisposeAsync().ConfigureAwait(false);
        }
    }

    /// <summary>What fails ends the run with its error: the others must not go on as if nothing were.</summary>
    private static async Task StopOthersOnFailureAsync(Task part, CancellationTokenSource stop)
    {
        try
        {
            await part.ConfigureAwait(false);
        }
        catch (OperationCanceledException) when (stop.IsCancellationRequested)
        {
            // The end that was asked for.
        }
        finally
        {
            if (part.IsFaulted)
            {
                await stop.CancelAsync().ConfigureAwait(false);
            }
        }
    }

    private async Task<IReadOnlyList<OpenWork>> WaitUntilQuietAsync(
        Task[] running, bool whole, string? source, TimeSpan patience, CancellationToken cancellation, IProgress<IReadOnlyList<OpenWork>>? progress)
    {
        HashSet<(Stage, string)> served = [.. stages.SelectMany(stage => stage.Lanes.Select(lane => (stage.Stage, lane)))];
        int left = int.MaxValue;
        long progressAt = clock.GetTimestamp();
        while (true)
        {
            // All idle is asked before the database: work added after the answer is seen as open.
            bool idle = _loops.All(loop => loop.IsIdle);
            IReadOnlyList<OpenWork> open = await database.GetOpenWorkAsync(source, cancellation).ConfigureAwait(false);
            progress?.Report(open);
            OpenWork[] doable = [.. open.Where(work => !work.IsElsewhere && served.Contains((work.Stage, work.Lane)))];
            int count = doable.Sum(work => work.Due + work.Leased + (MayStayOpen(work) ? 0 : work.Later));
            if (idle && count == 0)
            {
                return open;
            }

            if (count < left)
            {
                progressAt = clock.GetTimestamp();
                left = count;
            }

            // What is due and cannot be done, since the state takes no result, would be waited for for ever.
            bool impatient = clock.GetElapsedTime(progressAt) >= patience;
            if (idle && impatient && _loops.Select(loop => loop.Trouble).FirstOrDefault(trouble => trouble is not null) is { } trouble)
            {
                throw new StateUnavailableException(trouble.Message, trouble);
            }

            bool onlyLater = idle && doable.All(work => work.Due + work.Leased == 0 && (work.Stage != Stage.Sittings || MayStayOpen(work)));
            if (onlyLater && impatient)
            {
                return open;
            }

            if (running.FirstOrDefault(loop => loop.IsFaulted) is { } failed)
            {
                await failed.ConfigureAwait(false);
            }

            await Task.Delay(QuietLookInterval, clock, cancellation).ConfigureAwait(false);
        }

        bool MayStayOpen(OpenWork work) => !whole && work.Stage == Stage.Sittings;
    }
}
