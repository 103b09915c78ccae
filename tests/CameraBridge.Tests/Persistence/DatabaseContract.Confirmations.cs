using CameraBridge.Persistence;
using CameraBridge.Pipeline;
using Xunit;

namespace CameraBridge.Tests.Persistence;

/// <summary>Whether archives keep what was delivered: requests for storage commitment, their reports, and what comes of asking.</summary>
public abstract partial class DatabaseContract
{
    /// <summary>How often an object is sent again, here.</summary>
    private const int SendAgainMost = 1;

    private static readonly string[] TwoPlaces = ["1/a.jpg", "1/b.jpg"];

    [Fact]
    public async Task What_is_stored_is_to_be_confirmed_when_it_was_said_when()
    {
        IPipelineDatabase database = await OpenedAsync();
        await QueuedSittingAsync(database, TwoPlaces, "archive");
        IReadOnlyList<Work> work = await LeaseAsync(database, Stage.Deliveries, "archive");
        DateTimeOffset first = Clock.GetUtcNow().AddSeconds(5);
        await database.CompleteDeliveriesAsync(
            [
                new DeliveryResult(work[0], DeliveryState.Stored, 0, "stored", null) { ConfirmAt = first },
                new DeliveryResult(work[1], DeliveryState.Stored, 0, "stored", null),
            ],
            Cancellation);

        Assert.Empty(await LeaseAsync(database, Stage.Confirmations, "archive"));
        Clock.Advance(TimeSpan.FromSeconds(5));
        IReadOnlyList<ConfirmationTask> tasks = await database.GetConfirmationsAsync(await LeaseAsync(database, Stage.Confirmations, "archive"), Cancellation);

        ConfirmationTask task = Assert.Single(tasks);
        Assert.Equal((work[0].SubjectId, ConfirmationState.Waiting, 0, 0), (task.Confirmation.DeliveryId, task.Confirmation.State, task.Confirmation.Asked, task.Confirmation.SentAgain));
        Assert.Equal((await DeliveriesAsync(database))[0].ImagingObjectId, task.Object.Id);
        Assert.Null((await DeliveriesAsync(database))[1].Confirmation);
    }

    [Fact]
    public async Task A_request_is_known_by_its_transaction_and_one_that_nobody_wrote_is_not()
    {
        IPipelineDatabase database = await OpenedAsync();
        IReadOnlyList<Work> asking = await StoredAsync(database, TwoPlaces, "archive");

        await database.StartCommitmentAsync("2.25.1", "archive", [.. asking.Select(work => work.SubjectId)], Cancellation);
        await database.StartCommitmentAsync("2.25.2", "archive", [asking[1].SubjectId], Cancellation);

        Assert.Equal(asking.Select(work => work.SubjectId), (await database.GetCommitmentAsync("2.25.1", Cancellation)).Select(task => task.Confirmation.DeliveryId));
        Assert.Equal(asking[1].SubjectId, Assert.Single(await database.GetCommitmentAsync("2.25.2", Cancellation)).Confirmation.DeliveryId);
        Assert.Empty(await database.GetCommitmentAsync("2.25.3", Cancellation));
        Assert.All(await DeliveriesAsync(database), delivery => Assert.Equal(ConfirmationState.Waiting, delivery.Confirmation!.State));
    }

    [Fact]
    public async Task A_Transaction_UID_is_used_once()
    {
        IPipelineDatabase database = await OpenedAsync();
        IReadOnlyList<Work> asking = await StoredAsync(database, TwoPlaces, "archive");
        await database.StartCommitmentAsync("2.25.1", "archive", [asking[0].SubjectId], Cancellation);

        await Assert.ThrowsAnyAsync<Exception>(() => database.StartCommitmentAsync("2.25.1", "archive", [asking[1].SubjectId], Cancellation));

        Assert.Equal(asking[0].SubjectId, Assert.Single(await database.GetCommitmentAsync("2.25.1", Cancellation)).Confirmation.DeliveryId);
    }

