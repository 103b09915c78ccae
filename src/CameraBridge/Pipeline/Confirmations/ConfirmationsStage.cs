using CameraBridge.Configuration;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dimse;
using CameraBridge.Dicom.UpperLayer;
using CameraBridge.Dicom.Web;
using CameraBridge.Persistence;
using CameraBridge.Pipeline.Deliveries;

namespace CameraBridge.Pipeline.Confirmations;

/// <summary>
/// Asks one destination whether it keeps what it said it stored: by storage commitment, whose report may come in any association and at any time, or by a
/// query. What it does not have goes back to Deliveries. A status of success never confirms.
/// </summary>
internal sealed class ConfirmationsStage : IStage
{
    /// <summary>Objects in one request for commitment.</summary>
    internal const int MostInTransaction = 200;

    /// <summary>Transactions without a report after which a query is asked instead, where the archive takes one and the site leaves the choice to us.</summary>
    internal const int MostSilentTransactions = 3;

    /// <summary>
    /// Pauses after which an object that a query did not find is looked for again, before it counts as missing: archives put what they received into their index a
    /// while after they answered (common practice, no source).
    /// </summary>
    internal static readonly TimeSpan[] IndexPauses = [TimeSpan.FromSeconds(2), TimeSpan.FromSeconds(10), TimeSpan.FromSeconds(60)];

    private readonly DestinationConfiguration _destination;
    private readonly SiteConfiguration _site;
    private readonly IPipelineDatabase _database;
    private readonly CommitmentTaking _taking;
    private readonly TimeProvider _clock;
    private readonly ILogger<ConfirmationsStage> _logger;
    private readonly RetryDelays _delays;

    /// <param name="destination">The archive.</param>
    /// <param name="site">The site: its AE title, and whether it listens for reports.</param>
    /// <param name="database">The state.</param>
    /// <param name="taking">Stores reports that come in our associations.</param>
    /// <param name="clock">Source of all delays and limits.</param>
    /// <param name="logger">Log.</param>
    /// <param name="random">Jitter; a seeded one in tests.</param>
    public ConfirmationsStage(
        DestinationConfiguration destination,
        SiteConfiguration site,
        IPipelineDatabase database,
        CommitmentTaking taking,
        TimeProvider clock,
        ILogger<ConfirmationsStage> logger,
        Random? random = null)
    {
        _destination = destination;
        _site = site;
        _database = database;
        _taking = taking;
        _clock = clock;
        _logger = logger;
        _delays = new RetryDelays(destination.FirstRetryDelay, destination.LongestRetryDelay, random ?? new Random());
        Lanes = [destination.Name];
    }

    public Stage Stage => Stage.Confirmations;

    public IReadOnlyList<string> Lanes { get; }

    public int Batch => 500;

    public int Workers => 1;

    public TimeSpan Lease { get; } = TimeSpan.FromMinutes(2);

    public async Task RunAsync(IReadOnlyList<Work> batch, CancellationToken cancellation)
    {
        IReadOnlyList<ConfirmationTask> tasks = await _database.GetConfirmationsAsync(batch, cancellation).ConfigureAwait(false);
        if (tasks.Count == 0)
        {
            return;
        }

        List<ConfirmationResult> results = [];
        try
        {
            await (_destination.Web is { } web
                ? AskWebAsync(web, tasks, results, cancellation)
                : AskPeerAsync(_destination.Peer!, tasks, results, cancellation)).ConfigureAwait(false);
        }
        catch (AssociationException failure)
        {
            await LaterAsync(tasks, results, failure.Sentence, cancellation).ConfigureAwait(false);
        }
        catch (WebPeerException failure)
        {
            await LaterAsync(tasks, results, failure.Sentence, cancellation).ConfigureAwait(false);
        }

        // What a report has decided in the meantime has no work any more, and is left as it is.
        await _database.CompleteConfirmationsAsync(results, cancellation).ConfigureAwait(false);
        Tell(results);
    }

    private async Task AskWebAsync(WebConfiguration web, IReadOnlyList<ConfirmationTask> tasks, List<ConfirmationResult> results, CancellationToken cancellation)
    {
        using var questions = WebQuestions.TryOpen(web, _site.SpoolFolder, _clock, out string? why);
        if (questions is null)
        {
            await LaterAsync(tasks, results, why!, cancellation).ConfigureAwait(false);
            return;
        }

        if (_destination.ConfirmBy == ConfirmBy.Retrieval)
        {
            foreach (ConfirmationTask task in tasks)
            {
                ImagingObject made = await _database.GetObjectAsync(task.Object.Id, cancellation).ConfigureAwait(false);
                results.Add(Judge(task, await questions.CompareAsync(made, cancellation).ConfigureAwait(false), web.Name));
            }

            return;
        }

        await AskByQueryAsync(questions.FindSeriesAsync, $"web archive {web.Name}", tasks, results, cancellation).ConfigureAwait(false);
    }

