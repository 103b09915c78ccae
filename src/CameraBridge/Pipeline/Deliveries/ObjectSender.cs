using CameraBridge.Dicom.Dimse;
using CameraBridge.Dicom.UpperLayer;

namespace CameraBridge.Pipeline.Deliveries;

/// <summary>Against whom a failure speaks: only the object waits, or the whole lane.</summary>
internal enum Blame
{
    None,

    /// <summary>The destination talks, but this object did not get through.</summary>
    Object,

    /// <summary>The destination cannot be reached or does not let us in.</summary>
    Destination,
}

/// <summary>One attempt and what it says of the destination.</summary>
internal sealed record Attempt(DeliveryOutcome Outcome, Blame Blame);

/// <summary>Sends the objects of one batch, one after the other, over one association as long as that holds.</summary>
/// <param name="associations">The destination's associations.</param>
/// <param name="wanted">The contexts that the batch needs.</param>
/// <param name="spoolFolder">Where the pixels lie.</param>
internal sealed class ObjectSender(StoreAssociations associations, IReadOnlyList<ContextProposal> wanted, string spoolFolder) : IAsyncDisposable
{
    private BorrowedAssociation? _borrowed;
    private bool _proven;

    /// <summary>Sends one object, or says why not.</summary>
    /// <exception cref="OperationCanceledException">The service stops; the association is broken.</exception>
    public async Task<Attempt> SendAsync(ImagingObject made, CancellationToken cancellation)
    {
        try
        {
            var request = new StoreRequest(made.SOPClassUID, made.SOPInstanceUID, made.TransferSyntaxUID, SpooledObject.Locate(made, spoolFolder));
            while (true)
            {
                if (await ConnectAsync(cancellation).ConfigureAwait(false) is { } unreachable)
                {
                    return unreachable;
                }

                if (await StoreAsync(request, cancellation).ConfigureAwait(false) is { } attempt)
                {
                    return attempt;
                }
            }
        }
        catch (Exception missing) when (missing is FileNotFoundException or DirectoryNotFoundException or EndOfStreamException)
        {
            return new Attempt(
                new DeliveryOutcome.Refused(
                    null,
                    $"A file of this object in the spool is missing or shorter than it was ({missing.Message}). Restore the spool from a backup, or take the source again, then {DeliveryOutcome.AgainCommand} sends it; nothing was sent to the {associations.PeerName}."),
                Blame.None);
        }
        catch (Exception unreadable) when (unreadable is IOException or UnauthorizedAccessException)
        {
            return new Attempt(
                new DeliveryOutcome.Retry(null, $"A file of this object in the spool cannot be read now: {unreadable.Message} See that the service's user may read the spool, and the disk's health."),
                Blame.None);
        }
    }

    public async ValueTask DisposeAsync()
    {
        if (_borrowed is { } borrowed)
        {
            _borrowed = null;
            await associations.ReturnAsync(borrowed).ConfigureAwait(false);
        }
    }

    /// <returns>Null when there is an association, else why there is none.</returns>
    private async Task<Attempt?> ConnectAsync(CancellationToken cancellation)
    {
        if (_borrowed is { Association.IsOpen: true })
        {
            return null;
        }

        await DisposeAsync().ConfigureAwait(false);
        try
        {
            _borrowed = await associations.BorrowAsync(wanted, cancellation).ConfigureAwait(false);
            _proven = !_borrowed.IsReused;
            return null;
        }
        catch (AssociationException failure)
        {
            return new Attempt(new DeliveryOutcome.Retry(null, failure.Sentence), Blame.Destination);
        }
    }

    /// <returns>Null when a reused association turned out to be closed by the peer while idle: another one is worth trying at once.</returns>
    private async Task<Attempt?> StoreAsync(StoreRequest request, CancellationToken cancellation)
    {
        try
        {
            DimseReply reply = await _borrowed!.Store.StoreAsync(request, cancellation).ConfigureAwait(false);
            _proven = true;
            var outcome = DeliveryOutcome.Of(reply, associations.PeerName);
            return new Attempt(outcome, outcome is DeliveryOutcome.Retry ? Blame.Object : Blame.None);
        }
        catch (ContextNotAcceptedException notAccepted)
        {
            return new Attempt(
                new DeliveryOutcome.Refused(null, $"{notAccepted.Sentence} It {DeliveryOutcome.NotSentAgain}"), Blame.None);
        }
        catch (AssociationException failure)
        {
            return _proven
                ? new Attempt(
                    new DeliveryOutcome.Unknown($"{failure.Sentence} Whether the archive has the object is not known; the same bytes are sent again under the same UID."),
                    Blame.Object)
                : null;
        }
    }
}