    [Fact]
    public async Task A_report_is_taken_whoever_has_the_work_in_hand_and_the_same_again_changes_nothing()
    {
        IPipelineDatabase database = await OpenedAsync("room-1/b/n:1:1");
        IPipelineDatabase other = await OpenedAsync("room-2/b/n:1:1");
        IReadOnlyList<Work> asking = await StoredAsync(database, TwoPlaces, "archive");
        await database.StartCommitmentAsync("2.25.1", "archive", [.. asking.Select(work => work.SubjectId)], Cancellation);

        await other.CompleteCommitmentAsync("2.25.1", [.. asking.Select(work => Kept(work))], Cancellation);
        IReadOnlyList<Delivery> kept = await DeliveriesAsync(database);
        Clock.Advance(TimeSpan.FromMinutes(1));
        await database.CompleteCommitmentAsync("2.25.1", [.. asking.Select(work => Kept(work))], Cancellation);

        Assert.All(kept, delivery => Assert.Equal(
            (DeliveryState.Stored, ConfirmationState.Kept, (ConfirmationWay?)ConfirmationWay.Commitment, 1),
            (delivery.State, delivery.Confirmation!.State, delivery.Confirmation.Way, delivery.Confirmation.Asked)));
        Assert.Equal(kept.Select(delivery => delivery.Confirmation), (await DeliveriesAsync(database)).Select(delivery => delivery.Confirmation));
        Assert.Equal(2, (await database.CountWorkAsync(Cancellation))[Stage.Releases]);

        // Who asked finds its work gone, and what it would write is not written.
        Assert.Equal(asking, await database.CompleteConfirmationsAsync([.. asking.Select(work => Waiting(work, Clock.GetUtcNow()))], Cancellation));
        Assert.Empty(await LeaseAsync(database, Stage.Confirmations, "archive"));
    }

    [Fact]
    public async Task What_a_report_calls_missing_is_sent_again_under_its_row_and_UID_and_the_rest_stays_kept()
    {
        IPipelineDatabase database = await OpenedAsync();
        IReadOnlyList<Work> asking = await StoredAsync(database, TwoPlaces, "archive");
        ConfirmationTask missed = (await database.GetConfirmationsAsync(asking, Cancellation))[1];
        await database.StartCommitmentAsync("2.25.1", "archive", [.. asking.Select(work => work.SubjectId)], Cancellation);

        await database.CompleteCommitmentAsync("2.25.1", [Kept(asking[0]), Missing(asking[1])], Cancellation);

        IReadOnlyList<Delivery> after = await DeliveriesAsync(database);
        Assert.Equal([DeliveryState.Stored, DeliveryState.Waiting], after.Select(delivery => delivery.State));
        Assert.Equal([ConfirmationState.Kept, ConfirmationState.Waiting], after.Select(delivery => delivery.Confirmation!.State));
        Work sending = Assert.Single(await LeaseAsync(database, Stage.Deliveries, "archive"));
        DeliveryTask task = Assert.Single(await database.GetDeliveriesAsync([sending], Cancellation));
        Assert.Equal((asking[1].SubjectId, missed.Object.SOPInstanceUID), (task.Delivery.Id, task.Object.SOPInstanceUID));

        // Stored again, it is asked for anew, and counts from the beginning.
        await database.CompleteDeliveriesAsync([new DeliveryResult(sending, DeliveryState.Stored, 0, "stored", null) { ConfirmAt = Clock.GetUtcNow() }], Cancellation);
        ConfirmationTask again = Assert.Single(await database.GetConfirmationsAsync(await LeaseAsync(database, Stage.Confirmations, "archive"), Cancellation));
        Assert.Equal((asking[1].SubjectId, 0, 1), (again.Confirmation.DeliveryId, again.Confirmation.Asked, again.Confirmation.SentAgain));
    }

