using System.Collections.Concurrent;
using CameraBridge.Persistence;
using CameraBridge.Pipeline;
using Xunit;

namespace CameraBridge.Tests.Persistence;

/// <summary>Work, leases, fencing.</summary>
public abstract partial class DatabaseContract
{
    [Fact]
    public async Task Work_is_leased_oldest_due_first_and_not_twice()
    {
        IPipelineDatabase database = await OpenedAsync();
        IReadOnlyList<long> captures = await AddAsync(database, "1/a.jpg", "1/b.jpg", "1/c.jpg");

        IReadOnlyList<Work> first = await LeaseAsync(database, Stage.Cues, most: 2);
        IReadOnlyList<Work> second = await LeaseAsync(database, Stage.Cues, most: 2);

        Assert.Equal(captures, first.Concat(second).Select(work => work.SubjectId));
        Assert.Empty(await LeaseAsync(database, Stage.Cues));
    }

    [Fact]
    public async Task Four_claimers_never_get_the_same_work()
    {
        IPipelineDatabase[] databases = [await OpenedAsync(), await OpenedAsync("other:1:1")];
        await AddAsync(databases[0], [.. Enumerable.Range(0, 400).Select(i => $"1/{i}.jpg")]);
        var claimed = new ConcurrentBag<long>();

        await Task.WhenAll(Enumerable.Range(0, 4).Select(claimer => Task.Run(
            async () =>
            {
                while (await LeaseAsync(databases[claimer % 2], Stage.Cues, most: 7) is { Count: > 0 } batch)
                {
                    foreach (Work work in batch)
                    {
                        claimed.Add(work.Id);
                    }
                }
            },
            Cancellation)));

        Assert.Equal(400, claimed.Count);
        Assert.Equal(400, claimed.Distinct().Count());
    }

    [Fact]
    public async Task A_lapsed_lease_is_due_again_and_its_late_result_changes_nothing()
    {
        IPipelineDatabase database = await OpenedAsync("far-away:1:1");
        IPipelineDatabase other = await OpenedAsync("elsewhere:2:2");
        await AddAsync(database, "1/a.jpg");
        Work overtaken = Assert.Single(await LeaseAsync(database, Stage.Cues));
        Assert.Empty(await LeaseAsync(other, Stage.Cues));

        Clock.Advance(Lease);
        Work current = Assert.Single(await LeaseAsync(other, Stage.Cues));
        Assert.Equal(overtaken.Id, current.Id);

        Assert.Equal([overtaken], await database.CompleteCuesAsync([new CaptureReading(overtaken, Clock.GetUtcNow(), "file", [])], Cancellation));
        Assert.Null(Assert.Single(await database.GetCapturesAsync([overtaken.SubjectId], Cancellation)).TakenAt);
        Assert.Empty(await other.CompleteCuesAsync([new CaptureReading(current, Clock.GetUtcNow(), "file", [])], Cancellation));
    }

    [Fact]
    public async Task A_lapsed_lease_taken_again_by_the_same_owner_is_another_lease()
    {
        IPipelineDatabase database = await OpenedAsync();
        await AddAsync(database, "1/a.jpg");
        Work overtaken = Assert.Single(await LeaseAsync(database, Stage.Cues));
        Clock.Advance(Lease);
        Work current = Assert.Single(await LeaseAsync(database, Stage.Cues));

        await database.PostponeAsync([overtaken], Clock.GetUtcNow() + Quiet, counts: true, Cancellation);
        await database.ReleaseAsync([overtaken], Cancellation);

        Assert.Equal([overtaken], await database.CompleteCuesAsync([new CaptureReading(overtaken, Clock.GetUtcNow(), "file", [])], Cancellation));
        Assert.False(await database.HoldAsync(overtaken, new Reason("x", "x"), Cancellation));
        Assert.Equal([current], await database.RenewAsync([overtaken, current], Lease, Cancellation));
    }

