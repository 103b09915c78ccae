using CameraBridge.Persistence;
using CameraBridge.Pipeline;
using CameraBridge.Pipeline.Sittings.Cues.Cards;
using CameraBridge.Pipeline.Objects.Optics;
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
            Proposals = [new Proposal("{}", [new Reason("station", "same station")], [new Reason("late", "two days late")]) { Probability = 0.25 }],
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
    public async Task The_sittings_of_a_source_tell_when_they_began_and_what_they_were_filed_under()
    {
        IPipelineDatabase database = await OpenedAsync();
        DateTimeOffset opened = Clock.GetUtcNow();
        long held = await ClosedSittingAsync(database, "1/a.jpg", "1/b.jpg");
        await database.CompleteMatchAsync(Assert.Single(await LeaseAsync(database, Stage.Matches)), new Match { SittingId = held, HeldReasons = [new Reason("no-label", "no label")] }, Cancellation);
        Clock.Advance(TimeSpan.FromHours(1));
        long matched = await MatchedSittingAsync(database, "2/a.jpg");
        await AddAsync(database, "3/a.jpg");

        IReadOnlyList<SittingTime> all = await database.GetSittingTimesAsync("stick", opened, Clock.GetUtcNow(), matchedOnly: false, 10, Cancellation);
        IReadOnlyList<SittingTime> filed = await database.GetSittingTimesAsync("stick", opened, Clock.GetUtcNow(), matchedOnly: true, 10, Cancellation);

        // The third has not been looked at, so nothing tells when it began.
        Assert.Equal([(matched, SittingState.Matched, 1), (held, SittingState.Held, 2)], all.Select(one => (one.SittingId, one.State, one.Captures)));
        Assert.All(all, one => Assert.Equal(new DateTimeOffset(2026, 11, 25, 9, 0, 0, TimeSpan.FromHours(1)), one.FirstTakenAt));
        Assert.Equal([MatchOf(matched).StepJson, null], all.Select(one => one.StepJson));
        Assert.Equal(matched, Assert.Single(filed).SittingId);
        Assert.Equal(matched, Assert.Single(await database.GetSittingTimesAsync("stick", opened, Clock.GetUtcNow(), matchedOnly: false, 1, Cancellation)).SittingId);
        Assert.Empty(await database.GetSittingTimesAsync("other", opened, Clock.GetUtcNow(), matchedOnly: false, 10, Cancellation));
        Assert.Equal(held, Assert.Single(await database.GetSittingTimesAsync("stick", opened, opened, matchedOnly: false, 10, Cancellation)).SittingId);
    }

    [Fact]
    public async Task What_was_known_of_a_cameras_clock_stays_with_the_match_and_with_a_persons_decision_after_it()
    {
        IPipelineDatabase database = await OpenedAsync();
        long sitting = await ClosedSittingAsync(database, "1/a.jpg");
        CameraClock clock = new(
            new ClockEstimate { OffsetSeconds = -3571.5, DeviationSeconds = 2.25, DriftSecondsADay = 1.5, Cards = 2, Steps = 3, Arrivals = 4, Camera = "Beispiel A 1" },
            [new Reason(CameraClock.DaylightSaving, "the camera's clock was not put forward to summer time")]);
        await database.CompleteMatchAsync(
            Assert.Single(await LeaseAsync(database, Stage.Matches)), new Match { SittingId = sitting, HeldReasons = [new Reason("no-label", "no label")], Clock = clock }, Cancellation);
        Assert.Equivalent(clock, (await database.GetMatchAsync(sitting, Cancellation))!.Clock, strict: true);

        Assert.True(await database.AssignAsync(MatchOf(sitting) with { DecidedBy = "R. Example" }, Cancellation));

        Assert.Equivalent(clock, (await database.GetMatchAsync(sitting, Cancellation))!.Clock, strict: true);
    }

    [Fact]
    public async Task Pictures_tell_their_camera_and_what_its_clock_showed_the_latest_first()
    {
        IPipelineDatabase database = await OpenedAsync();
        DateTimeOffset shown = new(2026, 11, 25, 10, 3, 12, TimeSpan.FromHours(1));
        IReadOnlyList<long> ids = await AddAsync(database, "1/a.jpg", "1/b.jpg");
        IReadOnlyList<Work> work = await LeaseAsync(database, Stage.Cues);
        Cue card = new() { Kind = CueKind.Card, Card = new CardCue(CardKeys.Clock, "20261125T090000Z") };
        await database.CompleteCuesAsync(
            [.. work.Select(piece => new CaptureReading(piece, shown, "exif", piece.SubjectId == ids[0] ? [card] : []) { Camera = piece.SubjectId == ids[0] ? "Beispiel A 1" : null })], Cancellation);

        IReadOnlyList<ClockMoment> moments = await database.GetClockMomentsAsync("stick", Clock.GetUtcNow().AddDays(-1), 10, Cancellation);

        Assert.Equal([(ids[1], null, null), (ids[0], "Beispiel A 1", new DateTimeOffset(2026, 11, 25, 9, 0, 0, TimeSpan.Zero))], moments.Select(moment => (moment.CaptureId, moment.Camera, moment.Card)));
        Assert.All(moments, moment => Assert.Equal((shown, "exif"), (moment.TakenAt, moment.TakenAtOrigin)));
        Assert.Equal("Beispiel A 1", (await database.GetCapturesAsync([ids[0]], Cancellation))[0].Camera);
        Assert.Single(await database.GetClockMomentsAsync("stick", Clock.GetUtcNow().AddDays(-1), 1, Cancellation));
        Assert.Empty(await database.GetClockMomentsAsync("stick", Clock.GetUtcNow().AddDays(1), 10, Cancellation));
        Assert.Empty(await database.GetClockMomentsAsync("other", Clock.GetUtcNow().AddDays(-1), 10, Cancellation));
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
    public async Task Held_captures_of_a_matched_sitting_are_tried_again_under_its_own_step_only()
    {
        IPipelineDatabase database = await OpenedAsync();
        long sitting = await MatchedSittingAsync(database, "1/a.jpg", "1/b.jpg", "1/c.jpg");
        Match again = MatchOf(sitting) with { DecidedBy = "R. Example", Evidence = [new Reason("again", "tried again")] };
        Assert.False(await database.MakeAgainAsync(again, Cancellation));
        IReadOnlyList<Capture> captures = await database.GetCapturesOfSittingAsync(sitting, Cancellation);
        ObjectSeries series = new()
        {
            SeriesInstanceUID = "2.25.77",
            Optic = "ear",
            Kind = CaptureKind.Clip,
            Equipment = "ES\ncamera",
            SeriesNumber = 1,
            StartedAt = new DateTimeOffset(2026, 11, 25, 9, 0, 0, TimeSpan.FromHours(1)),
            Instances = 1,
        };
        CaptureVerdict[] others = [new(captures[1].Id, CaptureState.Evidence, null), new(captures[2].Id, CaptureState.Held, "no such optic")];
        Assert.True(await database.CompleteObjectsAsync(
            Assert.Single(await LeaseAsync(database, Stage.Objects)), [ObjectOf(captures[0])], [series], others, Cancellation));

        Assert.False(await database.MakeAgainAsync(again with { StepJson = "{}" }, Cancellation));
        Assert.Equal(CaptureState.Held, (await database.GetCapturesOfSittingAsync(sitting, Cancellation))[2].State);
        Cue said = new() { CaptureId = captures[2].Id, Kind = CueKind.Decision, Side = "L", Values = OpticValues.None.With("lens_power", "-3") };
        Assert.True(await database.MakeAgainAsync(again with { Said = [said] }, Cancellation));
        Assert.False(await database.MakeAgainAsync(again with { Said = [said] }, Cancellation));
        Assert.Equal([said], await database.GetCuesOfSittingAsync(sitting, Cancellation));
        ImagingObject made = Assert.Single(await database.GetObjectsOfSittingAsync(sitting, Cancellation));
        Assert.Equal((captures[0].Id, ObjectOf(captures[0]).SOPInstanceUID), (made.CaptureId, made.SOPInstanceUID));

        Assert.Empty(await database.GetHeldAsync(Cancellation));
        Assert.Equal(
            [CaptureState.Encoded, CaptureState.Evidence, CaptureState.Read],
            (await database.GetCapturesOfSittingAsync(sitting, Cancellation)).Select(capture => capture.State));
        Assert.Equal("R. Example", (await database.GetMatchAsync(sitting, Cancellation))!.DecidedBy);
        Assert.Equal(series, Assert.Single(await database.GetSeriesOfSittingAsync(sitting, Cancellation)));
        Work work = Assert.Single(await LeaseAsync(database, Stage.Objects));
        Assert.Equal(sitting, work.SubjectId);
        Assert.True(await database.CompleteObjectsAsync(work, [ObjectOf(captures[2])], [series with { Instances = 2 }], [], Cancellation));
        Assert.Equal(2, Assert.Single(await database.GetSeriesOfSittingAsync(sitting, Cancellation)).Instances);
        Assert.Equal(2, (await LeaseAsync(database, Stage.Deliveries, "archive")).Count);
    }

    [Fact]
    public async Task Who_makes_objects_of_a_sitting_that_is_tried_again_is_overtaken_and_changes_nothing()
    {
        IPipelineDatabase database = await OpenedAsync();
        long[] captures = [.. await AddAsync(database, "1/a.jpg", "1/b.jpg")];
        Work poisoned = (await LeaseAsync(database, Stage.Cues)).Single(work => work.SubjectId == captures[1]);
        Assert.True(await database.HoldAsync(poisoned, new Reason("internal-error", "see the log"), Cancellation));
        Clock.Advance(Lease);
        await ReadCuesAsync(database);
        await database.CloseSoonAsync("stick", null, Cancellation);
        Work closing = Assert.Single(await LeaseAsync(database, Stage.Sittings));
        Assert.True(await database.CompleteSittingAsync(closing, [new SittingPart(captures, "folder", Empty: false)], Cancellation));
        Assert.True(await database.CompleteMatchAsync(Assert.Single(await LeaseAsync(database, Stage.Matches)), MatchOf(closing.SubjectId), Cancellation));
        Work overtaken = Assert.Single(await LeaseAsync(database, Stage.Objects));

        Assert.True(await database.MakeAgainAsync(MatchOf(closing.SubjectId) with { DecidedBy = "R. Example" }, Cancellation));

        IReadOnlyList<Capture> its = await database.GetCapturesOfSittingAsync(closing.SubjectId, Cancellation);
        Assert.False(await database.CompleteObjectsAsync(overtaken, [.. its.Select(ObjectOf)], [], [], Cancellation));
        Assert.Empty(await LeaseAsync(database, Stage.Deliveries, "archive"));
        Assert.True(await database.CompleteObjectsAsync(
            Assert.Single(await LeaseAsync(database, Stage.Objects)), [.. its.Select(ObjectOf)], [], [], Cancellation));
    }

    [Fact]
    public async Task A_study_begins_once_whoever_asks()
    {
        IPipelineDatabase[] databases = [await OpenedAsync(), await OpenedAsync("another")];
        DateTimeOffset first = new(2026, 3, 29, 1, 59, 59, TimeSpan.FromHours(1));

        DateTimeOffset[] told = await Task.WhenAll(Enumerable.Range(0, 20).Select(i => Task.Run(
            () => databases[i % 2].StartStudyAsync("2.25.1", first.AddHours(i), Cancellation), Cancellation)));

        DateTimeOffset remembered = Assert.Single(told.Distinct());
        Assert.Equal(TimeSpan.FromHours(1), remembered.Offset);
        Assert.Equal(remembered, await databases[1].StartStudyAsync("2.25.1", first.AddDays(9), Cancellation));
        Assert.Equal(first.AddDays(9), await databases[0].StartStudyAsync("2.25.2", first.AddDays(9), Cancellation));
    }

    [Fact]
    public async Task Objects_are_queued_for_every_destination_and_come_back_piece_by_piece()
    {
        IPipelineDatabase database = await OpenedAsync();
        long sitting = await MatchedSittingAsync(database, "1/a.jpg", "1/b.jpg", "1/c.jpg");
        IReadOnlyList<Capture> captures = await database.GetCapturesOfSittingAsync(sitting, Cancellation);
        Work work = Assert.Single(await LeaseAsync(database, Stage.Objects));
        CaptureVerdict[] others = [new(captures[1].Id, CaptureState.Evidence, null), new(captures[2].Id, CaptureState.Held, "progressive JPEG")];

        Assert.True(await database.CompleteObjectsAsync(work, [ObjectOf(captures[0]) with { Destinations = ["archive", "second"] }], [], others, Cancellation));
        Assert.False(await database.CompleteObjectsAsync(work, [ObjectOf(captures[0]) with { Destinations = ["archive", "second"] }], [], others, Cancellation));

        Work delivery = Assert.Single(await LeaseAsync(database, Stage.Deliveries, "second"));
        DeliveryTask task = Assert.Single(await database.GetDeliveriesAsync([delivery], Cancellation));
        Assert.Equal(("second", DeliveryState.Waiting, Clock.GetUtcNow()), (task.Delivery.Destination, task.Delivery.State, task.Delivery.CreatedAt));
        Assert.Equivalent(ObjectOf(captures[0]) with { Id = task.Object.Id, SittingId = sitting, Destinations = [] }, task.Object, strict: true);
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
