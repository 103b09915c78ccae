using CameraBridge.Persistence;
using CameraBridge.Pipeline;
using Microsoft.Extensions.Time.Testing;
using Xunit;

namespace CameraBridge.Tests.Persistence;

/// <summary>
/// Walks through the stage table at random: two processes take captures, lease work, finish it, fail it, let it lie, are overtaken, die and come back, while time
/// passes. After every step what no sequence may break is looked at: section 4 of the design, rules 1 (nothing is lost, nothing done twice), 2 (one UID for ever) and 8.
/// </summary>
/// <param name="open">Opens the state as a process with this owner's name.</param>
/// <param name="clock">Moved by the walk.</param>
/// <param name="seed">Of all decisions.</param>
internal sealed class AnySequence(Func<string, Task<IPipelineDatabase>> open, FakeTimeProvider clock, int seed) : IAsyncDisposable
{
    private static readonly string[] Destinations = ["archive", "second"];
    private static readonly string[] Folders = ["1", "2", "3/deep"];
    private static readonly TimeSpan Lease = TimeSpan.FromMinutes(1);
    private static readonly TimeSpan Quiet = TimeSpan.FromMinutes(2);
    private static readonly (Stage Stage, string Lane)[] Lanes =
    [
        (Stage.Cues, ""), (Stage.Sittings, ""), (Stage.Matches, ""), (Stage.Objects, ""), (Stage.Deliveries, Destinations[0]), (Stage.Deliveries, Destinations[1]),
        (Stage.Confirmations, Destinations[0]), (Stage.Confirmations, Destinations[1]), (Stage.Releases, "stick"), (Stage.PerformedSteps, ""),
    ];

    private readonly Random _random = new(seed);
    private readonly IPipelineDatabase[] _processes = new IPipelineDatabase[2];
    private readonly List<(int Process, Work Work)> _hands = [];
    private readonly Dictionary<long, long> _latestLease = [];
    private readonly Dictionary<long, string> _uids = [];
    private readonly List<(string TransactionUID, long DeliveryId)> _transactions = [];
    private readonly HashSet<long> _kept = [];
    private readonly HashSet<long> _released = [];
    private readonly HashSet<long> _trimmed = [];
    private readonly Dictionary<long, long> _objects = [];
    private int _captures;
    private int _births;

    private static CancellationToken Cancellation => TestContext.Current.CancellationToken;

    /// <summary>How often a result came under a lease that somebody else had by then.</summary>
    public int Overtaken { get; private set; }

    /// <summary>Objects that were made.</summary>
    public int Objects => _uids.Count;

    public async Task WalkAsync(int steps)
    {
        for (int process = 0; process < _processes.Length; process++)
        {
            await RestartAsync(process);
        }

        for (int step = 0; step < steps; step++)
        {
            await StepAsync();
            await CheckAsync();
        }
    }

    /// <summary>Lets one process do all that is left, as it would when nothing fails any more.</summary>
    public async Task DrainAsync()
    {
        _hands.Clear();
        for (int round = 0; round < 10_000; round++)
        {
            clock.Advance(Quiet);
            int done = 0;
            foreach ((Stage stage, string lane) in Lanes)
            {
                foreach (Work work in await LeaseAsync(0, stage, lane, most: 100))
                {
                    await FinishAsync(_processes[0], work);
                    done++;
                }
            }

            if (done == 0)
            {
                break;
            }
        }

        IReadOnlyList<SittingReport> reports = await _processes[0].GetReportAsync(null, Cancellation);
        // What is not released belongs to sittings of which something is held or not confirmed.
        Assert.DoesNotContain(await _processes[0].GetOpenWorkAsync(null, Cancellation), open => open.Stage != Stage.Releases);
        Assert.All(await _processes[0].GetOpenPerformedStepsAsync(Cancellation), step => Assert.Equal(PerformedStepState.Refused, step.State));
        Assert.Equal(_captures, reports.Sum(report => report.Captures.Count));
        Assert.All(reports.SelectMany(report => report.Captures), capture => Assert.True(
            capture.State is CaptureState.Encoded or CaptureState.Evidence or CaptureState.Held || reports.Any(r => r.Sitting.Id == capture.SittingId && r.Sitting.State == SittingState.Held)));
        Assert.All(reports.SelectMany(report => report.Deliveries), delivery => Assert.NotEqual(DeliveryState.Waiting, delivery.State));
        await CheckAsync();
    }

    public async ValueTask DisposeAsync()
    {
        foreach (IPipelineDatabase process in _processes)
        {
            await process.DisposeAsync();
        }
    }

