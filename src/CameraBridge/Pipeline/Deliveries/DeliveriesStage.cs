using CameraBridge.Configuration;
using CameraBridge.Persistence;

namespace CameraBridge.Pipeline.Deliveries;

/// <summary>
/// Sends objects to one destination, by C-STORE or STOW-RS: each worker a batch at a time. What is sent are the bytes that were stored when the object was made;
/// nothing is altered here.
/// </summary>
internal sealed class DeliveriesStage : IStage, IAsyncDisposable
{
    /// <summary>Results are written at least so often: what a crash leaves unwritten is sent again.</summary>
    private static readonly TimeSpan WriteInterval = TimeSpan.FromSeconds(2);

    /// <summary>Time given to the object under way, and to writing results, when the service stops.</summary>
    private static readonly TimeSpan FarewellLimit = TimeSpan.FromSeconds(5);

    private readonly DestinationConfiguration _destination;
    private readonly IPipelineDatabase _database;
    private readonly TimeProvider _clock;
    private readonly ILogger<DeliveriesStage> _logger;
    private readonly RetryDelays _delays;
    private readonly DestinationCircuit _circuit;
    private readonly IObjectSender _sender;
    private readonly LinkShare _link;
    private readonly StoreAssociations? _associations;

    /// <param name="destination">The archive.</param>
    /// <param name="site">The site: its AE title and its spool.</param>
    /// <param name="database">The state.</param>
    /// <param name="clock">Source of all delays and limits.</param>
    /// <param name="logger">Log.</param>
    /// <param name="random">Jitter; a seeded one in tests.</param>
    public DeliveriesStage(
        DestinationConfiguration destination,
        SiteConfiguration site,
        IPipelineDatabase database,
        TimeProvider clock,
        ILogger<DeliveriesStage> logger,
        Random? random = null)
    {
        _destination = destination;
        _database = database;
        _clock = clock;
        _logger = logger;
        _delays = new RetryDelays(destination.FirstRetryDelay, destination.LongestRetryDelay, random ?? new Random());
        _circuit = new DestinationCircuit(_delays, clock);
        _associations = destination.Peer is { } peer ? new StoreAssociations(peer, site.CallingAETitle, clock) : null;
        _link = new LinkShare(destination.Bandwidth, site.TimeZone, clock);
        _sender = _associations is not null
            ? new StoreSender(_associations, _link, site.SpoolFolder)
            : new StowSender(destination.Web!, _link, site.SpoolFolder, destination.ConfirmBy != ConfirmBy.None, clock);
        Lanes = [destination.Name, DeliveryLanes.ClipsOf(destination.Name)];
    }

    public Stage Stage => Stage.Deliveries;

    public IReadOnlyList<string> Lanes { get; }

    public int Batch => 64;

    public int Workers => _destination.Associations;

    /// <summary>Clips have one association, or request, of their own beside those of stills.</summary>
    public int WorkersOf(string lane) => lane == _destination.Name ? Workers : 1;

    public TimeSpan Lease { get; } = TimeSpan.FromMinutes(2);

    /// <summary>Idle associations at this moment.</summary>
    internal int IdleAssociations => _associations?.IdleCount ?? 0;

    /// <summary>The archive is asked as soon as it has answered; null where the site takes its word.</summary>
    private DateTimeOffset? ConfirmAt => _destination.ConfirmBy == ConfirmBy.None ? null : _clock.GetUtcNow();

    public ValueTask DisposeAsync() => _sender.DisposeAsync();

    public async Task RunAsync(IReadOnlyList<Work> batch, CancellationToken cancellation)
    {
        IReadOnlyList<DeliveryTask> tasks = await _database.GetDeliveriesAsync(batch, cancellation).ConfigureAwait(false);
        if (_link.ClosedUntil is { } opens)
        {
            await _database.PostponeAsync(batch, opens, counts: false, cancellation).ConfigureAwait(false);
            await PauseAsync(opens, cancellation).ConfigureAwait(false);
            return;
        }

        using IDisposable? stills = batch.Count > 0 && batch[0].Lane == _destination.Name ? _link.Stills() : null;
        using var farewell = new CancellationTokenSource(Timeout.InfiniteTimeSpan, _clock);
        using CancellationTokenRegistration stopping = cancellation.Register(() => farewell.CancelAfter(FarewellLimit));
        var results = new List<DeliveryResult>(tasks.Count);
        try
        {
            await SendAsync(tasks, results, cancellation, farewell.Token).ConfigureAwait(false);
        }
        finally
        {
            await WriteAsync(results, farewell.Token).ConfigureAwait(false);
        }

        cancellation.ThrowIfCancellationRequested();
    }

