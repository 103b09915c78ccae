using CameraBridge.Configuration;

namespace CameraBridge.Pipeline.Deliveries;

/// <summary>
/// What may be used of the link to one destination, shared by all that is sent there: a limit by time of day, and clips give way to stills. What is under way when
/// nothing may be sent any more is sent to its end, since half an object is worth nothing.
/// </summary>
/// <param name="windows">Limits by time of day, the first that covers a moment counts; none: no limit.</param>
/// <param name="zone">Zone of the times.</param>
/// <param name="clock">Source of all waits.</param>
internal sealed class LinkShare(IReadOnlyList<BandwidthWindow> windows, TimeZoneInfo zone, TimeProvider clock)
{
    /// <summary>A clip gives way at a stretch no longer than this: an archive that hears nothing for half a minute ends the association (common practice, no source).</summary>
    public static readonly TimeSpan YieldLimit = TimeSpan.FromSeconds(10);

    private static readonly TimeSpan Burst = TimeSpan.FromMilliseconds(200);
    private static readonly TimeSpan YieldLook = TimeSpan.FromMilliseconds(100);
    private static readonly TimeSpan LongestLook = TimeSpan.FromDays(1);
    private static readonly TimeSpan LookStep = TimeSpan.FromMinutes(1);

    private readonly Lock _gate = new();
    private DateTimeOffset _free = DateTimeOffset.MinValue;
    private int _stills;

    /// <summary>When something may be sent again; null when it may now.</summary>
    public DateTimeOffset? ClosedUntil
    {
        get
        {
            DateTimeOffset now = clock.GetUtcNow();
            if (LimitAt(now) != 0)
            {
                return null;
            }

            DateTimeOffset minute = new(now.Ticks - (now.Ticks % LookStep.Ticks), TimeSpan.Zero);
            for (DateTimeOffset at = minute + LookStep; at <= now + LongestLook; at += LookStep)
            {
                if (LimitAt(at) != 0)
                {
                    return at;
                }
            }

            return now + LongestLook;
        }
    }

    /// <summary>The limit at this moment in bits a second; null for none.</summary>
    public long? Limit => LimitAt(clock.GetUtcNow());

    /// <summary>Says that stills are being sent until the result is disposed of.</summary>
    public IDisposable Stills()
    {
        Interlocked.Increment(ref _stills);
        return new StillsEnd(this);
    }

    /// <summary>Waits until so many bytes may go.</summary>
    /// <param name="bytes">Bytes about to be sent.</param>
    /// <param name="isClip">Gives way to stills.</param>
    /// <param name="cancellation">Gives up.</param>
    public async ValueTask TakeAsync(int bytes, bool isClip, CancellationToken cancellation)
    {
        if (windows.Count == 0)
        {
            return;
        }

        if (isClip)
        {
            long start = clock.GetTimestamp();
            while (Volatile.Read(ref _stills) > 0 && clock.GetElapsedTime(start) < YieldLimit)
            {
                await Task.Delay(YieldLook, clock, cancellation).ConfigureAwait(false);
            }
        }

        TimeSpan wait = Reserve(bytes);
        if (wait > TimeSpan.Zero)
        {
            await Task.Delay(wait, clock, cancellation).ConfigureAwait(false);
        }
    }

    private TimeSpan Reserve(int bytes)
    {
        lock (_gate)
        {
            DateTimeOffset now = clock.GetUtcNow();
            long limit = LimitAt(now) is { } known ? known > 0 ? known : windows.Max(window => window.BitsPerSecond) : 0;
            if (limit <= 0)
            {
                return TimeSpan.Zero;
            }

            // A timer that rings late must not cost the link its share: what was not used a moment ago may be used now.
            DateTimeOffset start = _free > now - Burst ? _free : now - Burst;
            _free = start + TimeSpan.FromSeconds(bytes * 8.0 / limit);
            return start > now ? start - now : TimeSpan.Zero;
        }
    }

    private long? LimitAt(DateTimeOffset moment)
    {
        var time = TimeOnly.FromDateTime(TimeZoneInfo.ConvertTime(moment, zone).DateTime);
        return windows.FirstOrDefault(window => window.Covers(time))?.BitsPerSecond;
    }

    private sealed class StillsEnd(LinkShare link) : IDisposable
    {
        private int _ended;

        public void Dispose()
        {
            if (Interlocked.Exchange(ref _ended, 1) == 0)
            {
                Interlocked.Decrement(ref link._stills);
            }
        }
    }
}
