using CameraBridge.Persistence;

namespace CameraBridge.Pipeline;

/// <summary>
/// Finds out that the clock of this machine was set back, while the service runs or before it was started. Waits in the state are brought forward then
/// (<see cref="IPipelineDatabase.KeepTimeAsync"/>); those in memory are for who waits here to begin anew.
/// </summary>
/// <param name="database">The state.</param>
/// <param name="clock">The clock, and the time that nobody sets.</param>
/// <param name="logger">Log.</param>
internal sealed class ClockWatch(IPipelineDatabase database, TimeProvider clock, ILogger<ClockWatch> logger)
{
    /// <summary>Between two looks.</summary>
    public static readonly TimeSpan LookInterval = TimeSpan.FromSeconds(5);

    /// <summary>Steps up to this are left to themselves.</summary>
    public static readonly TimeSpan Tolerance = TimeSpan.FromSeconds(10);

    /// <summary>Tells of a clock that was set back since the state was last written.</summary>
    public async Task BeginAsync(CancellationToken cancellation) => Tell(await KeepTimeAsync(cancellation).ConfigureAwait(false));

    /// <summary>Ends when the clock has been set back, or is cancelled.</summary>
    public async Task UntilSetBackAsync(CancellationToken cancellation)
    {
        using var timer = new PeriodicTimer(LookInterval, clock);
        (DateTimeOffset now, long mark) = (clock.GetUtcNow(), clock.GetTimestamp());
        TimeSpan setBack = TimeSpan.Zero;
        try
        {
            while (setBack <= Tolerance && await timer.WaitForNextTickAsync(cancellation).ConfigureAwait(false))
            {
                DateTimeOffset expected = now + clock.GetElapsedTime(mark);
                (now, mark) = (clock.GetUtcNow(), clock.GetTimestamp());
                setBack = expected - now;
                TimeSpan ofState = await KeepTimeAsync(cancellation).ConfigureAwait(false);
                setBack = ofState > setBack ? ofState : setBack;
            }

            Tell(setBack);
        }
        catch (OperationCanceledException) when (cancellation.IsCancellationRequested)
        {
            // The end that was asked for.
        }
    }

    private async Task<TimeSpan> KeepTimeAsync(CancellationToken cancellation)
    {
        try
        {
            return await database.KeepTimeAsync(cancellation).ConfigureAwait(false);
        }
        catch (StateUnavailableException)
        {
            // The stages tell of it; with its next write the state finds out by itself.
            return TimeSpan.Zero;
        }
    }

    private void Tell(TimeSpan setBack)
    {
        if (setBack > Tolerance)
        {
            logger.ClockSetBack(setBack);
        }
    }
}
