using CameraBridge.Persistence;

namespace CameraBridge.Pipeline.Captures;

/// <summary>
/// A worker's hold on a source that others watch too: taken when there is something to scan, renewed while it is, and given back when the source is gone. One that
/// does not answer here is let go, since another worker may reach it.
/// </summary>
internal sealed class SourceHold(SourceWatch watch, CaptureTools tools) : IDisposable
{
    /// <summary>How long a source lies still whose worker was killed on another machine.</summary>
    public static readonly TimeSpan Lease = TimeSpan.FromSeconds(60);

    /// <summary>Time between two attempts at a source that is another's.</summary>
    public static readonly TimeSpan RetryInterval = TimeSpan.FromSeconds(5);

    /// <summary>So long the closing of sittings that were open before waits for the first look at their source, should that not come to its end.</summary>
    public static readonly TimeSpan FirstLookLimit = TimeSpan.FromMinutes(1);

    private static readonly TimeSpan RenewInterval = Lease / 3;

    private CancellationTokenSource? _held;
    private string? _saidHolder;
    private bool _isToResume;

    /// <summary>Whether the source is this worker's to scan.</summary>
    public bool IsHeld => Volatile.Read(ref _held) is { IsCancellationRequested: false };

    /// <summary>Cancelled when the hold that there is now is lost.</summary>
    public CancellationToken Lost => Volatile.Read(ref _held)?.Token ?? CancellationToken.None;

    /// <returns>Whether the source is held now.</returns>
    /// <exception cref="StateUnavailableException">The state cannot be read or written.</exception>
    public async Task<bool> TakeAsync(CancellationToken cancellation)
    {
        if (await tools.Database.HoldSourceAsync(watch.Source.Name, Lease, cancellation).ConfigureAwait(false) is { } holder)
        {
            if (holder != _saidHolder)
            {
                tools.Logger.SourceElsewhere(watch.Source.Name, holder);
                _saidHolder = holder;
            }

            return false;
        }

        if (_saidHolder is not null)
        {
            tools.Logger.SourceTaken(watch.Source.Name);
            _saidHolder = null;
        }

        Interlocked.Exchange(ref _held, new CancellationTokenSource())?.Dispose();
        _isToResume = true;
        await tools.Database.PostponeClosingAsync(watch.Source.Name, null, FirstLookLimit, cancellation).ConfigureAwait(false);
        return true;
    }

    /// <summary>A look is over. By the first one that left nothing waiting it is known what belongs to the sittings that were open before.</summary>
    /// <exception cref="StateUnavailableException">The state cannot be written; it is tried after the next look.</exception>
    public async Task LookedAsync(CancellationToken cancellation)
    {
        if (_isToResume && watch.IsDone)
        {
            await tools.Database.ResumeClosingAsync(watch.Source.Name, cancellation).ConfigureAwait(false);
            _isToResume = false;
        }
    }

    /// <summary>Keeps the hold until cancelled.</summary>
    /// <param name="silence">Longest silence of the source after which it is kept.</param>
    /// <param name="cancellation">Ends it.</param>
    public async Task KeepAsync(TimeSpan silence, CancellationToken cancellation)
    {
        using var timer = new PeriodicTimer(RenewInterval, tools.Clock);
        while (await timer.WaitForNextTickAsync(cancellation).ConfigureAwait(false))
        {
            if (!IsHeld || tools.Clock.GetUtcNow() - watch.LastAnswerAt >= silence + watch.Source.RescanInterval)
            {
                continue;
            }

            try
            {
                if (await tools.Database.HoldSourceAsync(watch.Source.Name, Lease, cancellation).ConfigureAwait(false) is not null)
                {
                    await LoseAsync().ConfigureAwait(false);
                }
            }
            catch (StateUnavailableException unavailable)
            {
                // While the state is away nobody takes the source over; whoever does so after finds this worker refused.
                tools.Logger.StateUnavailable(watch.Source.Name, unavailable.Message, tools.Clock.GetUtcNow() + RenewInterval);
            }
        }
    }

    /// <summary>The source is another worker's by now.</summary>
    public async Task LoseAsync()
    {
        if (Volatile.Read(ref _held) is { IsCancellationRequested: false } held)
        {
            tools.Logger.SourceLost(watch.Source.Name);
            await held.CancelAsync().ConfigureAwait(false);
        }
    }

    /// <summary>Gives the source back.</summary>
    /// <exception cref="StateUnavailableException">The state cannot be written; then the hold lapses.</exception>
    public async Task LeaveAsync(CancellationToken cancellation)
    {
        if (Interlocked.Exchange(ref _held, null) is { } held)
        {
            held.Dispose();
            await tools.Database.LeaveSourceAsync(watch.Source.Name, cancellation).ConfigureAwait(false);
        }
    }

    public void Dispose() => _held?.Dispose();
}