    [Fact]
    public async Task A_renewed_lease_does_not_lapse()
    {
        IPipelineDatabase database = await OpenedAsync();
        await AddAsync(database, "1/a.jpg");
        IReadOnlyList<Work> work = await LeaseAsync(database, Stage.Cues);

        Clock.Advance(Lease / 2);
        Assert.Equal(work, await database.RenewAsync(work, Lease, Cancellation));
        Clock.Advance(Lease * 0.75);

        Assert.Empty(await LeaseAsync(database, Stage.Cues));
    }

    [Fact]
    public async Task The_lease_of_a_process_of_this_host_that_is_dead_is_due_again_at_once()
    {
        // No process has the id 2^22 + 1: Linux allows at most 2^22 (proc(5), /proc/sys/kernel/pid_max).
        string[] me = LeaseOwner.Current.Split(':');
        IPipelineDatabase dead = await OpenedAsync($"{me[0]}:4194305:1");
        IPipelineDatabase reused = await OpenedAsync($"{me[0]}:{me[1]}:1");
        IPipelineDatabase alive = await OpenedAsync();
        await AddAsync(alive, "1/a.jpg", "1/b.jpg");
        Assert.Single(await LeaseAsync(dead, Stage.Cues, most: 1));
        Assert.Single(await LeaseAsync(reused, Stage.Cues, most: 1));

        Assert.Equal(Clock.GetUtcNow(), await alive.NextDueAsync(Stage.Cues, "", Cancellation));
        Assert.Equal(2, (await LeaseAsync(alive, Stage.Cues)).Count);
    }

    [Fact]
    public async Task The_lease_of_a_living_process_and_of_another_host_stands()
    {
        IPipelineDatabase elsewhere = await OpenedAsync("another-host:4194305:1");
        IPipelineDatabase me = await OpenedAsync();
        IPipelineDatabase alsoMe = await OpenedAsync();
        await AddAsync(me, "1/a.jpg", "1/b.jpg");
        Assert.Single(await LeaseAsync(elsewhere, Stage.Cues, most: 1));
        Assert.Single(await LeaseAsync(me, Stage.Cues, most: 1));

        Assert.Empty(await LeaseAsync(alsoMe, Stage.Cues));
        Assert.Equal(Clock.GetUtcNow() + Lease, await alsoMe.NextDueAsync(Stage.Cues, "", Cancellation));
    }

    [Fact]
    public async Task Postponed_work_is_due_at_its_time_with_its_attempts_counted()
    {
        IPipelineDatabase database = await OpenedAsync();
        await AddAsync(database, "1/a.jpg");
        DateTimeOffset due = Clock.GetUtcNow() + TimeSpan.FromSeconds(5);
        await database.PostponeAsync(await LeaseAsync(database, Stage.Cues), due, counts: true, Cancellation);

        Assert.Empty(await LeaseAsync(database, Stage.Cues));
        Assert.Equal(due, await database.NextDueAsync(Stage.Cues, "", Cancellation));
        Clock.Advance(TimeSpan.FromSeconds(5));
        Assert.Equal(1, Assert.Single(await LeaseAsync(database, Stage.Cues)).Attempts);
    }

    [Fact]
    public async Task Released_work_is_due_at_once_and_no_attempt_is_counted()
    {
        IPipelineDatabase database = await OpenedAsync();
        await AddAsync(database, "1/a.jpg");
        await database.ReleaseAsync(await LeaseAsync(database, Stage.Cues), Cancellation);

        Assert.Equal(0, Assert.Single(await LeaseAsync(database, Stage.Cues)).Attempts);
    }

    [Fact]
    public async Task A_paused_lane_waits_and_other_lanes_do_not()
    {
        IPipelineDatabase database = await OpenedAsync();
        await QueuedSittingAsync(database, ["1/a.jpg", "1/b.jpg"], "archive", "second");
        await database.PauseLaneAsync(Stage.Deliveries, "archive", Clock.GetUtcNow() + Lease, Cancellation);

        Assert.Empty(await LeaseAsync(database, Stage.Deliveries, "archive"));
        Assert.Equal(2, (await LeaseAsync(database, Stage.Deliveries, "second")).Count);
        Clock.Advance(Lease);
        Assert.Equal(2, (await LeaseAsync(database, Stage.Deliveries, "archive")).Count);
    }

