using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Part10;
using CameraBridge.Dicom.UpperLayer;

namespace CameraBridge.Dicom.Dimse;

/// <summary>A match of a query.</summary>
/// <param name="Identifier">What the provider says of it.</param>
/// <param name="Status">FF00 or FF01: the second means that some optional keys were not looked at.</param>
public readonly record struct FindMatch(DataSet Identifier, ushort Status = Statuses.Pending);

/// <summary>All of a query at once.</summary>
/// <param name="Matches">The matches, no more than were allowed.</param>
/// <param name="Final">The final answer.</param>
/// <param name="IsCut">True when the provider had more than were allowed and was asked to stop.</param>
public sealed record FindResult(IReadOnlyList<FindMatch> Matches, DimseReply Final, bool IsCut);

/// <summary>Query (C-FIND, PS3.7 section 9.1.2; PS3.4 Annexes C and K) as user.</summary>
/// <param name="association">An association that may be shared with other users.</param>
public sealed class FindUser(Association association)
{
    /// <summary>Begins a query; it is sent when its matches are enumerated.</summary>
    /// <param name="sopClassUid">Information model, such as the modality worklist.</param>
    /// <param name="identifier">The keys.</param>
    /// <param name="maximumMatches">When there are more, the query is cancelled and the final answer awaited.</param>
    /// <param name="limits">Limits for reading each match; null for the usual ones.</param>
    public FindOperation Find(string sopClassUid, DataSet identifier, int maximumMatches = int.MaxValue, ReadLimits? limits = null)
    {
        ArgumentException.ThrowIfNullOrEmpty(sopClassUid);
        ArgumentNullException.ThrowIfNull(identifier);
        ArgumentOutOfRangeException.ThrowIfLessThan(maximumMatches, 1);
        return new FindOperation(association, sopClassUid, identifier, maximumMatches, limits ?? ReadLimits.Default);
    }

    /// <summary>Runs a query to its end.</summary>
    /// <inheritdoc cref="FindOperation.GetAsyncEnumerator" path="/exception" />
    public async Task<FindResult> FindAllAsync(
        string sopClassUid, DataSet identifier, int maximumMatches = int.MaxValue, CancellationToken cancellationToken = default)
    {
        FindOperation operation = Find(sopClassUid, identifier, maximumMatches);
        List<FindMatch> matches = [];
        await foreach (FindMatch match in operation.WithCancellation(cancellationToken).ConfigureAwait(false))
        {
            matches.Add(match);
        }

        return new FindResult(matches, operation.Final!, operation.IsCut);
    }
}

/// <summary>One query: enumerate it once for the matches; then <see cref="Final"/> is there.</summary>
public sealed class FindOperation : IAsyncEnumerable<FindMatch>
{
    private readonly Association association;
    private readonly string sopClassUid;
    private readonly DataSet identifier;
    private readonly int maximumMatches;
    private readonly ReadLimits limits;

    internal FindOperation(Association association, string sopClassUid, DataSet identifier, int maximumMatches, ReadLimits limits)
    {
        this.association = association;
        this.sopClassUid = sopClassUid;
        this.identifier = identifier;
        this.maximumMatches = maximumMatches;
        this.limits = limits;
    }

    /// <summary>The final answer; null until the enumeration came to its end.</summary>
    public DimseReply? Final { get; private set; }

    /// <summary>True when there were more matches than allowed, or the enumeration was left early, and the provider was asked to stop.</summary>
    public bool IsCut { get; private set; }

    /// <summary>
    /// Sends the query and gives its matches as they come. Left early, it asks the provider to stop (C-CANCEL) and reads on to the final
    /// answer, so that the association can be used again.
    /// </summary>
    /// <exception cref="ContextNotAcceptedException">The peer did not accept the information model. Nothing was sent.</exception>
    /// <exception cref="ProtocolException">The peer broke the rules, or a match of it cannot be read.</exception>
    /// <exception cref="AssociationException">The association is broken, now or before.</exception>
    public async IAsyncEnumerator<FindMatch> GetAsyncEnumerator(CancellationToken cancellationToken = default)
    {
        DimseChannel channel = DimseChannel.Over(association);
        AcceptedContext context = channel.FindContext(sopClassUid, null) ?? throw new ContextNotAcceptedException(
            $"The {association.PeerName} accepted no presentation context for {UidRegistry.NameOf(sopClassUid)}: enable it there for our AE title.");
        TransferSyntax syntax = TransferSyntax.Find(context.TransferSyntaxUID)!;
        CommandSet request = new()
        {
            CommandField = CommandField.FindRequest,
            AffectedSOPClassUID = sopClassUid,
            Priority = 0,
        };
        using DimseOperation operation = await channel.InvokeAsync(
            context, request, ElementWriter.Encode(identifier, syntax), cancellationToken).ConfigureAwait(false);
        bool cancelled = false;
        bool ended = false;
        int given = 0;
        try
        {
            while (true)
            {
                DimseResponse response = await operation.NextAsync(cancellationToken).ConfigureAwait(false);
                ushort status = response.Command.Status!.Value;
                if (Statuses.Find("C-FIND", status).Class != StatusClass.Pending)
                {
                    ended = true;
                    Final = DimseReply.Of("C-FIND", response.Command);
                    yield break;
                }

                if (given == maximumMatches)
                {
                    IsCut = true;
                    if (!cancelled)
                    {
                        cancelled = true;
                        await channel.CancelAsync(operation, cancellationToken).ConfigureAwait(false);
                    }

                    continue;
                }

                given++;
                yield return new FindMatch(Read(response, syntax), status);
            }
        }
        finally
        {
            if (!ended && association.IsOpen)
            {
                IsCut = true;
                await StopAsync(channel, operation, cancelled).ConfigureAwait(false);
            }
        }
    }

    private async Task StopAsync(DimseChannel channel, DimseOperation operation, bool cancelled)
    {
        if (!cancelled)
        {
            await channel.CancelAsync(operation, CancellationToken.None).ConfigureAwait(false);
        }

        while (true)
        {
            DimseResponse response = await operation.NextAsync(CancellationToken.None).ConfigureAwait(false);
            if (Statuses.Find("C-FIND", response.Command.Status!.Value).Class != StatusClass.Pending)
            {
                Final = DimseReply.Of("C-FIND", response.Command);
                return;
            }
        }
    }

    private DataSet Read(DimseResponse response, TransferSyntax syntax)
    {
        try
        {
            return ElementReader.Read(response.DataSet, syntax, limits);
        }
        catch (MalformedException e)
        {
            throw association.Break(association.Violation($"a match that cannot be read ({e.Message})"));
        }
    }
}