    private async Task AskPeerAsync(PeerConfiguration peer, IReadOnlyList<ConfirmationTask> tasks, List<ConfirmationResult> results, CancellationToken cancellation)
    {
        ArchiveQuestions questions = await ArchiveQuestions.ConnectAsync(peer, _site.CallingAETitle, _taking, _clock, cancellation).ConfigureAwait(false);
        await using (questions.ConfigureAwait(false))
        {
            await AskAsync(questions, tasks, results, cancellation).ConfigureAwait(false);
        }
    }

    private async Task AskAsync(ArchiveQuestions questions, IReadOnlyList<ConfirmationTask> tasks, List<ConfirmationResult> results, CancellationToken cancellation)
    {
        ILookup<ConfirmationWay?, ConfirmationTask> ways = tasks.ToLookup(task => WayOf(task, questions));
        foreach (ConfirmationTask task in ways[null])
        {
            string words = $"The {questions.PeerName} stored it and offers our AE title no way to show that it keeps it. "
                + $"Enable storage commitment or queries (C-FIND, Study Root) there, then {DeliveryOutcome.AgainCommand} asks; or write confirm_by: none, if the site takes its word. Do not wipe the source.";
            results.Add(ResultOf(task, ConfirmationOutcome.Unconfirmed, null, words));
        }

        await AskByQueryAsync(questions.FindSeriesAsync, questions.PeerName, [.. ways[ConfirmationWay.Query]], results, cancellation).ConfigureAwait(false);
        await AskForCommitmentAsync(questions, [.. ways[ConfirmationWay.Commitment]], results, cancellation).ConfigureAwait(false);
    }

    /// <returns>Null when the archive takes none of what the site allows.</returns>
    private ConfirmationWay? WayOf(ConfirmationTask task, ArchiveQuestions questions)
    {
        bool mayQuery = _destination.ConfirmBy is ConfirmBy.Query or ConfirmBy.Auto && questions.TakesQuery && task.Object.StudyInstanceUID.Length > 0;
        bool mayCommit = _destination.ConfirmBy is ConfirmBy.Commitment or ConfirmBy.Auto && questions.TakesCommitment;

        // Without a port to report to, an archive that did not report at once never will.
        int silent = _site.Listen is null ? 1 : MostSilentTransactions;
        return mayCommit && (!mayQuery || task.Confirmation.Asked < silent) ? ConfirmationWay.Commitment : mayQuery ? ConfirmationWay.Query : null;
    }

    private async Task AskForCommitmentAsync(
        ArchiveQuestions questions, IReadOnlyList<ConfirmationTask> tasks, List<ConfirmationResult> results, CancellationToken cancellation)
    {
        List<string> transactions = [];

        // With nowhere to report to, an archive that takes a query is asked by one at once; one that does not has its time, since another request would only pile up there.
        bool isAskedByQueryNext = _site.Listen is null && _destination.ConfirmBy == ConfirmBy.Auto && questions.TakesQuery;
        foreach (ConfirmationTask[] part in tasks.Chunk(MostInTransaction))
        {
            string TransactionUID = Uids.NewFromUuid();
            await _database.StartCommitmentAsync(TransactionUID, Lanes[0], [.. part.Select(task => task.Confirmation.DeliveryId)], cancellation).ConfigureAwait(false);
            DimseReply reply = await questions.RequestCommitmentAsync(TransactionUID, part, cancellation).ConfigureAwait(false);
            if (reply.IsDone)
            {
                transactions.Add(TransactionUID);
                DateTimeOffset again = _clock.GetUtcNow() + (isAskedByQueryNext ? TimeSpan.Zero : _destination.ReportLimit);
                results.AddRange(part.Select(task => Waiting(
                    task, ConfirmationWay.Commitment, $"The {questions.PeerName} was asked to commit to keeping it, and has not reported yet.", again)));
            }
            else
            {
                results.AddRange(part.Select(task => Waiting(
                    task, ConfirmationWay.Commitment, $"The {questions.PeerName} did not take the request for commitment: {reply}.", _clock.GetUtcNow() + _delays.After(task.Work!.Attempts))));
            }
        }

        await Task.WhenAll(transactions.Select(TransactionUID => questions.AwaitReportAsync(TransactionUID, cancellation))).ConfigureAwait(false);
    }

    private async Task AskByQueryAsync(
        Func<string, string, IReadOnlyList<ImagingObject>, CancellationToken, Task<QueryAnswer>> find,
        string peer,
        IReadOnlyList<ConfirmationTask> tasks,
        List<ConfirmationResult> results,
        CancellationToken cancellation)
    {
        foreach (IGrouping<(string Study, string Series), ConfirmationTask> series in tasks.GroupBy(task => (task.Object.StudyInstanceUID, task.Object.SeriesInstanceUID)))
        {
            QueryAnswer answer = await find(series.Key.Study, series.Key.Series, [.. series.Select(task => task.Object)], cancellation).ConfigureAwait(false);
            results.AddRange(series.Select(task => Judge(task, answer, peer)));
        }
    }