    private Task StepAsync() => _random.Next(12) switch
    {
        3 when _random.Next(3) == 0 => TrimAsync(),
        0 or 1 => TakeAsync(),
        2 => _processes[_random.Next(2)].CloseSoonAsync("stick", _random.Next(2) == 0 ? null : Folders[_random.Next(Folders.Length)], Cancellation),
        3 => PassTimeAsync(),
        4 when _random.Next(4) == 0 => RestartAsync(_random.Next(2)),
        >= 4 and <= 7 => TakeWorkAsync(),
        _ => GoOnAsync(),
    };

    private async Task TakeAsync()
    {
        Capture[] captures = [.. Enumerable.Range(0, 1 + _random.Next(3)).Select(_ => New($"{Folders[_random.Next(Folders.Length)]}/{_captures++:0000}.jpg"))];
        IReadOnlyList<long> ids = await _processes[_random.Next(2)].AddCapturesAsync(captures, Quiet, Cancellation);
        Assert.DoesNotContain(0, ids);

        // The other process has seen them too, and takes none of them again.
        Assert.All(await _processes[_random.Next(2)].AddCapturesAsync(captures, Quiet, Cancellation), id => Assert.Equal(0, id));
    }

    private Task PassTimeAsync()
    {
        clock.Advance(TimeSpan.FromSeconds(_random.Next(180)));
        return Task.CompletedTask;
    }

    /// <summary>The process dies with all that it has in its hands, and another takes its place.</summary>
    private async Task RestartAsync(int process)
    {
        if (_processes[process] is { } dead)
        {
            await dead.DisposeAsync();
            _hands.RemoveAll(hand => hand.Process == process);
        }

        _processes[process] = await open($"worker-{process}:{++_births}:1");
    }

    private async Task TakeWorkAsync()
    {
        int process = _random.Next(2);
        (Stage stage, string lane) = _hands.Count > 0 && _random.Next(2) == 0
            ? LaneOf(_hands[_random.Next(_hands.Count)].Work)
            : Lanes[_random.Next(Lanes.Length)];
        _hands.AddRange((await LeaseAsync(process, stage, lane, 1 + _random.Next(4))).Select(work => (process, work)));
    }

    private static (Stage Stage, string Lane) LaneOf(Work work) => (work.Stage, work.Lane);

    private async Task<IReadOnlyList<Work>> LeaseAsync(int process, Stage stage, string lane, int most)
    {
        IReadOnlyList<Work> leased = await _processes[process].LeaseAsync(stage, lane, most, Lease, Cancellation);
        foreach (Work work in leased)
        {
            Assert.True(work.Lease > _latestLease.GetValueOrDefault(work.Id), "a lease has a number that no lease of this work had before");
            _latestLease[work.Id] = work.Lease;
        }

        return leased;
    }

    /// <summary>Something becomes of a piece of work that a process has in its hands.</summary>
    private async Task GoOnAsync()
    {
        if (_hands.Count == 0)
        {
            return;
        }

        int index = _random.Next(_hands.Count);
        (int process, Work work) = _hands[index];
        _hands.RemoveAt(index);
        IPipelineDatabase database = _processes[process];
        switch (_random.Next(10))
        {
            case 0:
                await database.PostponeAsync([work], clock.GetUtcNow() + TimeSpan.FromSeconds(_random.Next(200)), _random.Next(2) == 0, Cancellation);
                break;
            case 1:
                await database.ReleaseAsync([work], Cancellation);
                break;
            case 2:
                // It lies there until its lease lapses.
                break;
            case 3:
                await database.RenewAsync([work], Lease, Cancellation);
                _hands.Add((process, work));
                break;
            case 4 when _random.Next(6) == 0:
                await database.HoldAsync(work, new Reason("internal-error", "it keeps failing"), Cancellation);
                break;
            default:
                await FinishAsync(database, work);
                break;
        }
    }

    private async Task FinishAsync(IPipelineDatabase database, Work work)
    {
        bool overtaken = _latestLease[work.Id] != work.Lease;
        bool written = await WriteResultAsync(database, work);
        Assert.False(overtaken && written, $"a result of {work.Stage} was written under a lease that another had by then");
        Overtaken += overtaken ? 1 : 0;
    }

