namespace CameraBridge.Pipeline.Captures;

/// <summary>Whatever asks a source may hang with it, and must not hold a thread of the pool that the other stages live on.</summary>
internal static class OwnThread
{
    public static Task<T> RunAsync<T>(Func<T> work) =>
        Task.Factory.StartNew(work, CancellationToken.None, TaskCreationOptions.LongRunning, TaskScheduler.Default);

    public static Task RunAsync(Action work) =>
        Task.Factory.StartNew(work, CancellationToken.None, TaskCreationOptions.LongRunning, TaskScheduler.Default);
}
