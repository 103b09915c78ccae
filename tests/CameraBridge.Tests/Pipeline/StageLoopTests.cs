using System.Collections.Concurrent;
using CameraBridge.Diagnostics;
using CameraBridge.Persistence;
using CameraBridge.Persistence.Sqlite;
using CameraBridge.Pipeline;
using CameraBridge.Tests.Persistence;
using CameraBridge.Tests.Pipeline.Captures;
using Microsoft.Extensions.Logging;
using Microsoft.Extensions.Logging.Abstractions;
using Microsoft.Extensions.Time.Testing;
using Xunit;

namespace CameraBridge.Tests.Pipeline;

/// <summary>The loop around a stage: isolation of what fails, leases kept alive, wake-ups, a state that is away for a while.</summary>
public sealed class StageLoopTests : IAsyncLifetime
{
    private static readonly TimeSpan Patience = TimeSpan.FromSeconds(20);

    private readonly DirectoryInfo _folder = Directory.CreateTempSubdirectory("loop-");
    private readonly FakeTimeProvider _clock = new(new DateTimeOffset(2026, 11, 25, 8, 0, 0, TimeSpan.Zero));
    private readonly WorkSignal _signal = new();
    private SqlitePipelineDatabase _database = null!;

    private static CancellationToken Cancellation => TestContext.Current.CancellationToken;

    public async ValueTask InitializeAsync() =>
        _database = await SqlitePipelineDatabase.OpenAsync(Path.Combine(_folder.FullName, "state.db"), _clock, Cancellation);

    public async ValueTask DisposeAsync()
    {
        await _database.DisposeAsync();
        _folder.Delete(recursive: true);
    }

    [Fact]
    public async Task One_poisoned_piece_stops_no_other_and_is_held_after_some_failures()
    {
        var stage = new ScriptedStage(_database, work => work.SubjectId == 3 ? throw new InvalidOperationException("poison") : true);
        StageLoop loop = Loop(stage, new StageLoopLimits { MostFailures = 3 });
        await AddAsync(5);

        Assert.True(await loop.RunOnceAsync("", Cancellation));

        Assert.Equal(1, (await _database.CountWorkAsync(Cancellation))[Stage.Cues]);
        Assert.Equal([1L, 2L, 4L, 5L], stage.Done.Order());
        for (int failure = 1; failure < 3; failure++)
        {
            Assert.False(await loop.RunOnceAsync("", Cancellation));
            _clock.Advance(TimeSpan.FromSeconds(2 * failure));
            Assert.True(await loop.RunOnceAsync("", Cancellation));
        }

        Assert.Equal(0, (await _database.CountWorkAsync(Cancellation))[Stage.Cues]);
        Capture held = Assert.Single(await _database.GetCapturesAsync([3], Cancellation));
        Assert.Equal(CaptureState.Held, held.State);
        Assert.Contains("internal error in the stage Cues: see the log entry of work", held.HeldReason, StringComparison.Ordinal);
    }

    [Theory]
    [InlineData("Plain")]
    [InlineData("Json")]
    public async Task The_message_of_an_unforeseen_error_never_reaches_the_log(string format)
    {
        const string Marker = "Quillfeather^Odo";
        var stage = new ScriptedStage(
            _database, _ => throw new InvalidOperationException($"no place for {Marker}", new FormatException(Marker)) { Data = { ["name"] = Marker } });
        await AddAsync(1);
        TextWriter console = Console.Error;
        using var written = new StringWriter();
        Console.SetError(TextWriter.Synchronized(written));
        try
        {
            // Both entries: the one of a failure that is tried again, and the one that gives up. Disposing waits until all is written.
            using ILoggerFactory loggers = Logs.Create(Enum.Parse<LogFormat>(format), LogLevel.Trace);
            var loop = new StageLoop(stage, _database, _signal, _clock, loggers.CreateLogger<StageLoop>(), new StageLoopLimits { MostFailures = 2 });
            await loop.RunOnceAsync("", Cancellation);
            _clock.Advance(TimeSpan.FromMinutes(1));
            await loop.RunOnceAsync("", Cancellation);
        }
        finally
        {
            Console.SetError(console);
        }

        Assert.Contains("1501", written.ToString(), StringComparison.Ordinal);
        Assert.Contains("1502", written.ToString(), StringComparison.Ordinal);
        Assert.Contains("System.FormatException", written.ToString(), StringComparison.Ordinal);
        Assert.DoesNotContain(Marker, written.ToString(), StringComparison.Ordinal);
    }