    [Fact]
    public async Task What_is_missing_more_often_than_it_may_be_sent_is_given_to_a_person_who_may_have_it_asked_again()
    {
        IPipelineDatabase database = await OpenedAsync();
        Work asking = Assert.Single(await StoredAsync(database, ["1/a.jpg"], "archive"));
        await database.CompleteConfirmationsAsync([Result(asking, ConfirmationOutcome.Missing)], Cancellation);
        asking = Assert.Single(await StoreAsync(database, "archive"));

        await database.CompleteConfirmationsAsync([Result(asking, ConfirmationOutcome.Missing)], Cancellation);

        Delivery delivery = Assert.Single(await DeliveriesAsync(database));
        Assert.Equal((DeliveryState.Stored, ConfirmationState.Unconfirmed, 1), (delivery.State, delivery.Confirmation!.State, delivery.Confirmation.SentAgain));
        Assert.Empty(await database.GetOpenWorkAsync(null, Cancellation));
        Unconfirmed shown = Assert.Single(await database.GetUnconfirmedAsync(null, null, Cancellation));
        Assert.Equal(("archive", ConfirmationState.Unconfirmed, 1, "it is not there"), (shown.Destination, shown.State, shown.Count, shown.Words));

        Assert.Equal(0, await database.AskAgainAsync(["another"], null, Cancellation));
        Assert.Equal(1, await database.AskAgainAsync(["archive"], null, Cancellation));
        ConfirmationTask again = Assert.Single(await database.GetConfirmationsAsync(await LeaseAsync(database, Stage.Confirmations, "archive"), Cancellation));
        Assert.Equal((ConfirmationState.Waiting, 0, 0), (again.Confirmation.State, again.Confirmation.Asked, again.Confirmation.SentAgain));
    }

    [Fact]
    public async Task Without_a_report_it_is_asked_again_by_a_new_transaction_and_a_report_of_the_first_still_counts()
    {
        IPipelineDatabase database = await OpenedAsync();
        Work asking = Assert.Single(await StoredAsync(database, ["1/a.jpg"], "archive"));
        await database.StartCommitmentAsync("2.25.1", "archive", [asking.SubjectId], Cancellation);
        Assert.Empty(await database.CompleteConfirmationsAsync([Waiting(asking, Clock.GetUtcNow() + Lease)], Cancellation));
        Assert.Empty(await LeaseAsync(database, Stage.Confirmations, "archive"));
        Assert.Equal(Clock.GetUtcNow() + Lease, Assert.Single(await database.GetUnconfirmedAsync(["archive"], null, Cancellation)).NextAskingAt);

        Clock.Advance(Lease);
        Work again = Assert.Single(await LeaseAsync(database, Stage.Confirmations, "archive"));
        Assert.Equal((1, asking.Attempts + 1), (Assert.Single(await database.GetConfirmationsAsync([again], Cancellation)).Confirmation.Asked, again.Attempts));
        await database.StartCommitmentAsync("2.25.2", "archive", [again.SubjectId], Cancellation);
        await database.CompleteCommitmentAsync("2.25.1", [Kept(asking)], Cancellation);

        Assert.Equal(ConfirmationState.Kept, Assert.Single(await DeliveriesAsync(database)).Confirmation!.State);
        Assert.Equal([again], await database.CompleteConfirmationsAsync([Waiting(again, Clock.GetUtcNow())], Cancellation));

        // The second one fails late: what is kept stays kept.
        await database.CompleteCommitmentAsync("2.25.2", [Missing(again)], Cancellation);
        Assert.Equal((DeliveryState.Stored, ConfirmationState.Kept), State(Assert.Single(await DeliveriesAsync(database))));
        Assert.Empty(await LeaseAsync(database, Stage.Deliveries, "archive"));
    }

    [Fact]
    public async Task A_report_that_commits_while_the_object_is_sent_again_ends_the_sending()
    {
        IPipelineDatabase database = await OpenedAsync();
        Work asking = Assert.Single(await StoredAsync(database, ["1/a.jpg"], "archive"));
        await database.StartCommitmentAsync("2.25.1", "archive", [asking.SubjectId], Cancellation);
        Assert.Empty(await database.CompleteConfirmationsAsync([Result(asking, ConfirmationOutcome.Missing)], Cancellation));
        Work sending = Assert.Single(await LeaseAsync(database, Stage.Deliveries, "archive"));

        await database.CompleteCommitmentAsync("2.25.1", [Kept(asking)], Cancellation);

        Assert.Equal((DeliveryState.Stored, ConfirmationState.Kept), State(Assert.Single(await DeliveriesAsync(database))));
        Assert.Equal([sending], await database.CompleteDeliveriesAsync([new DeliveryResult(sending, DeliveryState.Waiting, null, "broken", Clock.GetUtcNow())], Cancellation));
        Assert.Equal((DeliveryState.Stored, ConfirmationState.Kept), State(Assert.Single(await DeliveriesAsync(database))));
    }

