namespace CameraBridge.Persistence;

/// <summary>What a picture's time, as its camera tells it, stands beside.</summary>
/// <param name="CaptureId">The picture; later ones have higher numbers.</param>
/// <param name="SittingId">Its sitting.</param>
/// <param name="Camera">See <see cref="Pipeline.Capture.Camera"/>.</param>
/// <param name="TakenAt">What the camera's clock showed.</param>
/// <param name="TakenAtOrigin">See <see cref="Pipeline.Capture.TakenAtOrigin"/>.</param>
/// <param name="SettledAt">When it lay here.</param>
internal sealed record ClockMoment(long CaptureId, long SittingId, string? Camera, DateTimeOffset TakenAt, string TakenAtOrigin, DateTimeOffset SettledAt)
{
    /// <summary>The instant that a clock card in the picture tells; null where it shows none.</summary>
    public DateTimeOffset? Card { get; init; }
}

/// <summary>The clock that tells what is due, and those of cameras.</summary>
internal partial interface IPipelineDatabase
{
    /// <summary>
    /// Writes down what time it is. Where the clock was set back since that was last written, all that waits for a time is brought forward by as much, so that
    /// nothing waits longer than it was to. Other writes do the same at most a second apart; this one tells.
    /// </summary>
    /// <returns>How far the clock was set back since this was last asked; zero where it was not, and where the clock is a server's.</returns>
    Task<TimeSpan> KeepTimeAsync(CancellationToken cancellation);

    /// <summary>The times that a source's pictures tell, the latest captures first.</summary>
    /// <param name="source">Name of the source.</param>
    /// <param name="from">Captures that lay here since.</param>
    /// <param name="most">So many at most.</param>
    /// <param name="cancellation">Gives the call up.</param>
    Task<IReadOnlyList<ClockMoment>> GetClockMomentsAsync(string source, DateTimeOffset from, int most, CancellationToken cancellation);
}