    private ConfirmationResult Judge(ConfirmationTask task, QueryAnswer answer, string peer)
    {
        if (answer.Failure is { } failure)
        {
            return Waiting(task, ConfirmationWay.Query, failure, _clock.GetUtcNow() + _delays.After(task.Work!.Attempts));
        }

        if (answer.Listed.Contains(task.Object.SOPInstanceUID))
        {
            return ResultOf(task, ConfirmationOutcome.Kept, ConfirmationWay.Query, $"The {peer} lists it.");
        }

        return MissingOr(task, ConfirmationWay.Query, $"The {peer} said that it stored it, and does not list it.");
    }

    private ConfirmationResult Judge(ConfirmationTask task, Retrieved retrieved, string peer) => retrieved switch
    {
        Retrieved.Same => ResultOf(task, ConfirmationOutcome.Kept, ConfirmationWay.Retrieval, $"The web archive {peer} gave it back as it was sent."),
        Retrieved.Different => ResultOf(
            task,
            ConfirmationOutcome.Unconfirmed,
            ConfirmationWay.Retrieval,
            $"The web archive {peer} gave back another data set than was sent under this UID: compare the two, and do not wipe the source; if it changes what it stores by intention, write confirm_by: query."),
        _ => MissingOr(task, ConfirmationWay.Retrieval, $"The web archive {peer} said that it stored it, and cannot give it back."),
    };

    /// <summary>Looked for again some times, since archives index late; then it counts as missing.</summary>
    private ConfirmationResult MissingOr(ConfirmationTask task, ConfirmationWay way, string words) => task.Confirmation.Asked < IndexPauses.Length
        ? Waiting(task, way, words, _clock.GetUtcNow() + IndexPauses[task.Confirmation.Asked])
        : ResultOf(
            task, ConfirmationOutcome.Missing, way, $"{words} The same bytes are sent again under the same UID; look at the archive's log and disk, and do not wipe the source.");

    /// <summary>Everything that has no result yet waits until the destination can be asked.</summary>
    private async Task LaterAsync(IReadOnlyList<ConfirmationTask> tasks, List<ConfirmationResult> results, string sentence, CancellationToken cancellation)
    {
        HashSet<long> done = [.. results.Select(result => result.Work.Id)];
        ConfirmationTask[] left = [.. tasks.Where(task => !done.Contains(task.Work!.Id))];
        if (left.Length == 0)
        {
            return;
        }

        DateTimeOffset until = _clock.GetUtcNow() + _delays.After(left.Min(task => task.Work!.Attempts));
        _logger.CannotBeAsked(Lanes[0], until, sentence);
        results.AddRange(left.Select(task => Waiting(task, task.Confirmation.Way, sentence, until) with { Asked = false }));
        await _database.PauseLaneAsync(Stage.Confirmations, Lanes[0], until, cancellation).ConfigureAwait(false);
    }

    /// <summary>To be asked again, unless that has gone on for longer than the site allows.</summary>
    private ConfirmationResult Waiting(ConfirmationTask task, ConfirmationWay? way, string words, DateTimeOffset dueAt) =>
        _clock.GetUtcNow() - task.Confirmation.CreatedAt < _destination.GiveUpAfter
            ? ResultOf(task, ConfirmationOutcome.Waiting, way, words) with { DueAt = dueAt }
            : ResultOf(task, ConfirmationOutcome.Unconfirmed, way, $"{words} It is not asked any more, unless {DeliveryOutcome.AgainCommand} does. Do not wipe the source.");

    private static ConfirmationResult ResultOf(ConfirmationTask task, ConfirmationOutcome outcome, ConfirmationWay? way, string words) =>
        new(task.Work!, outcome, way, words, null, DestinationConfiguration.SendAgainMost);

    private void Tell(IReadOnlyList<ConfirmationResult> results)
    {
        foreach (IGrouping<ConfirmationWay, ConfirmationResult> kept in results.Where(result => result.Outcome == ConfirmationOutcome.Kept).GroupBy(result => result.Way!.Value))
        {
            _logger.Kept(Lanes[0], kept.Count(), kept.Key);
        }

        foreach (IGrouping<(ConfirmationOutcome Outcome, string Words), ConfirmationResult> alike in results
            .Where(result => result.Outcome is ConfirmationOutcome.Missing or ConfirmationOutcome.Unconfirmed).GroupBy(result => (result.Outcome, result.Words)))
        {
            if (alike.Key.Outcome == ConfirmationOutcome.Missing)
            {
                _logger.Missing(Lanes[0], alike.Count(), alike.Key.Words);
            }
            else
            {
                _logger.Unconfirmed(Lanes[0], alike.Count(), alike.Key.Words);
            }
        }
    }
}
