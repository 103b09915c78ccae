using CameraBridge.Configuration;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Dimse;
using CameraBridge.Dicom.UpperLayer;

namespace CameraBridge.Pipeline.Matches;

/// <summary>A worklist that is asked by C-FIND (PS3.4 Annex K): one association for all questions of a batch.</summary>
internal sealed class DimseWorklist(SiteConfiguration site, WorklistConfiguration configuration, PeerConfiguration peer, TimeProvider clock) : IWorklistConnection
{
    /// <summary>The presentation contexts that are proposed.</summary>
    public static readonly IReadOnlyList<ContextProposal> Proposals =
    [
        new(SopClasses.ModalityWorklistInformationModelFind, TransferSyntaxes.ExplicitVRLittleEndian),
        new(SopClasses.ModalityWorklistInformationModelFind, TransferSyntaxes.ImplicitVRLittleEndian),
    ];

    private readonly CharacterSet? _fallback = peer.FallbackCharacterSet is { } term ? CharacterSet.FromSpecificCharacterSet([term]) : null;

    private Association? _association;

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

    public async Task<WorklistAnswers> AskAsync(WorklistQuestion question, CancellationToken cancellation)
    {
        // A peer may end an association between two questions; a fresh one is tried once before it counts as down.
        bool fresh = _association is not { IsOpen: true };
        while (true)
        {
            try
            {
                Association association = await ConnectAsync(cancellation).ConfigureAwait(false);
                return await FindAsync(association, question, cancellation).ConfigureAwait(false);
            }
            catch (AssociationException) when (!fresh && _association is { IsOpen: false })
            {
                fresh = true;
            }
            catch (AssociationException failure)
            {
                return new WorklistAnswers(question, []) { Failure = new Reason(IWorklistConnection.Down, failure.Sentence) };
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

    private async Task<WorklistAnswers> FindAsync(Association association, WorklistQuestion question, CancellationToken cancellation)
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
            Total = total,
            CutOff = find.IsCut,
            KeysNotSupported = keysNotSupported,
            Status = final.Status,
            Failure = final.IsDone || find.IsCut
                ? null
                : new Reason(IWorklistConnection.Refused, $"The {association.PeerName} answered {final}; look at its log."),
        };
    }
}
