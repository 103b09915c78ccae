using CameraBridge.Persistence.Sqlite;
using CameraBridge.Pipeline;
using CameraBridge.Tests.Pipeline.Captures;
using Microsoft.Extensions.Logging;
using Microsoft.Extensions.Time.Testing;
using Xunit;

namespace CameraBridge.Tests.Pipeline;

/// <summary>A clock that is set back while the service runs, before it is started, and one that is corrected a little.</summary>
public sealed class ClockWatchTests : IAsyncLifetime
{
    private readonly DirectoryInfo _home = Directory.CreateTempSubdirectory("clock-");
    private readonly SteppedClock _clock = new();
    private readonly LogLines _log = new();
    private SqlitePipelineDatabase _database = null!;

    private static CancellationToken Cancellation => TestContext.Current.CancellationToken;

    public async ValueTask InitializeAsync() =>
        _database = await SqlitePipelineDatabase.OpenAsync(Path.Combine(_home.FullName, "state.db"), _clock, Cancellation);

    public async ValueTask DisposeAsync()
    {
        await _database.DisposeAsync();
        _log.Dispose();
        _home.Delete(recursive: true);
    }

    [Fact]
    public async Task A_clock_that_is_set_back_is_told_and_ends_the_watch()
    {
        Task watch = Watch().UntilSetBackAsync(Cancellation);
        _clock.Step = TimeSpan.FromHours(-1);
        Assert.False(watch.IsCompleted);
        _clock.Advance(ClockWatch.LookInterval);

        await watch.WaitAsync(Cancellation);

        Assert.Contains("set back by 01:00:00", Assert.Single(_log.Lines).Text, StringComparison.Ordinal);
    }

    [Theory]
    [InlineData(-5)]
    [InlineData(3600)]
    public async Task One_that_is_corrected_a_little_or_set_ahead_is_not(int seconds)
    {
        using CancellationTokenSource end = CancellationTokenSource.CreateLinkedTokenSource(Cancellation);
        Task watch = Watch().UntilSetBackAsync(end.Token);
        _clock.Advance(ClockWatch.LookInterval);
        _clock.Step = TimeSpan.FromSeconds(seconds);
        _clock.Advance(ClockWatch.LookInterval);
        _clock.Advance(ClockWatch.LookInterval);

        await end.CancelAsync();
        await watch;

        Assert.Empty(_log.Lines);
    }

    [Fact]
    public async Task One_that_was_set_back_before_the_start_is_told_at_the_start()
    {
        await Watch().BeginAsync(Cancellation);
        _clock.Step = TimeSpan.FromHours(-1);
        await using SqlitePipelineDatabase again = await SqlitePipelineDatabase.OpenAsync(Path.Combine(_home.FullName, "state.db"), _clock, Cancellation);

        await new ClockWatch(again, _clock, _log.CreateLogger<ClockWatch>()).BeginAsync(Cancellation);

        Assert.Contains("set back by 01:00:00", Assert.Single(_log.Lines).Text, StringComparison.Ordinal);
    }

    private ClockWatch Watch() => new(_database, _clock, _log.CreateLogger<ClockWatch>());

    /// <summary>Tells another time from a moment on, while its timers and timestamps go on.</summary>
    private sealed class SteppedClock : TimeProvider
    {
        private readonly FakeTimeProvider _steady = new();

        public TimeSpan Step { get; set; }

        public override long TimestampFrequency => _steady.TimestampFrequency;

        public override DateTimeOffset GetUtcNow() => _steady.GetUtcNow() + Step;

        public override long GetTimestamp() => _steady.GetTimestamp();

        public override ITimer CreateTimer(TimerCallback callback, object? state, TimeSpan dueTime, TimeSpan period) => _steady.CreateTimer(callback, state, dueTime, period);

        public void Advance(TimeSpan time) => _steady.Advance(time);
    }
}