    [Fact]
    public async Task A_report_that_says_nothing_that_counts_leaves_the_asking_as_it_was()
    {
        IPipelineDatabase database = await OpenedAsync();
        Work asking = Assert.Single(await StoredAsync(database, ["1/a.jpg"], "archive"));
        await database.StartCommitmentAsync("2.25.1", "archive", [asking.SubjectId], Cancellation);

        await database.CompleteCommitmentAsync(
            "2.25.1", [new ConfirmationVerdict(asking.SubjectId, ConfirmationOutcome.Waiting, "in neither list", SendAgainMost)], Cancellation);

        Delivery delivery = Assert.Single(await DeliveriesAsync(database));
        Assert.Equal((ConfirmationState.Waiting, "in neither list"), (delivery.Confirmation!.State, delivery.Confirmation.Words));
        Assert.Empty(await database.CompleteConfirmationsAsync([Waiting(asking, Clock.GetUtcNow())], Cancellation));
    }

    [Fact]
    public async Task Requests_outlive_the_process_that_wrote_them()
    {
        IPipelineDatabase before = await OpenAsync("room-1/b/n:1:1");
        IReadOnlyList<Work> asking = await StoredAsync(before, TwoPlaces, "archive");
        await before.StartCommitmentAsync("2.25.1", "archive", [.. asking.Select(work => work.SubjectId)], Cancellation);
        await before.CompleteConfirmationsAsync([.. asking.Select(work => Waiting(work, Clock.GetUtcNow() + Lease))], Cancellation);
        await before.DisposeAsync();

        IPipelineDatabase after = await OpenedAsync("room-2/b/n:1:1");

        Assert.Equal(2, (await after.GetCommitmentAsync("2.25.1", Cancellation)).Count);
        await after.CompleteCommitmentAsync("2.25.1", [Kept(asking[0]), Missing(asking[1])], Cancellation);
        Assert.Equal([(DeliveryState.Stored, ConfirmationState.Kept), (DeliveryState.Waiting, ConfirmationState.Waiting)], (await DeliveriesAsync(after)).Select(State));
    }

    [Fact]
    public async Task Who_was_overtaken_while_it_asked_changes_nothing()
    {
        IPipelineDatabase frozen = await OpenedAsync("room-1/b/n:1:1");
        IPipelineDatabase other = await OpenedAsync("room-2/b/n:1:1");
        Work overtaken = Assert.Single(await StoredAsync(frozen, ["1/a.jpg"], "archive"));
        Clock.Advance(Lease);
        Work latest = Assert.Single(await LeaseAsync(other, Stage.Confirmations, "archive"));

        foreach (ConfirmationOutcome outcome in Enum.GetValues<ConfirmationOutcome>())
        {
            Assert.Equal([overtaken], await frozen.CompleteConfirmationsAsync([Result(overtaken, outcome)], Cancellation));
            Assert.Equal((DeliveryState.Stored, ConfirmationState.Waiting), State(Assert.Single(await DeliveriesAsync(other))));
        }

        Assert.Empty(await other.CompleteConfirmationsAsync([Result(latest, ConfirmationOutcome.Kept)], Cancellation));
        Assert.Equal((DeliveryState.Stored, ConfirmationState.Kept), State(Assert.Single(await DeliveriesAsync(frozen))));
    }

