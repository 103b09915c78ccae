using CameraBridge.Persistence;
using CameraBridge.Pipeline;
using Xunit;

namespace CameraBridge.Tests.Persistence;

/// <summary>What is not delivered, and a person's word to send it again.</summary>
public abstract partial class DatabaseContract
{
    private const string Person = "R. Example";

    /// <summary>One sitting of five objects for the archive: stored, stored with a warning, refused, given up, waiting for its next attempt.</summary>
    private async Task<(long Sitting, IReadOnlyList<Work> Work)> EndedSittingAsync(IPipelineDatabase database, string folder = "1", string destination = "archive")
    {
        long sitting = await QueuedSittingAsync(database, [.. "abcde".Select(letter => $"{folder}/{letter}.jpg")], destination);
        IReadOnlyList<Work> work = await LeaseAsync(database, Stage.Deliveries, destination);
        Assert.Empty(await database.CompleteDeliveriesAsync(
            [
                new DeliveryResult(work[0], DeliveryState.Stored, 0x0000, "stored", null),
                new DeliveryResult(work[1], DeliveryState.StoredWithWarning, 0xB000, "coerced", null),
                new DeliveryResult(work[2], DeliveryState.Refused, 0xA900, "refused", null),
                new DeliveryResult(work[3], DeliveryState.GivenUp, null, "given up", null),
                new DeliveryResult(work[4], DeliveryState.Waiting, 0xA700, "out of resources", Clock.GetUtcNow() + (60 * Lease)),
            ],
            Cancellation));
        return (sitting, work);
    }

    [Fact]
    public async Task What_is_not_delivered_is_told_with_state_reason_and_next_attempt()
    {
        IPipelineDatabase database = await OpenedAsync();
        DateTimeOffset since = Clock.GetUtcNow();
        (long sitting, _) = await EndedSittingAsync(database);
        long second = await QueuedSittingAsync(database, ["2/a.jpg", "2/b.jpg"], "second");

        IReadOnlyList<Undelivered> all = await database.GetUndeliveredAsync(null, null, Cancellation);

        Undelivered one = new() { SittingId = sitting, Source = "stick", Folder = "1", Destination = "archive", Count = 1, Delivered = 2, Since = since };
        Assert.Equal(
            [
                one with { State = DeliveryState.GivenUp, Outcome = "given up" },
                one with { State = DeliveryState.Refused, Status = 0xA900, Outcome = "refused" },
                one with { State = DeliveryState.Waiting, Status = 0xA700, Outcome = "out of resources", NextAttemptAt = since + (60 * Lease) },
                new Undelivered { SittingId = second, Source = "stick", Folder = "2", Destination = "second", Count = 2, Since = since },
            ],
            all);
        Assert.Equal(all.Take(3), await database.GetUndeliveredAsync(["archive"], null, Cancellation));
        Assert.Equal(all.Skip(3), await database.GetUndeliveredAsync(null, second, Cancellation));
        Assert.Empty(await database.GetUndeliveredAsync(["second"], sitting, Cancellation));
    }

    [Fact]
    public async Task What_was_refused_given_up_or_waits_is_due_at_once_and_nothing_that_is_delivered()
    {
        IPipelineDatabase database = await OpenedAsync();
        DateTimeOffset madeAt = Clock.GetUtcNow();
        (long sitting, IReadOnlyList<Work> before) = await EndedSittingAsync(database);
        IReadOnlyList<DeliveryTask> then = await database.GetDeliveriesAsync(before, Cancellation);
        Clock.Advance(10 * Lease);

        IReadOnlyList<Undelivered> asked = await database.SendAgainAsync(["archive"], null, Person, Cancellation);

        Assert.Equal(["given up", "refused", "out of resources"], asked.Select(some => some.Outcome));
        IReadOnlyList<Work> work = await LeaseAsync(database, Stage.Deliveries, "archive");
        IReadOnlyList<DeliveryTask> tasks = [.. (await database.GetDeliveriesAsync(work, Cancellation)).OrderBy(task => task.Delivery.Id)];
        Assert.Equal(then.Skip(2).Select(task => task.Delivery.Id), tasks.Select(task => task.Delivery.Id));
        Assert.Equivalent(then.Skip(2).Select(task => task.Object), tasks.Select(task => task.Object), strict: true);
        Assert.All(tasks, task => Assert.Equal((DeliveryState.Waiting, madeAt, Clock.GetUtcNow()), (task.Delivery.State, task.Delivery.CreatedAt, task.Delivery.AskedAt)));
        // What had ended begins anew; what was waiting is only tried earlier.
        Assert.Equal([Clock.GetUtcNow(), Clock.GetUtcNow(), madeAt], tasks.Select(task => task.Delivery.QueuedAt));
        Assert.Equal([0, 0, 1], tasks.Select(task => task.Work.Attempts));
        Assert.Equal([1, 1, 1], tasks.Select(task => task.Delivery.Attempts));
        Assert.All(
            await database.GetUndeliveredAsync(null, sitting, Cancellation), some => Assert.Equal((Person, Clock.GetUtcNow()), (some.AskedBy, some.AskedAt)));

        await database.CompleteDeliveriesAsync([.. work.Select(piece => new DeliveryResult(piece, DeliveryState.Stored, 0x0000, "stored", null))], Cancellation);
        Assert.Empty(await database.GetUndeliveredAsync(null, null, Cancellation));
        Assert.Empty(await database.GetOpenWorkAsync(null, Cancellation));
        Assert.Equal(5, Assert.Single(await database.GetReportAsync(null, Cancellation)).Deliveries.Count);
    }

