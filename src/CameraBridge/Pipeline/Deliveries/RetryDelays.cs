namespace CameraBridge.Pipeline.Deliveries;

/// <summary>
/// Growing pauses with jitter: the pause doubles with each failure up to a longest one, and lies at random in the upper half of that, so that many
/// gateways do not knock at a reviving archive at the same moment.
/// </summary>
internal sealed class RetryDelays(TimeSpan first, TimeSpan longest, Random random)
{
    /// <param name="failures">Failures before this one.</param>
    public TimeSpan After(int failures)
    {
        var full = TimeSpan.FromSeconds(Math.Min(longest.TotalSeconds, first.TotalSeconds * Math.Pow(2, Math.Clamp(failures, 0, 1000))));
        lock (random)
        {
            return full * (0.5 + (random.NextDouble() / 2));
        }
    }
}