    private async Task<bool> WriteResultAsync(IPipelineDatabase database, Work work)
    {
        switch (work.Stage)
        {
            case Stage.Cues:
                return (await database.CompleteCuesAsync([new CaptureReading(work, clock.GetUtcNow(), "file", [])], Cancellation)).Count == 0;
            case Stage.Sittings:
                return await database.CompleteSittingAsync(work, Parts(await database.GetCapturesOfSittingAsync(work.SubjectId, Cancellation)), Cancellation);
            case Stage.Matches:
                return await MatchAsync(database, work);
            case Stage.Objects:
                return await MakeAsync(database, work);
            case Stage.Confirmations:
                return await ConfirmAsync(database, work);
            case Stage.Releases:
                return await ReleaseAsync(database, work);
            case Stage.PerformedSteps:
                return await TellAsync(database, work);
            default:
                return await DeliverAsync(database, work);
        }
    }

    private async Task<bool> ReleaseAsync(IPipelineDatabase database, Work work)
    {
        ReleaseTask? task = (await database.GetReleasesAsync([work], Cancellation)).SingleOrDefault();
        if (task?.KeptAt is null || (await database.BeginReleasesAsync([(work, "tree")], Cancellation)).Count == 0)
        {
            await database.PostponeAsync([work], clock.GetUtcNow() + Quiet, counts: true, Cancellation);
            return false;
        }

        // Rule 3: a file may go only now, and the state must say so at this very moment.
        SittingReport report = (await database.GetReportAsync(null, Cancellation)).Single(one => one.Sitting.Id == task.Capture.SittingId);
        await LearnAsync(database, report.Sitting.Id);
        Assert.All(
            task.Capture.State == CaptureState.Evidence ? report.Deliveries : report.Deliveries.Where(delivery => _objects[delivery.ImagingObjectId] == task.Capture.Id),
            delivery => Assert.Equal(ConfirmationState.Kept, delivery.Confirmation?.State));
        bool written = (await database.CompleteReleasesAsync([new ReleaseResult(work, ReleaseState.Removed, null)], Cancellation)).Count == 0;
        if (written)
        {
            _released.Add(task.Capture.Id);
        }

        return written;
    }

    /// <summary>Remembers which capture each object was made of.</summary>
    private async Task LearnAsync(IPipelineDatabase database, long sittingId)
    {
        foreach (ImagingObject made in await database.GetObjectsOfSittingAsync(sittingId, Cancellation))
        {
            _objects[made.Id] = made.CaptureId;
        }
    }

    private async Task<bool> TellAsync(IPipelineDatabase database, Work work)
    {
        PerformedStep step = (await database.GetPerformedStepAsync(work, Cancellation))!.Step;
        if (step.State == PerformedStepState.InProgress && _random.Next(2) == 0)
        {
            _ = await database.BeginEndOfStepAsync(work, Cancellation);
        }

        PerformedStepState next = step.State == PerformedStepState.Planned ? PerformedStepState.InProgress : PerformedStepState.Completed;
        bool written = await database.CompletePerformedStepAsync(
            _random.Next(3) == 0 ? new PerformedStepResult(work, step.State, null, "later", clock.GetUtcNow()) : new PerformedStepResult(work, next, 0, "told", null), Cancellation);

        // The RIS is never told an end before its beginning.
        Assert.True(step.State != PerformedStepState.InProgress || !written || step.EndsAt is not null, "a step was to be ended before its sitting's objects were made");
        return written;
    }

    /// <summary>Spool files may go only of captures whose objects every destination keeps.</summary>
    private async Task TrimAsync()
    {
        IPipelineDatabase database = _processes[_random.Next(2)];
        IReadOnlyList<TrimTask> tasks = await database.GetTrimmableAsync(clock.GetUtcNow(), 3, Cancellation);
        IReadOnlyList<SittingReport> reports = await database.GetReportAsync(null, Cancellation);
        foreach (TrimTask task in tasks)
        {
            SittingReport report = reports.Single(one => one.Captures.Any(capture => capture.Id == task.CaptureId));
            Capture capture = report.Captures.Single(one => one.Id == task.CaptureId);
            await LearnAsync(database, report.Sitting.Id);
            Assert.True(capture.State is CaptureState.Encoded or CaptureState.Evidence);
            Assert.All(
                capture.State == CaptureState.Evidence ? report.Deliveries : report.Deliveries.Where(delivery => _objects[delivery.ImagingObjectId] == capture.Id),
                delivery => Assert.Equal(ConfirmationState.Kept, delivery.Confirmation?.State));
            Assert.True(_trimmed.Add(capture.Id), "a capture was let go twice");
        }

        await database.MarkTrimmedAsync([.. tasks.Select(task => task.CaptureId)], Cancellation);
        await database.TrimStateAsync(clock.GetUtcNow(), 2, Cancellation);
    }