    [Fact]
    public async Task Asked_again_before_it_was_tried_nothing_changes_and_afterwards_it_may_be_asked_again()
    {
        IPipelineDatabase database = await OpenedAsync();
        await EndedSittingAsync(database);
        Assert.Equal(3, (await database.SendAgainAsync(["archive"], null, Person, Cancellation)).Count);

        Assert.Empty(await database.SendAgainAsync(["archive"], null, "S. Example", Cancellation));
        IReadOnlyList<Work> work = await LeaseAsync(database, Stage.Deliveries, "archive");
        Assert.Empty(await database.SendAgainAsync(["archive"], null, "S. Example", Cancellation));

        Assert.Equal(3, work.Count);
        Assert.All(await database.GetUndeliveredAsync(null, null, Cancellation), some => Assert.Equal(Person, some.AskedBy));
        // Whoever had it in hands has lost nothing.
        Assert.Empty(await database.CompleteDeliveriesAsync([.. work.Select(piece => new DeliveryResult(piece, DeliveryState.Refused, 0xC000, "no", null))], Cancellation));
        Clock.Advance(Lease);
        Assert.Equal(3, Assert.Single(await database.SendAgainAsync(["archive"], null, "S. Example", Cancellation)).Count);
        Undelivered waiting = Assert.Single(await database.GetUndeliveredAsync(null, null, Cancellation));
        Assert.Equal((DeliveryState.Waiting, 3, "S. Example"), (waiting.State, waiting.Count, waiting.AskedBy));
        Assert.Equal(3, (await LeaseAsync(database, Stage.Deliveries, "archive")).Count);
    }

    [Fact]
    public async Task Only_what_was_asked_for_is_sent_again()
    {
        IPipelineDatabase database = await OpenedAsync();
        (long first, _) = await EndedSittingAsync(database, "1");
        (long second, _) = await EndedSittingAsync(database, "2");
        await EndedSittingAsync(database, "3", "elsewhere");

        Assert.Equal(3, (await database.SendAgainAsync(["archive", "unknown"], second, Person, Cancellation)).Sum(some => some.Count));
        Assert.Empty(await database.SendAgainAsync([], null, Person, Cancellation));
        Assert.Empty(await database.SendAgainAsync(["elsewhere"], first, Person, Cancellation));

        IReadOnlyList<DeliveryTask> due = await database.GetDeliveriesAsync(await LeaseAsync(database, Stage.Deliveries, "archive"), Cancellation);
        Assert.Equal([second, second, second], due.Select(task => task.Object.SittingId));
        Assert.Empty(await LeaseAsync(database, Stage.Deliveries, "elsewhere"));
    }

    [Fact]
    public async Task A_worker_that_was_overtaken_does_not_end_what_was_asked_for_since()
    {
        IPipelineDatabase database = await OpenedAsync();
        await QueuedSittingAsync(database, ["1/a.jpg"], "archive");
        Work stalled = Assert.Single(await LeaseAsync(database, Stage.Deliveries, "archive"));
        Clock.Advance(Lease);
        IPipelineDatabase other = await OpenedAsync("another");
        Work refused = Assert.Single(await LeaseAsync(other, Stage.Deliveries, "archive"));
        Assert.Empty(await other.CompleteDeliveriesAsync([new DeliveryResult(refused, DeliveryState.Refused, 0xC000, "no", null)], Cancellation));
        Assert.Single(await other.SendAgainAsync(["archive"], null, Person, Cancellation));

        Assert.Equal([stalled], await database.CompleteDeliveriesAsync([new DeliveryResult(stalled, DeliveryState.Refused, 0xC000, "no", null)], Cancellation));

        Assert.Equal(DeliveryState.Waiting, Assert.Single(await database.GetUndeliveredAsync(null, null, Cancellation)).State);
        Assert.Single(await LeaseAsync(other, Stage.Deliveries, "archive"));
    }
}
