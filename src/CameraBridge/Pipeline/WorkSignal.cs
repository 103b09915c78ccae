using CameraBridge.Persistence;

namespace CameraBridge.Pipeline;

/// <summary>
/// Wakes the loops of a stage when this process has added work for it, so that nothing waits for the next look at the database. It is a hint only:
/// the work is in the database, and a loop that missed the signal, or whose work another process added, finds it at its next look.
/// </summary>
internal sealed class WorkSignal
{
    private readonly TaskCompletionSource[] _next = [.. Enum.GetValues<Stage>().Select(_ => New())];

    /// <summary>Tells every loop of the stage that there may be work.</summary>
    public void Raise(Stage stage) => Interlocked.Exchange(ref _next[(int)stage], New()).TrySetResult();

    /// <summary>A task that ends with the next <see cref="Raise"/>. Take it before looking for work: then no signal is missed.</summary>
    public Task Next(Stage stage) => Volatile.Read(ref _next[(int)stage]).Task;

    private static TaskCompletionSource New() => new(TaskCreationOptions.RunContinuationsAsynchronously);
}
