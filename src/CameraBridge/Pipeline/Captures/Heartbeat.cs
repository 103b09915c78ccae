namespace CameraBridge.Pipeline.Captures;

/// <summary>When a source last answered: a share that is dead may hold a thread in the system for ever, and only this shows it.</summary>
internal sealed class Heartbeat(TimeProvider clock)
{
    private long _lastTicks = clock.GetUtcNow().UtcTicks;

    public DateTimeOffset LastAt => new(Volatile.Read(ref _lastTicks), TimeSpan.Zero);

    public void Beat() => Volatile.Write(ref _lastTicks, clock.GetUtcNow().UtcTicks);
}
