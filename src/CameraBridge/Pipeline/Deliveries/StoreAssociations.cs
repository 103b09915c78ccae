using CameraBridge.Configuration;
using CameraBridge.Dicom.Dimse;
using CameraBridge.Dicom.UpperLayer;

namespace CameraBridge.Pipeline.Deliveries;

/// <summary>
/// The associations with one destination: reused from batch to batch, released when idle. Who borrows one has it alone, so there are never more than
/// there are workers.
/// </summary>
internal sealed class StoreAssociations : IAsyncDisposable
{
    /// <summary>An association without work is kept so long: archives close idle ones themselves after 30 s or so (common practice, no source).</summary>
    public static readonly TimeSpan IdleLimit = TimeSpan.FromSeconds(10);

    private readonly AssociationOptions _options;
    private readonly TimeProvider _clock;
    private readonly ITimer _timer;
    private readonly Lock _gate = new();
    private readonly List<Idle> _idle = [];
    private readonly List<Waiter> _waiters = [];
    private readonly List<ContextProposal> _proposals = [];
    private bool _disposed;

    public StoreAssociations(PeerConfiguration peer, string callingAETitle, TimeProvider clock)
    {
        _clock = clock;
        _options = new AssociationOptions
        {
            Host = peer.Host,
            Port = peer.Port,
            CallingAETitle = peer.CallingAETitle ?? callingAETitle,
            CalledAETitle = peer.CalledAETitle,
            PeerKind = "archive",
            Contexts = [],
            TimeProvider = clock,
            Limits = AssociationLimits.Default with
            {
                Connect = peer.ConnectLimit,
                Associate = peer.ResponseLimit,
                Response = peer.ResponseLimit,
                Write = peer.ResponseLimit,
            },
        };
        _timer = clock.CreateTimer(_ => _ = ReleaseIdleAsync(), null, IdleLimit, IdleLimit);
    }

    /// <summary>The destination as sentences name it.</summary>
    public string PeerName => _options.PeerName;

    /// <summary>Idle associations at this moment.</summary>
    public int IdleCount
    {
        get
        {
            lock (_gate)
            {
                return _idle.Count;
            }
        }
    }

    /// <summary>
    /// An association in which every object can be sent that the destination takes. Proposes what is wanted now and what was wanted before, each SOP class
    /// with one transfer syntax in a context of its own.
    /// </summary>
    /// <exception cref="AssociationException">None could be made.</exception>
    public async Task<BorrowedAssociation> BorrowAsync(IReadOnlyList<ContextProposal> wanted, CancellationToken cancellation)
    {
        ContextProposal[] proposals;
        Idle? found;
        lock (_gate)
        {
            _proposals.RemoveAll(wanted.Contains);
            _proposals.InsertRange(0, wanted.Distinct());
            proposals = [.. _proposals.Take(AssociationOptions.MaximumContexts)];
            found = _idle.Find(idle => idle.Association.IsOpen && wanted.All(idle.Proposals.Contains));
            found ??= _idle.FirstOrDefault();
            if (found is not null)
            {
                _idle.Remove(found);
            }
        }

        if (found is not null)
        {
            if (found.Association.IsOpen && wanted.All(found.Proposals.Contains))
            {
                return new BorrowedAssociation(found.Association, found.Proposals, IsReused: true);
            }

            await EndAsync(found.Association).ConfigureAwait(false);
        }

        return await RequestOrTakeOverAsync(wanted, proposals, cancellation).ConfigureAwait(false);
    }