    private async Task<bool> ConfirmAsync(IPipelineDatabase database, Work work)
    {
        if (_random.Next(4) == 0)
        {
            await ReportAsync(database, work.SubjectId);
        }

        ConfirmationOutcome outcome = (ConfirmationOutcome)_random.Next(4);
        DateTimeOffset? dueAt = outcome == ConfirmationOutcome.Waiting ? clock.GetUtcNow() : null;
        return (await database.CompleteConfirmationsAsync(
            [new ConfirmationResult(work, outcome, ConfirmationWay.Query, "as it was", dueAt, SendAgainMost: 2)], Cancellation)).Count == 0;
    }

    /// <summary>A report of storage commitment comes when it likes, whoever has the work in hand; now and then one that is out of date.</summary>
    private async Task ReportAsync(IPipelineDatabase database, long deliveryId)
    {
        string TransactionUID = $"2.25.{_random.NextInt64(1L << 60)}";
        await database.StartCommitmentAsync(TransactionUID, Destinations[0], [deliveryId], Cancellation);
        _transactions.Add((TransactionUID, deliveryId));
        (string reported, long about) = _transactions[_random.Next(_transactions.Count)];
        Assert.Equal(about, Assert.Single(await database.GetCommitmentAsync(reported, Cancellation)).Confirmation.DeliveryId);
        await database.CompleteCommitmentAsync(
            reported, [new ConfirmationVerdict(about, (ConfirmationOutcome)_random.Next(3), "as reported", SendAgainMost: 2)], Cancellation);
    }

    /// <summary>One sitting, or cut at a label.</summary>
    private SittingPart[] Parts(IReadOnlyList<Capture> captures)
    {
        long[] ids = [.. captures.Select(capture => capture.Id)];
        int cut = _random.Next(2) == 0 ? 0 : _random.Next(ids.Length);
        return cut == 0
            ? [new SittingPart(ids, "folder", Empty: false)]
            : [new SittingPart(ids[..cut], "folder", Empty: _random.Next(5) == 0), new SittingPart(ids[cut..], "label", Empty: false)];
    }

    private Task<bool> MatchAsync(IPipelineDatabase database, Work work) => _random.Next(6) switch
    {
        0 => database.CompleteMatchAsync(work, new Match { SittingId = work.SubjectId, HeldReasons = [new Reason("no-step", "no step fits")] }, Cancellation),
        1 => database.DeferMatchAsync(
            work, new Match { SittingId = work.SubjectId, HeldReasons = [new Reason("worklist-out", "it does not answer")] }, clock.GetUtcNow() + Quiet, Cancellation),
        _ => database.CompleteMatchAsync(work, DatabaseContract.MatchOf(work.SubjectId) with { PerformedStepUID = $"2.25.{_random.NextInt64(1L << 60)}" }, Cancellation),
    };

    private async Task<bool> MakeAsync(IPipelineDatabase database, Work work)
    {
        Capture[] left = [.. (await database.GetCapturesOfSittingAsync(work.SubjectId, Cancellation)).Where(capture => capture.State == CaptureState.Read)];
        Capture[] good = [.. left.Where(_ => _random.Next(8) != 0)];
        Capture[] labels = [.. good.Where(_ => _random.Next(6) == 0)];
        good = [.. good.Except(labels)];
        ImagingObject[] made = [.. good.Select(capture => DatabaseContract.ObjectOf(capture) with
        {
            SOPInstanceUID = $"2.25.{_random.NextInt64(1L << 60)}",
            Destinations = Destinations,
        })];
        CaptureVerdict[] others =
        [
            .. left.Except(good).Except(labels).Select(capture => new CaptureVerdict(capture.Id, CaptureState.Held, "torn")),
            .. labels.Select(capture => new CaptureVerdict(capture.Id, CaptureState.Evidence, null)),
        ];
        return await database.CompleteObjectsAsync(work, made, [], others, Cancellation);
    }

    private async Task<bool> DeliverAsync(IPipelineDatabase database, Work work)
    {
        DeliveryTask? task = (await database.GetDeliveriesAsync([work], Cancellation)).SingleOrDefault();
        if (task is null)
        {
            return false;
        }

        DeliveryState state = (DeliveryState)_random.Next(5);
        return (await database.CompleteDeliveriesAsync(
            [new DeliveryResult(work, state, null, "as it was", state == DeliveryState.Waiting ? clock.GetUtcNow() : null) { ConfirmAt = clock.GetUtcNow() }], Cancellation)).Count == 0;
    }