    private async Task SendAsync(
        IReadOnlyList<DeliveryTask> tasks, List<DeliveryResult> results, CancellationToken cancellation, CancellationToken farewell)
    {
        HashSet<long> done = [];
        long writtenAt = _clock.GetTimestamp();
        await foreach ((DeliveryTask task, Attempt attempt) in _sender.SendAsync(Tried(), tasks, farewell).ConfigureAwait(false))
        {
            done.Add(task.Work.Id);
            if (Pause(attempt) is { } until)
            {
                _logger.DestinationOut(Lanes[0], until, attempt.Outcome.Words);
                results.Add(ResultOf(task, attempt.Outcome, until));

                // The rest of the batch is not tried: one attempt was enough to know.
                results.AddRange(tasks.Where(left => !done.Contains(left.Work.Id)).Select(left => ResultOf(left, new DeliveryOutcome.Retry(null, attempt.Outcome.Words), until, tried: false)));
                await PauseAsync(until, farewell).ConfigureAwait(false);
                return;
            }

            // The attempts of the work and not of the delivery: what a person had put into the queue again begins with short delays again.
            TimeSpan delay = _delays.After(task.Work.Attempts);
            results.Add(ResultOf(task, attempt.Outcome, _clock.GetUtcNow() + (attempt.RetryAfter > delay ? attempt.RetryAfter.Value : delay)));
            if (_clock.GetElapsedTime(writtenAt) >= WriteInterval)
            {
                await WriteAsync(results, farewell).ConfigureAwait(false);
                writtenAt = _clock.GetTimestamp();
            }
        }

        // Asked one by one: a pause that another worker's failure begins, and the end of the service, are seen between two objects.
        IEnumerable<DeliveryTask> Tried()
        {
            foreach (DeliveryTask task in tasks)
            {
                if (cancellation.IsCancellationRequested)
                {
                    yield break;
                }

                if (_circuit.PausedUntil(task.Delivery.AskedAt) is { } paused)
                {
                    done.Add(task.Work.Id);
                    results.Add(ResultOf(task, new DeliveryOutcome.Retry(null, $"It waits, since the {_sender.PeerName} is out."), paused, tried: false));
                    continue;
                }

                yield return task;
            }
        }
    }

    private async Task PauseAsync(DateTimeOffset until, CancellationToken cancellation)
    {
        foreach (string lane in Lanes)
        {
            await _database.PauseLaneAsync(Stage.Deliveries, lane, until, cancellation).ConfigureAwait(false);
        }
    }

    /// <returns>The end of the lane's pause, or null when the lane goes on.</returns>
    private DateTimeOffset? Pause(Attempt attempt)
    {
        switch (attempt.Blame)
        {
            case Blame.Destination:
                return _circuit.DestinationFailed(attempt.RetryAfter);
            case Blame.Object:
                return _circuit.ObjectFailed();
            default:
                if (attempt.Outcome.Status is not null && _circuit.Succeeded())
                {
                    _logger.DestinationBack(Lanes[0]);
                }

                return null;
        }
    }

    private DeliveryResult ResultOf(DeliveryTask task, DeliveryOutcome outcome, DateTimeOffset dueAt, bool tried = true)
    {
        switch (outcome)
        {
            case DeliveryOutcome.Stored:
                return new DeliveryResult(task.Work, DeliveryState.Stored, outcome.Status, outcome.Words, null) { ConfirmAt = ConfirmAt };
            case DeliveryOutcome.StoredWithWarning:
                _logger.StoredWithWarning(task.Delivery.Id, Lanes[0], outcome.Words);
                return new DeliveryResult(task.Work, DeliveryState.StoredWithWarning, outcome.Status, outcome.Words, null) { ConfirmAt = ConfirmAt };
            case DeliveryOutcome.Refused:
                _logger.Refused(task.Delivery.Id, Lanes[0], outcome.Words);
                return new DeliveryResult(task.Work, DeliveryState.Refused, outcome.Status, outcome.Words, null);
            default:
                return Later(task, outcome, dueAt, tried);
        }
    }

    private DeliveryResult Later(DeliveryTask task, DeliveryOutcome outcome, DateTimeOffset dueAt, bool tried)
    {
        TimeSpan age = _clock.GetUtcNow() - task.Delivery.QueuedAt;
        if (age >= _destination.GiveUpAfter)
        {
            string words = FormattableString.Invariant(
                $"Given up after {age.TotalDays:0.#} days; nothing was deleted: when the cause is gone, {DeliveryOutcome.AgainCommand} sends it. The last attempt: {outcome.Words}");
            _logger.GivenUp(task.Delivery.Id, Lanes[0], words);
            return new DeliveryResult(task.Work, DeliveryState.GivenUp, outcome.Status, words, null, tried);
        }

        if (tried)
        {
            _logger.FailedForNow(task.Delivery.Id, Lanes[0], dueAt, outcome.Words);
        }

        return new DeliveryResult(task.Work, DeliveryState.Waiting, outcome.Status, outcome.Words, dueAt, tried);
    }

    private async Task WriteAsync(List<DeliveryResult> results, CancellationToken farewell)
    {
        if (results.Count == 0)
        {
            return;
        }

        IReadOnlyList<Work> lost = await _database.CompleteDeliveriesAsync(results, farewell).ConfigureAwait(false);
        if (lost.Count > 0)
        {
            _logger.LeaseLost(Lanes[0], lost.Count);
        }

        int stored = results.Count(result => result.State is DeliveryState.Stored or DeliveryState.StoredWithWarning);
        if (stored > 0)
        {
            _logger.Delivered(Lanes[0], stored);
        }

        results.Clear();
    }
}