    /// <summary>
    /// Asks for a new association, but takes one that another worker gives back in the meantime: an archive that serves one association at a time answers
    /// the second only when the first has ended.
    /// </summary>
    private async Task<BorrowedAssociation> RequestOrTakeOverAsync(
        IReadOnlyList<ContextProposal> wanted, IReadOnlyList<ContextProposal> proposals, CancellationToken cancellation)
    {
        using var giveUp = CancellationTokenSource.CreateLinkedTokenSource(cancellation);
        Waiter waiter = new(wanted);
        lock (_gate)
        {
            _waiters.Add(waiter);
        }

        Task<Association> request = Association.RequestAsync(_options with { Contexts = proposals }, giveUp.Token);
        await Task.WhenAny(request, waiter.Given).ConfigureAwait(false);
        lock (_gate)
        {
            _waiters.Remove(waiter);
        }

        if (!waiter.Given.IsCompletedSuccessfully)
        {
            return new BorrowedAssociation(await request.ConfigureAwait(false), proposals, IsReused: false);
        }

        await giveUp.CancelAsync().ConfigureAwait(false);
        try
        {
            await ReturnAsync(new BorrowedAssociation(await request.ConfigureAwait(false), proposals, IsReused: false)).ConfigureAwait(false);
        }
        catch (Exception unneeded) when (unneeded is AssociationException or OperationCanceledException)
        {
            // The request was given up, or failed; the association that was taken over serves.
        }

        return await waiter.Given.ConfigureAwait(false);
    }

    /// <summary>Gives an association back: to be used again when it is in good order, else to be ended.</summary>
    public async Task ReturnAsync(BorrowedAssociation borrowed)
    {
        lock (_gate)
        {
            if (borrowed.Association.IsOpen && !_disposed)
            {
                if (_waiters.Find(waiter => waiter.Wanted.All(borrowed.Proposals.Contains)) is { } waiter)
                {
                    _waiters.Remove(waiter);
                    waiter.Give(borrowed with { IsReused = true });
                    return;
                }

                _idle.Add(new Idle(borrowed.Association, borrowed.Proposals, _clock.GetUtcNow()));
                return;
            }
        }

        await EndAsync(borrowed.Association).ConfigureAwait(false);
    }

    public async ValueTask DisposeAsync()
    {
        await _timer.DisposeAsync().ConfigureAwait(false);
        Idle[] rest;
        lock (_gate)
        {
            _disposed = true;
            rest = [.. _idle];
            _idle.Clear();
        }

        foreach (Idle idle in rest)
        {
            await EndAsync(idle.Association).ConfigureAwait(false);
        }
    }

    private async Task ReleaseIdleAsync()
    {
        Idle[] over;
        lock (_gate)
        {
            over = [.. _idle.Where(idle => !idle.Association.IsOpen || _clock.GetUtcNow() - idle.Since >= IdleLimit)];
            _idle.RemoveAll(over.Contains);
        }

        foreach (Idle idle in over)
        {
            await EndAsync(idle.Association).ConfigureAwait(false);
        }
    }

    private static async Task EndAsync(Association association)
    {
        try
        {
            await association.ReleaseAsync(CancellationToken.None).ConfigureAwait(false);
        }
        catch (AssociationException)
        {
            // Nothing was under way, so nothing is lost when the peer does not say good-bye.
        }

        await association.DisposeAsync().ConfigureAwait(false);
    }

    /// <summary>A worker that waits for the answer to its request for an association.</summary>
    private sealed class Waiter(IReadOnlyList<ContextProposal> wanted)
    {
        private readonly TaskCompletionSource<BorrowedAssociation> _given = new(TaskCreationOptions.RunContinuationsAsynchronously);

        public IReadOnlyList<ContextProposal> Wanted { get; } = wanted;

        public Task<BorrowedAssociation> Given => _given.Task;

        public void Give(BorrowedAssociation association) => _given.SetResult(association);
    }

    private sealed record Idle(Association Association, IReadOnlyList<ContextProposal> Proposals, DateTimeOffset Since);
}

/// <summary>An association in the hands of one worker.</summary>
internal sealed record BorrowedAssociation(Association Association, IReadOnlyList<ContextProposal> Proposals, bool IsReused)
{
    public StoreUser Store { get; } = new(Association);
}