    [Fact]
    public async Task A_restart_finds_all_open_work()
    {
        IPipelineDatabase database = await OpenedAsync();
        await QueuedSittingAsync(database, ["1/a.jpg"], "archive");
        await AddAsync(database, "2/a.jpg");
        await database.DisposeAsync();
        Forget(database);

        IPipelineDatabase again = await OpenedAsync();

        IReadOnlyDictionary<Stage, int> counts = await again.CountWorkAsync(Cancellation);
        Assert.Equal((1, 1, 1), (counts[Stage.Cues], counts[Stage.Sittings], counts[Stage.Deliveries]));
        Assert.Single(await LeaseAsync(again, Stage.Deliveries, "archive"));
    }

    [Fact]
    public async Task Open_work_tells_what_is_due_leased_and_later_per_source()
    {
        IPipelineDatabase database = await OpenedAsync();
        await QueuedSittingAsync(database, ["1/a.jpg", "1/b.jpg"], "archive");
        await AddAsync(database, "2/a.jpg");
        await database.AddCapturesAsync([NewCapture("3/a.jpg", source: "share")], Quiet, Cancellation);
        await LeaseAsync(database, Stage.Deliveries, "archive", most: 1);

        IReadOnlyList<OpenWork> stick = await database.GetOpenWorkAsync("stick", Cancellation);

        DateTimeOffset now = Clock.GetUtcNow();
        Assert.Equal(
            [
                new OpenWork(Stage.Cues, "", 1, 0, 0, now),
                new OpenWork(Stage.Sittings, "", 0, 0, 1, now + Quiet),
                new OpenWork(Stage.Deliveries, "archive", 1, 1, 0, now),
            ],
            stick);
        Assert.Equal(2, (await database.GetOpenWorkAsync(null, Cancellation)).Single(open => open.Stage == Stage.Cues).Due);
    }

    [Fact]
    public async Task Poisoned_work_of_each_stage_ends_held_with_its_reason()
    {
        IPipelineDatabase database = await OpenedAsync();
        var reason = new Reason("internal-error", "internal error: see the log");

        await QueuedSittingAsync(database, ["d/a.jpg"], "archive");
        Assert.True(await database.HoldAsync(Assert.Single(await LeaseAsync(database, Stage.Deliveries, "archive")), reason, Cancellation));
        await MatchedSittingAsync(database, "o/a.jpg");
        Assert.True(await database.HoldAsync(Assert.Single(await LeaseAsync(database, Stage.Objects)), reason, Cancellation));
        await ClosedSittingAsync(database, "m/a.jpg");
        Assert.True(await database.HoldAsync(Assert.Single(await LeaseAsync(database, Stage.Matches)), reason, Cancellation));
        await AddAsync(database, "s/a.jpg");
        Work cues = Assert.Single(await LeaseAsync(database, Stage.Cues));
        Assert.True(await database.HoldAsync(cues, reason, Cancellation));
        Clock.Advance(Quiet);
        Work sitting = Assert.Single(await LeaseAsync(database, Stage.Sittings));
        Assert.Equal(CueKind.Unreadable, Assert.Single(await database.GetCuesOfSittingAsync(sitting.SubjectId, Cancellation)).Kind);
        Assert.True(await database.HoldAsync(sitting, reason, Cancellation));
        Assert.False(await database.HoldAsync(sitting, reason, Cancellation));

        Assert.Empty(await database.GetOpenWorkAsync(null, Cancellation));
        IReadOnlyList<HeldSitting> held = await database.GetHeldAsync(Cancellation);
        Assert.Equal(["o", "m", "s"], held.Select(one => one.Sitting.Folder));
        Assert.Equal(reason.Words, Assert.Single(held[0].Captures).HeldReason);
        Assert.Equal(reason, Assert.Single(held[1].Match!.HeldReasons));
        Assert.Equal(SittingState.Held, held[2].Sitting.State);
        SittingReport delivered = (await database.GetReportAsync(null, Cancellation)).Single(report => report.Sitting.Folder == "d");
        Assert.Equal((DeliveryState.GivenUp, reason.Words), (Assert.Single(delivered.Deliveries).State, delivered.Deliveries[0].Outcome));
    }
}
