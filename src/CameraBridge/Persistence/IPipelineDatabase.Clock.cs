namespace CameraBridge.Persistence;

/// <summary>The clock that tells what is due.</summary>
internal partial interface IPipelineDatabase
{
    /// <summary>
    /// Writes down what time it is. Where the clock was set back since that was last written, all that waits for a time is brought forward by as much, so that
    /// nothing waits longer than it was to. Other writes do the same at most a second apart; this one tells.
    /// </summary>
    /// <returns>How far the clock was set back since this was last asked; zero where it was not, and where the clock is a server's.</returns>
    Task<TimeSpan> KeepTimeAsync(CancellationToken cancellation);
}
