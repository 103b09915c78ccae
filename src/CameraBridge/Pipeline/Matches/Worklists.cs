using CameraBridge.Configuration;

namespace CameraBridge.Pipeline.Matches;

/// <summary>All worklists of the site for as long as one batch is decided.</summary>
internal sealed class Worklists(SiteConfiguration site, TimeProvider clock) : IAsyncDisposable
{
    private readonly Worklist[] _all = [.. site.Worklists.Select(configuration => new Worklist(site, configuration, clock))];

    public IReadOnlyList<Worklist> All => _all;

    /// <summary>The worklists as messages name them: "the worklist A", "the worklists A and B".</summary>
    public static string NameOf(SiteConfiguration site)
    {
        string[] names = [.. site.Worklists.Select(worklist => worklist.Name)];
        return names.Length <= 1 ? $"the worklist {names.FirstOrDefault()}" : $"the worklists {string.Join(", ", names[..^1])} and {names[^1]}";
    }

    /// <summary>Asks every worklist.</summary>
    public async Task<IReadOnlyList<WorklistAnswers>> AskAsync(WorklistQuestion question, CancellationToken cancellation)
    {
        var answers = new List<WorklistAnswers>(_all.Length);
        foreach (Worklist worklist in _all)
        {
            answers.Add(await worklist.AskAsync(question, cancellation).ConfigureAwait(false));
        }

        return answers;
    }

    public async ValueTask DisposeAsync()
    {
        foreach (Worklist worklist in _all)
        {
            await worklist.DisposeAsync().ConfigureAwait(false);
        }
    }
}
