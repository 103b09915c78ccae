namespace CameraBridge.Pipeline.Captures;

/// <summary>After the spool refused a file, no source is read until the pause is over; the pause doubles while the spool goes on refusing.</summary>
internal sealed class SpoolPause(TimeProvider clock, ILogger logger)
{
    private static readonly TimeSpan First = TimeSpan.FromSeconds(5), Longest = TimeSpan.FromMinutes(5);

    private readonly Lock _gate = new();
    private TimeSpan _pause;
    private DateTimeOffset _until = DateTimeOffset.MinValue;

    /// <summary>The sentence of the last refusal; null while the spool takes files.</summary>
    public string? Trouble { get; private set; }

    /// <summary>The end of the pause, when there is one.</summary>
    public DateTimeOffset? Until
    {
        get
        {
            lock (_gate)
            {
                return _until > clock.GetUtcNow() ? _until : null;
            }
        }
    }

    public void Refused(SpoolUnavailableException refusal)
    {
        lock (_gate)
        {
            DateTimeOffset now = clock.GetUtcNow();
            if (_until > now)
            {
                // Another source was refused in the same moment.
                return;
            }

            _pause = _pause == TimeSpan.Zero ? First : _pause * 2 < Longest ? _pause * 2 : Longest;
            _until = now + _pause;
            Trouble = refusal.Message;
            logger.SpoolUnavailable(refusal.Message, _until);
        }
    }

    public void Took()
    {
        lock (_gate)
        {
            if (Trouble is not null && _until <= clock.GetUtcNow())
            {
                Trouble = null;
                _pause = TimeSpan.Zero;
                logger.SpoolRecovered();
            }
        }
    }
}
