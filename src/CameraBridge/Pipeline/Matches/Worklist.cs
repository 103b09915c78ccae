using CameraBridge.Configuration;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Dimse;
using CameraBridge.Dicom.UpperLayer;

namespace CameraBridge.Pipeline.Matches;

/// <summary>
/// The site's worklist for as long as one batch of sittings is decided: one association for all questions, and each question asked once.
/// Its failures are answers too; nothing is thrown for what the peer does.
/// </summary>
internal sealed class Worklist(SiteConfiguration site, WorklistConfiguration configuration, TimeProvider clock) : IAsyncDisposable
{
    /// <summary>The presentation contexts that are proposed.</summary>
    public static readonly IReadOnlyList<ContextProposal> Proposals =
    [
        new(SopClasses.ModalityWorklistInformationModelFind, TransferSyntaxes.ExplicitVRLittleEndian),
        new(SopClasses.ModalityWorklistInformationModelFind, TransferSyntaxes.ImplicitVRLittleEndian),
    ];

    private readonly Dictionary<WorklistQuestion, WorklistAnswers> _known = [];
    private readonly CharacterSet? _fallback = configuration.Peer.FallbackCharacterSet is { } term
        ? CharacterSet.FromSpecificCharacterSet([term])
        : null;

    private Association? _association;
    private Reason? _down;

    /// <summary>The worklist as messages name it.</summary>
    public string Name => $"the worklist {configuration.Peer.Name}";

    /// <summary>Asks, or gives the answer that is there already.</summary>
    public async Task<WorklistAnswers> AskAsync(WorklistQuestion question, CancellationToken cancellation)
    {
        if (_known.TryGetValue(question, out WorklistAnswers? known))
        {
            return known;
        }

        WorklistAnswers answers = await AskPeerAsync(question, cancellation).ConfigureAwait(false);
        _known.Add(question, answers);
        return answers;
    }

    public async ValueTask DisposeAsync()
    {
        if (_association is { } association)
        {
            _association = null;
            try
            {
                if (association.IsOpen)
                {
                    await association.ReleaseAsync(CancellationToken.None).ConfigureAwait(false);
                }
            }
            catch (AssociationException)
            {
                // All answers are there; a peer that does not say goodbye changes nothing.
            }

            await association.DisposeAsync().ConfigureAwait(false);
        }
    }

    private async Task<WorklistAnswers> AskPeerAsync(WorklistQuestion question, CancellationToken cancellation)
    {
        DateTimeOffset askedAt = clock.GetUtcNow();
        if (_down is { } down)
        {
            return new WorklistAnswers(question, []) { AskedAt = askedAt, Failure = down };
        }

        // A peer may end an association between two questions; a fresh one is tried once before it counts as down.
        bool fresh = _association is not { IsOpen: true };
        while (true)
        {
            try
            {
                Association association = await ConnectAsync(cancellation).ConfigureAwait(false);
                return await FindAsync(association, question, askedAt, cancellation).ConfigureAwait(false);
            }
            catch (AssociationException) when (!fresh && _association is { IsOpen: false })
            {
                fresh = true;
            }
            catch (AssociationException failure)
            {
                _down = new Reason("worklist-down", $"{failure.Sentence} It is asked again by itself.");
                return new WorklistAnswers(question, []) { AskedAt = askedAt, Failure = _down };
            }
        }
    }

    private async Task<Association> ConnectAsync(CancellationToken cancellation)
    {
        if (_association is { IsOpen: true } open)
        {
            return open;
        }

        if (_association is { } broken)
        {
            _association = null;
            await broken.DisposeAsync().ConfigureAwait(false);
        }

        PeerConfiguration peer = configuration.Peer;
        _association = await Association.RequestAsync(
            new AssociationOptions
            {
                Host = peer.Host,
                Port = peer.Port,
                CalledAETitle = peer.CalledAETitle,
                CallingAETitle = peer.CallingAETitle ?? site.CallingAETitle,
                PeerKind = "worklist",
                Contexts = Proposals,
                Limits = AssociationLimits.Default with { Connect = peer.ConnectLimit, Associate = peer.ResponseLimit, Response = peer.ResponseLimit },
                TimeProvider = clock,
            },
            cancellation).ConfigureAwait(false);
        return _association;
    }

    private async Task<WorklistAnswers> FindAsync(
        Association association, WorklistQuestion question, DateTimeOffset askedAt, CancellationToken cancellation)
    {
        FindOperation find = new FindUser(association).Find(
            SopClasses.ModalityWorklistInformationModelFind, question.ToIdentifier(), configuration.AnswerLimit);
        var steps = new List<WorklistStep>();
        int total = 0;
        bool keysNotSupported = false;
        await foreach (FindMatch answer in find.WithCancellation(cancellation).ConfigureAwait(false))
        {
            total++;
            keysNotSupported |= answer.Status == Statuses.PendingWithUnsupportedKeys;
            if (_fallback is not null)
            {
                answer.Identifier.ResolveCharacterSets(_fallback);
            }

            steps.AddRange(WorklistStep.Of(answer.Identifier));
        }

        DimseReply final = find.Final!;
        return new WorklistAnswers(question, steps)
        {
            AskedAt = askedAt,
            Total = total,
            CutOff = find.IsCut,
            KeysNotSupported = keysNotSupported,
            Status = final.Status,
            Failure = final.IsDone || find.IsCut
                ? null
                : new Reason("worklist-refused", $"The {association.PeerName} answered {final}; look at its log. It is asked again by itself."),
        };
    }
}
