using Microsoft.Extensions.Time.Testing;

namespace CameraBridge.Tests.Peers;

/// <summary>Lets hours pass in an instant.</summary>
public static class Clocks
{
    private static readonly TimeSpan Breath = TimeSpan.FromMilliseconds(2);
    private static readonly TimeSpan RealGuard = TimeSpan.FromSeconds(60);

    /// <summary>Turns the clock until the task is done; never longer than a minute of real time.</summary>
    /// <param name="clock">The clock.</param>
    /// <param name="task">What is waited for.</param>
    /// <param name="cancellationToken">Gives up.</param>
    /// <param name="step">How far at a turn; a second when null.</param>
    /// <returns>How far the clock was turned.</returns>
    public static async Task<TimeSpan> TurnUntilDoneAsync(this FakeTimeProvider clock, Task task, CancellationToken cancellationToken, TimeSpan? step = null)
    {
        DateTimeOffset start = clock.GetUtcNow();
        long realStart = TimeProvider.System.GetTimestamp();
        while (!task.IsCompleted)
        {
            if (TimeProvider.System.GetElapsedTime(realStart) > RealGuard)
            {
                throw new TimeoutException("The task did not end, however far the clock was turned.");
            }

            clock.Advance(step ?? TimeSpan.FromSeconds(1));
            // The code under test needs a moment of real time between two turns to set its next limit.
            await Task.WhenAny(task, Task.Delay(Breath, TimeProvider.System, cancellationToken));
        }

        return clock.GetUtcNow() - start;
    }
}
