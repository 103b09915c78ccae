namespace CameraBridge.Pipeline.Deliveries;

/// <summary>
/// Knows whether a destination is worth trying. When it cannot be reached, or fails several times in a row, the whole lane pauses, so that one dead
/// archive costs one attempt and not one for each of thousands of waiting objects. A single object that fails pauses only itself.
/// </summary>
internal sealed class DestinationCircuit(RetryDelays delays, TimeProvider clock)
{
    /// <summary>So many objects failing one after the other are the destination's fault and no longer theirs.</summary>
    public const int MostFailuresInRow = 3;

    private readonly Lock _gate = new();
    private int _failuresInRow;
    private int _outages;
    private DateTimeOffset _failedAt = DateTimeOffset.MinValue;
    private DateTimeOffset _pausedUntil = DateTimeOffset.MinValue;

    /// <summary>
    /// The end of the pause, or null when the destination may be tried. A person who asked after the last failure knows more than the pause does: theirs is
    /// tried.
    /// </summary>
    /// <param name="askedAt">When a person asked for the delivery to be tried; null when nobody has.</param>
    public DateTimeOffset? PausedUntil(DateTimeOffset? askedAt)
    {
        lock (_gate)
        {
            return _pausedUntil > clock.GetUtcNow() && (askedAt is null || askedAt <= _failedAt) ? _pausedUntil : null;
        }
    }

    /// <summary>The destination answered as it should.</summary>
    /// <returns>True when it had been out before.</returns>
    public bool Succeeded()
    {
        lock (_gate)
        {
            bool wasOut = _outages > 0;
            _failuresInRow = 0;
            _outages = 0;
            _pausedUntil = DateTimeOffset.MinValue;
            return wasOut;
        }
    }

    /// <summary>An object failed for now.</summary>
    /// <returns>The end of the pause when that was one too many, else null.</returns>
    public DateTimeOffset? ObjectFailed()
    {
        lock (_gate)
        {
            _failuresInRow++;
            return _failuresInRow < MostFailuresInRow ? null : Pause(TimeSpan.Zero);
        }
    }

    /// <summary>The destination could not be reached or would not talk.</summary>
    /// <param name="retryAfter">How long it asked to be left alone; null when it did not.</param>
    /// <returns>The end of the pause.</returns>
    public DateTimeOffset DestinationFailed(TimeSpan? retryAfter = null)
    {
        lock (_gate)
        {
            return Pause(retryAfter ?? TimeSpan.Zero);
        }
    }

    private DateTimeOffset Pause(TimeSpan least)
    {
        _failedAt = clock.GetUtcNow();

        // Several workers meet the same outage: it counts once.
        if (_pausedUntil <= clock.GetUtcNow())
        {
            _pausedUntil = clock.GetUtcNow() + delays.After(_outages);
            _outages++;
        }

        DateTimeOffset asked = clock.GetUtcNow() + least;
        _pausedUntil = asked > _pausedUntil ? asked : _pausedUntil;

        _failuresInRow = 0;
        return _pausedUntil;
    }
}
