using CameraBridge.Configuration;

namespace CameraBridge.Pipeline.Matches;

/// <summary>
/// One of the site's worklists for as long as one batch of sittings is decided: each question is asked once, and a worklist that is down is not asked again.
/// Its failures are answers too; nothing is thrown for what the peer does.
/// </summary>
internal sealed class Worklist(SiteConfiguration site, WorklistConfiguration configuration, TimeProvider clock) : IAsyncDisposable
{
    private readonly Dictionary<WorklistQuestion, WorklistAnswers> _known = [];
    private readonly IWorklistConnection _connection = configuration.Web is { } web
        ? new WebWorklist(site, configuration, web, clock)
        : new DimseWorklist(site, configuration, configuration.Peer!, clock);

    private Reason? _down;

    public WorklistConfiguration Configuration => configuration;

    /// <summary>The worklist as messages name it.</summary>
    public string Name => $"the worklist {configuration.Name}";

    /// <summary>Asks, or gives the answer that is there already.</summary>
    public async Task<WorklistAnswers> AskAsync(WorklistQuestion question, CancellationToken cancellation)
    {
        if (_known.TryGetValue(question, out WorklistAnswers? known))
        {
            return known;
        }

        DateTimeOffset askedAt = clock.GetUtcNow();
        WorklistAnswers answers = _down is { } down
            ? new WorklistAnswers(question, []) { Failure = down }
            : await _connection.AskAsync(question, cancellation).ConfigureAwait(false);
        _down ??= answers.Failure is { Code: IWorklistConnection.Down } failure ? failure : null;
        answers = answers with { AskedAt = askedAt, Worklist = configuration.Name, Steps = [.. answers.Steps.Select(step => step.From(configuration.Name))] };
        _known.Add(question, answers);
        return answers;
    }

    public ValueTask DisposeAsync() => _connection.DisposeAsync();
}
