using CameraBridge.Persistence;
using CameraBridge.Pipeline;
using Xunit;

namespace CameraBridge.Tests.Persistence;

/// <summary>Matches, assignments, objects and deliveries.</summary>
public abstract partial class DatabaseContract
{
    [Fact]
    public async Task A_match_comes_back_as_it_was_decided()
    {
        IPipelineDatabase database = await OpenedAsync();
        long sitting = await ClosedSittingAsync(database, "1/a.jpg");
        var match = new Match
        {
            SittingId = sitting,
            HeldReasons = [new Reason("several-steps", "three steps fit")],
            Evidence = [new Reason("label", "a label names the patient")],
            Proposals = [new Proposal("{}", [new Reason("station", "same station")], [new Reason("late", "two days late")])],
            Inquiry = """{"query":{}}""",
            DecidedAt = Clock.GetUtcNow(),
        };

        Assert.True(await database.CompleteMatchAsync(Assert.Single(await LeaseAsync(database, Stage.Matches)), match, Cancellation));

        HeldSitting held = Assert.Single(await database.GetHeldAsync(Cancellation));
        Assert.Equal(SittingState.Held, held.Sitting.State);
        Assert.Equivalent(match, held.Match, strict: true);
        Assert.Empty(await database.GetOpenWorkAsync(null, Cancellation));
    }

    [Fact]
    public async Task A_deferred_match_is_shown_with_its_reason_and_asked_again_when_due()
    {
        IPipelineDatabase database = await OpenedAsync();
        long sitting = await ClosedSittingAsync(database, "1/a.jpg");
        Match waits = new() { SittingId = sitting, HeldReasons = [new Reason("worklist-down", "the worklist does not answer")] };
        Assert.True(await database.DeferMatchAsync(
            Assert.Single(await LeaseAsync(database, Stage.Matches)), waits, Clock.GetUtcNow() + Lease, Cancellation));

        Assert.Equal(SittingState.Closed, Assert.Single(await database.GetHeldAsync(Cancellation)).Sitting.State);
        Assert.Empty(await LeaseAsync(database, Stage.Matches));
        Clock.Advance(Lease);
        Work work = Assert.Single(await LeaseAsync(database, Stage.Matches));
        Assert.Equal(1, work.Attempts);
        Assert.True(await database.CompleteMatchAsync(work, MatchOf(sitting), Cancellation));
        Assert.Empty(await database.GetHeldAsync(Cancellation));
        Assert.Empty((await database.GetMatchAsync(sitting, Cancellation))!.HeldReasons);
    }

    [Fact]
    public async Task A_person_may_decide_a_held_sitting_once()
    {
        IPipelineDatabase database = await OpenedAsync();
        long sitting = await ClosedSittingAsync(database, "1/a.jpg");
        Match decision = MatchOf(sitting) with { DecidedBy = "R. Example" };
        Assert.False(await database.AssignAsync(decision, Cancellation));
        await database.CompleteMatchAsync(
            Assert.Single(await LeaseAsync(database, Stage.Matches)), new Match { SittingId = sitting, HeldReasons = [new Reason("no-label", "no label")] }, Cancellation);

        Assert.True(await database.AssignAsync(decision, Cancellation));
        Assert.False(await database.AssignAsync(decision, Cancellation));

        Assert.Equal("R. Example", (await database.GetMatchAsync(sitting, Cancellation))!.DecidedBy);
        Assert.Equal(sitting, Assert.Single(await LeaseAsync(database, Stage.Objects)).SubjectId);
        Assert.False(await database.AssignAsync(MatchOf(999), Cancellation));
    }

    [Fact]
    public async Task A_persons_decision_overtakes_a_question_to_the_worklist_that_is_under_way()
    {
        IPipelineDatabase database = await OpenedAsync();
        long sitting = await ClosedSittingAsync(database, "1/a.jpg");
        await database.DeferMatchAsync(Assert.Single(await LeaseAsync(database, Stage.Matches)), new Match { SittingId = sitting }, Clock.GetUtcNow(), Cancellation);
        Work asking = Assert.Single(await LeaseAsync(database, Stage.Matches));

        Assert.True(await database.AssignAsync(MatchOf(sitting) with { DecidedBy = "R. Example" }, Cancellation));

        Assert.False(await database.CompleteMatchAsync(asking, new Match { SittingId = sitting }, Cancellation));
        Assert.False(await database.DeferMatchAsync(asking, new Match { SittingId = sitting }, Clock.GetUtcNow(), Cancellation));
        Assert.Equal(SittingState.Matched, (await database.GetSittingAsync(sitting, Cancellation))!.State);
        Assert.Single(await LeaseAsync(database, Stage.Objects));
    }