    [Fact]
    public async Task What_was_finished_before_the_error_is_not_done_again()
    {
        int calls = 0;
        var stage = new ScriptedStage(_database, work => work.SubjectId == 3 && calls++ == 0 ? throw new InvalidOperationException("once") : true) { OneByOne = true };
        await AddAsync(5);

        await Loop(stage).RunOnceAsync("", Cancellation);

        Assert.Equal([1L, 2L, 3L, 4L, 5L], stage.Done);
    }

    [Fact]
    public async Task A_lease_is_kept_alive_while_the_stage_works()
    {
        var release = new TaskCompletionSource();
        var started = new TaskCompletionSource();
        var stage = new ScriptedStage(_database, _ => true)
        {
            Before = async () =>
            {
                started.TrySetResult();
                await release.Task;
            },
        };
        await AddAsync(1);
        Task<bool> running = Loop(stage).RunOnceAsync("", Cancellation);
        await started.Task.WaitAsync(Patience, TimeProvider.System, Cancellation);

        // Twice the lease goes by in steps of a quarter; each renewal is awaited by looking at what the database knows.
        for (int step = 0; step < 8; step++)
        {
            DateTimeOffset? before = await _database.NextDueAsync(Stage.Cues, "", Cancellation);
            _clock.Advance(stage.Lease / 3);
            await UntilAsync(async () => await _database.NextDueAsync(Stage.Cues, "", Cancellation) > before);
            Assert.Empty(await _database.LeaseAsync(Stage.Cues, "", 1, stage.Lease, Cancellation));
        }

        release.SetResult();
        Assert.True(await running);
        Assert.Single(stage.Done);
    }

    [Fact]
    public async Task A_signal_wakes_the_loop_at_once_and_the_next_stage_is_woken_in_turn()
    {
        var stage = new ScriptedStage(_database, _ => true);
        using var stop = CancellationTokenSource.CreateLinkedTokenSource(Cancellation);
        StageLoop loop = Loop(stage);
        Task running = loop.RunAsync(stop.Token);
        Task next = _signal.Next(Stage.Sittings);
        await AddAsync(3);

        // The clock stands still, so only the signal can wake it.
        _signal.Raise(Stage.Cues);

        await next.WaitAsync(Patience, TimeProvider.System, Cancellation);
        Assert.Equal(3, stage.Done.Count);
        await UntilAsync(() => Task.FromResult(loop.IsIdle));
        await stop.CancelAsync();
        await running.WaitAsync(Patience, TimeProvider.System, Cancellation);
    }

    [Fact]
    public async Task Work_that_another_process_added_is_found_at_the_next_look()
    {
        var stage = new ScriptedStage(_database, _ => true);
        using var stop = CancellationTokenSource.CreateLinkedTokenSource(Cancellation);
        Task running = Loop(stage).RunAsync(stop.Token);
        await AddAsync(1);

        await UntilAsync(() =>
        {
            _clock.Advance(TimeSpan.FromSeconds(1));
            return Task.FromResult(!stage.Done.IsEmpty);
        });

        await stop.CancelAsync();
        await running.WaitAsync(Patience, TimeProvider.System, Cancellation);
    }

