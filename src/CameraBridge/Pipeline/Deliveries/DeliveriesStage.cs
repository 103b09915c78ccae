using CameraBridge.Configuration;
using CameraBridge.Dicom.UpperLayer;
using CameraBridge.Persistence;

namespace CameraBridge.Pipeline.Deliveries;

/// <summary>
/// Sends objects to one destination by C-STORE: each worker over one association at a time, a batch one after the other. What is sent are the bytes that
/// were stored when the object was made; nothing is altered here.
/// </summary>
internal sealed class DeliveriesStage : IStage, IAsyncDisposable
{
    /// <summary>Results are written at least so often: what a crash leaves unwritten is sent again.</summary>
    private static readonly TimeSpan WriteInterval = TimeSpan.FromSeconds(2);

    /// <summary>Time given to the object under way, and to writing results, when the service stops.</summary>
    private static readonly TimeSpan FarewellLimit = TimeSpan.FromSeconds(5);

    private readonly DestinationConfiguration _destination;
    private readonly string _spoolFolder;
    private readonly IPipelineDatabase _database;
    private readonly TimeProvider _clock;
    private readonly ILogger<DeliveriesStage> _logger;
    private readonly RetryDelays _delays;
    private readonly DestinationCircuit _circuit;
    private readonly StoreAssociations _associations;

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
        _spoolFolder = site.SpoolFolder;
        _database = database;
        _clock = clock;
        _logger = logger;
        _delays = new RetryDelays(destination.FirstRetryDelay, destination.LongestRetryDelay, random ?? new Random());
        _circuit = new DestinationCircuit(_delays, clock);
        _associations = new StoreAssociations(destination.Peer, site.CallingAETitle, clock);
        Lanes = [destination.Peer.Name];
    }

    public Stage Stage => Stage.Deliveries;

    public IReadOnlyList<string> Lanes { get; }

    public int Batch => 64;

    public int Workers => _destination.Associations;

    public TimeSpan Lease { get; } = TimeSpan.FromMinutes(2);

    /// <summary>Idle associations at this moment.</summary>
    internal int IdleAssociations => _associations.IdleCount;

    /// <summary>The archive is asked as soon as it has answered; null where the site takes its word.</summary>
    private DateTimeOffset? ConfirmAt => _destination.ConfirmBy == ConfirmBy.None ? null : _clock.GetUtcNow();

    public ValueTask DisposeAsync() => _associations.DisposeAsync();

    public async Task RunAsync(IReadOnlyList<Work> batch, CancellationToken cancellation)
    {
        IReadOnlyList<DeliveryTask> tasks = await _database.GetDeliveriesAsync(batch, cancellation).ConfigureAwait(false);
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
        ContextProposal[] wanted = [.. tasks.Select(task => new ContextProposal(task.Object.SOPClassUID, task.Object.TransferSyntaxUID)).Distinct()];
        var sender = new ObjectSender(_associations, wanted, _spoolFolder);
        await using (sender.ConfigureAwait(false))
        {
            long writtenAt = _clock.GetTimestamp();
            for (int i = 0; i < tasks.Count && !cancellation.IsCancellationRequested; i++)
            {
                if (_circuit.PausedUntil(tasks[i].Delivery.AskedAt) is { } paused)
                {
                    results.Add(ResultOf(tasks[i], new DeliveryOutcome.Retry(null, $"It waits, since the {_associations.PeerName} is out."), paused, tried: false));
                    continue;
                }

                Attempt attempt = await sender.SendAsync(tasks[i].Object, farewell).ConfigureAwait(false);
                if (Pause(attempt) is { } until)
                {
                    _logger.DestinationOut(Lanes[0], until, attempt.Outcome.Words);
                    results.Add(ResultOf(tasks[i], attempt.Outcome, until));
                    LeaveFrom(i + 1, tasks, results, attempt.Outcome.Words, until);
                    await _database.PauseLaneAsync(Stage.Deliveries, Lanes[0], until, farewell).ConfigureAwait(false);
                    return;
                }

                // The attempts of the work and not of the delivery: what a person had put into the queue again begins with short delays again.
                results.Add(ResultOf(tasks[i], attempt.Outcome, _clock.GetUtcNow() + _delays.After(tasks[i].Work.Attempts)));
                if (_clock.GetElapsedTime(writtenAt) >= WriteInterval)
                {
                    await WriteAsync(results, farewell).ConfigureAwait(false);
                    writtenAt = _clock.GetTimestamp();
                }
            }
        }
    }

    /// <returns>The end of the lane's pause, or null when the lane goes on.</returns>
    private DateTimeOffset? Pause(Attempt attempt)
    {
        switch (attempt.Blame)
        {
            case Blame.Destination:
                return _circuit.DestinationFailed();
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

    /// <summary>The rest of the batch is not tried: one attempt was enough to know.</summary>
    private void LeaveFrom(int first, IReadOnlyList<DeliveryTask> tasks, List<DeliveryResult> results, string words, DateTimeOffset until) =>
        results.AddRange(tasks.Skip(first).Select(task => ResultOf(task, new DeliveryOutcome.Retry(null, words), until, tried: false)));

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