    [Fact]
    public async Task Objects_are_queued_for_every_destination_and_come_back_piece_by_piece()
    {
        IPipelineDatabase database = await OpenedAsync();
        long sitting = await MatchedSittingAsync(database, "1/a.jpg", "1/b.jpg", "1/c.jpg");
        IReadOnlyList<Capture> captures = await database.GetCapturesOfSittingAsync(sitting, Cancellation);
        Work work = Assert.Single(await LeaseAsync(database, Stage.Objects));
        CaptureVerdict[] others = [new(captures[1].Id, CaptureState.Evidence, null), new(captures[2].Id, CaptureState.Held, "progressive JPEG")];

        Assert.True(await database.CompleteObjectsAsync(work, [ObjectOf(captures[0])], others, ["archive", "second"], Cancellation));
        Assert.False(await database.CompleteObjectsAsync(work, [ObjectOf(captures[0])], others, ["archive", "second"], Cancellation));

        Work delivery = Assert.Single(await LeaseAsync(database, Stage.Deliveries, "second"));
        DeliveryTask task = Assert.Single(await database.GetDeliveriesAsync([delivery], Cancellation));
        Assert.Equal(("second", DeliveryState.Waiting, Clock.GetUtcNow()), (task.Delivery.Destination, task.Delivery.State, task.Delivery.CreatedAt));
        Assert.Equivalent(ObjectOf(captures[0]) with { Id = task.Object.Id, SittingId = sitting }, task.Object, strict: true);
        SittingReport report = Assert.Single(await database.GetReportAsync("stick", Cancellation));
        Assert.Equal([CaptureState.Encoded, CaptureState.Evidence, CaptureState.Held], report.Captures.Select(capture => capture.State));
        Assert.Equal(["archive", "second"], report.Deliveries.Select(one => one.Destination));
        Assert.Equal("progressive JPEG", Assert.Single(await database.GetHeldAsync(Cancellation)).Captures[2].HeldReason);
    }

    [Fact]
    public async Task Final_outcomes_end_the_work_and_waiting_ones_come_again()
    {
        IPipelineDatabase database = await OpenedAsync();
        await QueuedSittingAsync(database, ["1/a.jpg", "1/b.jpg", "1/c.jpg"], "archive");
        IReadOnlyList<Work> work = await LeaseAsync(database, Stage.Deliveries, "archive");
        DateTimeOffset due = Clock.GetUtcNow() + Lease;

        Assert.Empty(await database.CompleteDeliveriesAsync(
            [
                new DeliveryResult(work[0], DeliveryState.Stored, 0x0000, "stored", null),
                new DeliveryResult(work[1], DeliveryState.Waiting, 0xA700, "the archive is out of resources", due),
                new DeliveryResult(work[2], DeliveryState.Waiting, null, "the archive is down", due, Tried: false),
            ],
            Cancellation));

        IReadOnlyList<Delivery> deliveries = Assert.Single(await database.GetReportAsync(null, Cancellation)).Deliveries;
        Assert.Equal([DeliveryState.Stored, DeliveryState.Waiting, DeliveryState.Waiting], deliveries.Select(delivery => delivery.State));
        Assert.Equal([(ushort)0, (ushort)0xA700, null], deliveries.Select(delivery => delivery.Status));
        Assert.Equal([1, 1, 0], deliveries.Select(delivery => delivery.Attempts));
        Clock.Advance(Lease);
        IReadOnlyList<Work> again = await LeaseAsync(database, Stage.Deliveries, "archive");
        Assert.Equal([work[1].Id, work[2].Id], again.Select(piece => piece.Id));
        Assert.Equal([1, 0], again.Select(piece => piece.Attempts));
        Assert.Equal([work[0]], await database.CompleteDeliveriesAsync([new DeliveryResult(work[0], DeliveryState.Refused, 0xC000, "no", null)], Cancellation));
        Assert.Equal(DeliveryState.Stored, Assert.Single(await database.GetReportAsync(null, Cancellation)).Deliveries[0].State);
    }
}