    /// <summary>What holds at every moment.</summary>
    private async Task CheckAsync()
    {
        IPipelineDatabase database = _processes[_random.Next(2)];
        IReadOnlyList<SittingReport> reports = await database.GetReportAsync(null, Cancellation);
        IReadOnlyDictionary<Stage, int> work = await database.CountWorkAsync(Cancellation);
        Capture[] captures = [.. reports.SelectMany(report => report.Captures)];

        // Rule 1: every capture is somewhere, once; what is not done has work that is not done.
        Assert.Equal(_captures, captures.Length);
        Assert.Equal(_captures, captures.Select(capture => capture.Place).Distinct().Count());
        Assert.Equal(captures.Count(capture => capture.State == CaptureState.Taken), work[Stage.Cues]);
        Assert.Equal(reports.Count(report => report.Sitting.State == SittingState.Open), work[Stage.Sittings]);
        Assert.Equal(reports.Count(report => report.Sitting.State == SittingState.Closed), work[Stage.Matches]);
        Assert.Equal(
            reports.Count(report => report.Sitting.State == SittingState.Matched && report.Captures.Any(capture => capture.State == CaptureState.Read)), work[Stage.Objects]);
        Assert.Equal(reports.SelectMany(report => report.Deliveries).Count(delivery => delivery.State == DeliveryState.Waiting), work[Stage.Deliveries]);

        // Rule 2: an object has one UID for ever, and one delivery for each destination.
        foreach (SittingReport report in reports.Where(report => report.Captures.Any(capture => capture.State == CaptureState.Encoded)))
        {
            IReadOnlyList<ImagingObject> objects = await database.GetObjectsOfSittingAsync(report.Sitting.Id, Cancellation);
            Assert.Equal(
                report.Captures.Where(capture => capture.State == CaptureState.Encoded).Select(capture => capture.Id).Order(), objects.Select(made => made.CaptureId).Order());
            await LearnAsync(database, report.Sitting.Id);
            Assert.All(objects, made => Assert.Equal(made.SOPInstanceUID, _uids.TryAdd(made.CaptureId, made.SOPInstanceUID) ? made.SOPInstanceUID : _uids[made.CaptureId]));
            Assert.Equal(
                objects.SelectMany(made => Destinations.Select(destination => (made.Id, destination))).Order(),
                report.Deliveries.Select(delivery => (delivery.ImagingObjectId, delivery.Destination)).Order());
        }

        Assert.Equal(_uids.Count, _uids.Values.Distinct().Count());

        // What is stored is asked for until it is kept or given to a person; what is kept once stays kept, and is not sent again.
        Delivery[] deliveries = [.. reports.SelectMany(report => report.Deliveries)];
        Assert.Equal(
            deliveries.Count(delivery => delivery is { State: DeliveryState.Stored or DeliveryState.StoredWithWarning, Confirmation.State: ConfirmationState.Waiting }), work[Stage.Confirmations]);
        Assert.All(deliveries.Where(delivery => delivery.State is DeliveryState.Stored or DeliveryState.StoredWithWarning), delivery => Assert.NotNull(delivery.Confirmation));
        _kept.UnionWith(deliveries.Where(delivery => delivery.Confirmation?.State == ConfirmationState.Kept).Select(delivery => delivery.Id));
        Assert.All(deliveries.Where(delivery => _kept.Contains(delivery.Id)), delivery => Assert.Equal(
            (true, ConfirmationState.Kept), (delivery.State is DeliveryState.Stored or DeliveryState.StoredWithWarning, delivery.Confirmation!.State)));

        // Rule 3: a source may be released only when every destination keeps the capture's object.
        HashSet<long> free = [.. deliveries.GroupBy(delivery => delivery.ImagingObjectId).Where(made => made.All(delivery => _kept.Contains(delivery.Id))).Select(made => _objects[made.Key])];
        int evidence = work[Stage.Releases] - free.Except(_released).Count();
        Assert.InRange(evidence, 0, captures.Count(capture => capture.State == CaptureState.Evidence));
        Assert.All(_released.Where(id => captures.Single(capture => capture.Id == id).State == CaptureState.Encoded), id => Assert.Contains(id, free));
    }

    private Capture New(string place) => FlowSteps.Capture(place) with { Sha256 = $"{_captures:x64}", ModifiedAt = clock.GetUtcNow(), SettledAt = clock.GetUtcNow() };
}
