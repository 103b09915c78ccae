using System.Globalization;
using CameraBridge.Persistence;

namespace CameraBridge.Pipeline.Matches;

/// <summary>What a person should know of a proposal: that other pictures have been filed under it, before it was made or since.</summary>
internal static class FiledBeside
{
    /// <summary>Sittings of so many days around the held one are looked through.</summary>
    private static readonly TimeSpan Reach = TimeSpan.FromDays(7);

    private const int MostSittings = 1000;

    /// <summary>Adds it to the reasons against each proposal that it is true of.</summary>
    /// <param name="database">The state.</param>
    /// <param name="sitting">The held sitting.</param>
    /// <param name="match">What was decided of it; null where nothing was.</param>
    /// <param name="cancellation">Gives the call up.</param>
    /// <exception cref="StateUnavailableException">The state cannot be read.</exception>
    public static async Task<Match?> TellAsync(IPipelineDatabase database, Sitting sitting, Match? match, CancellationToken cancellation)
    {
        if (match is not { Proposals.Count: > 0 })
        {
            return match;
        }

        IReadOnlyList<SittingTime> filed = await database.GetSittingTimesAsync(
            sitting.Source, sitting.OpenedAt - Reach, sitting.OpenedAt + Reach, matchedOnly: true, MostSittings, cancellation).ConfigureAwait(false);
        ILookup<(string?, string?, string?, string?, string?), long> sittings = filed
            .Where(one => one.StepJson is not null && one.SittingId != sitting.Id)
            .ToLookup(one => WorklistStep.FromJson(one.StepJson!).Key, one => one.SittingId);
        return match with { Proposals = [.. match.Proposals.Select(Told)] };

        Proposal Told(Proposal proposal)
        {
            string others = string.Join(" and ", sittings[WorklistStep.FromJson(proposal.StepJson).Key].Order().Select(other => other.ToString(CultureInfo.InvariantCulture)));
            return others.Length == 0 ? proposal
                : proposal with { Against = [.. proposal.Against, new Reason("filed-already", $"sitting {others} has been filed under it: is this a second visit, or the wrong patient?")] };
        }
    }
}