    [Fact]
    public async Task Reports_that_contradict_each_other_at_the_same_moment_leave_one_sound_state()
    {
        IPipelineDatabase[] workers = [await OpenedAsync("room-1/b/n:1:1"), await OpenedAsync("room-2/b/n:1:1")];
        Work asking = Assert.Single(await StoredAsync(workers[0], ["1/a.jpg"], "archive"));
        await workers[0].StartCommitmentAsync("2.25.1", "archive", [asking.SubjectId], Cancellation);
        await workers[0].StartCommitmentAsync("2.25.2", "archive", [asking.SubjectId], Cancellation);

        await Task.WhenAll(
            Task.Run(() => workers[0].CompleteCommitmentAsync("2.25.1", [Kept(asking)], Cancellation), Cancellation),
            Task.Run(() => workers[1].CompleteCommitmentAsync("2.25.2", [Missing(asking)], Cancellation), Cancellation));

        // Whichever came first: a commitment holds from then on, and nothing is left to do for it but the release.
        Assert.Equal((DeliveryState.Stored, ConfirmationState.Kept), State(Assert.Single(await DeliveriesAsync(workers[0]))));
        Assert.Equal([Stage.Releases], (await workers[0].GetOpenWorkAsync(null, Cancellation)).Select(open => open.Stage));
    }

    [Fact]
    public async Task A_source_may_be_released_only_when_the_last_destination_keeps_the_object()
    {
        IPipelineDatabase database = await OpenedAsync();
        await QueuedSittingAsync(database, ["1/a.jpg"], "near", "far");
        Work near = Assert.Single(await StoreAsync(database, "near"));
        Work far = Assert.Single(await StoreAsync(database, "far"));

        await database.CompleteConfirmationsAsync([Result(near, ConfirmationOutcome.Kept)], Cancellation);
        Assert.Empty(await LeaseAsync(database, Stage.Releases, "stick"));
        await database.CompleteConfirmationsAsync([Result(far, ConfirmationOutcome.Unconfirmed)], Cancellation);
        Assert.Empty(await LeaseAsync(database, Stage.Releases, "stick"));
        await database.AskAgainAsync(["far"], null, Cancellation);
        await database.CompleteConfirmationsAsync([Result(Assert.Single(await LeaseAsync(database, Stage.Confirmations, "far")), ConfirmationOutcome.Kept)], Cancellation);

        Assert.Single(await LeaseAsync(database, Stage.Releases, "stick"));
    }

    private static async Task<IReadOnlyList<Delivery>> DeliveriesAsync(IPipelineDatabase database) =>
        [.. (await database.GetReportAsync(null, Cancellation)).SelectMany(report => report.Deliveries).OrderBy(delivery => delivery.Id)];

    private static (DeliveryState, ConfirmationState) State(Delivery delivery) => (delivery.State, delivery.Confirmation!.State);

    private static ConfirmationVerdict Kept(Work asked) => new(asked.SubjectId, ConfirmationOutcome.Kept, "it commits to keeping it", SendAgainMost);

    private static ConfirmationVerdict Missing(Work asked) => new(asked.SubjectId, ConfirmationOutcome.Missing, "it is not there", SendAgainMost);

    private static ConfirmationResult Waiting(Work asked, DateTimeOffset dueAt) =>
        new(asked, ConfirmationOutcome.Waiting, ConfirmationWay.Commitment, "it has not reported yet", dueAt, SendAgainMost);

    private ConfirmationResult Result(Work asked, ConfirmationOutcome outcome) =>
        new(asked, outcome, ConfirmationWay.Query, "it is not there", outcome == ConfirmationOutcome.Waiting ? Clock.GetUtcNow() : null, SendAgainMost);

    /// <summary>Takes a folder to the archive, which says that it stored it.</summary>
    /// <returns>The work of asking whether it keeps it, leased.</returns>
    private async Task<IReadOnlyList<Work>> StoredAsync(IPipelineDatabase database, string[] places, string destination)
    {
        await QueuedSittingAsync(database, places, destination);
        return await StoreAsync(database, destination);
    }

    private async Task<IReadOnlyList<Work>> StoreAsync(IPipelineDatabase database, string destination)
    {
        IReadOnlyList<Work> sending = await LeaseAsync(database, Stage.Deliveries, destination);
        Assert.Empty(await database.CompleteDeliveriesAsync(
            [.. sending.Select(work => new DeliveryResult(work, DeliveryState.Stored, 0, "stored", null) { ConfirmAt = Clock.GetUtcNow() })], Cancellation));
        return [.. (await LeaseAsync(database, Stage.Confirmations, destination)).OrderBy(work => work.SubjectId)];
    }
}