    [Fact]
    public async Task What_is_under_way_when_the_process_stops_is_due_again_at_once()
    {
        var stage = new ScriptedStage(_database, _ => true);
        var started = new TaskCompletionSource();
        stage.Before = async () =>
        {
            started.TrySetResult();
            await Task.Delay(Timeout.InfiniteTimeSpan, _clock, stage.Token);
        };
        using var stop = CancellationTokenSource.CreateLinkedTokenSource(Cancellation);
        await AddAsync(2);
        Task running = Loop(stage).RunAsync(stop.Token);
        await started.Task.WaitAsync(Patience, TimeProvider.System, Cancellation);

        await stop.CancelAsync();
        await running.WaitAsync(Patience, TimeProvider.System, Cancellation);

        Assert.Equal(2, (await _database.LeaseAsync(Stage.Cues, "", 10, stage.Lease, Cancellation)).Count);
    }

    [Theory]
    [InlineData(nameof(IPipelineDatabase.LeaseAsync))]
    [InlineData(nameof(IPipelineDatabase.CompleteCuesAsync))]
    [InlineData(nameof(IPipelineDatabase.NextDueAsync))]
    [InlineData(nameof(IPipelineDatabase.ReleaseAsync))]
    public async Task A_state_that_is_away_for_a_while_loses_nothing(string method)
    {
        IPipelineDatabase failing = FailingDatabase.Around(_database, method, failures: 3);
        var stage = new ScriptedStage(failing, _ => true);
        using var stop = CancellationTokenSource.CreateLinkedTokenSource(Cancellation);
        await AddAsync(10);
        Task running = new StageLoop(stage, failing, _signal, _clock, NullLogger<StageLoop>.Instance).RunAsync(stop.Token);

        await UntilAsync(() =>
        {
            _clock.Advance(TimeSpan.FromSeconds(5));
            return Task.FromResult(stage.Done.Count == 10);
        });

        Assert.Equal(0, (await _database.CountWorkAsync(Cancellation))[Stage.Cues]);
        await stop.CancelAsync();
        await running.WaitAsync(Patience, TimeProvider.System, Cancellation);
    }

    private async Task AddAsync(int count) =>
        await _database.AddCapturesAsync([.. Enumerable.Range(1, count).Select(i => FlowSteps.Capture($"1/{i}.jpg"))], TimeSpan.FromHours(1), Cancellation);

    private StageLoop Loop(IStage stage, StageLoopLimits? limits = null) => new(stage, _database, _signal, _clock, NullLogger<StageLoop>.Instance, limits);

    private static async Task UntilAsync(Func<Task<bool>> isSo)
    {
        long start = TimeProvider.System.GetTimestamp();
        while (!await isSo())
        {
            Assert.True(TimeProvider.System.GetElapsedTime(start) < Patience, "It did not come about in time.");
            await Task.Yield();
        }
    }

    /// <summary>Completes cues, or does what the test says.</summary>
    private sealed class ScriptedStage(IPipelineDatabase database, Func<Work, bool> look) : IStage
    {
        public ConcurrentQueue<long> Done { get; } = [];

        public Func<Task>? Before { get; set; }

        public bool OneByOne { get; init; }

        public CancellationToken Token { get; private set; }

        public Stage Stage => Stage.Cues;

        public IReadOnlyList<string> Lanes { get; } = [""];

        public int Batch => 10;

        public int Workers => 1;

        public TimeSpan Lease { get; } = TimeSpan.FromMinutes(1);

        public async Task RunAsync(IReadOnlyList<Work> batch, CancellationToken cancellation)
        {
            Token = cancellation;
            await (Before?.Invoke() ?? Task.CompletedTask);
            if (!OneByOne)
            {
                Assert.DoesNotContain(false, batch.Select(look));
            }

            foreach (Work[] chunk in OneByOne ? batch.Select(work => new[] { work }) : [[.. batch]])
            {
                Assert.DoesNotContain(false, chunk.Select(look));
                IReadOnlyList<Work> lost = await database.CompleteCuesAsync(
                    [.. chunk.Select(work => new CaptureReading(work, DateTimeOffset.UnixEpoch, "file", []))], cancellation);
                foreach (Work work in chunk.Except(lost))
                {
                    Done.Enqueue(work.SubjectId);
                }
            }
        }
    }
}
