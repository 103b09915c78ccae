using System.Runtime.CompilerServices;
using CameraBridge.Dicom.Dimse;
using CameraBridge.Dicom.UpperLayer;
using CameraBridge.Persistence;

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
internal sealed record Attempt(DeliveryOutcome Outcome, Blame Blame)
{
    /// <summary>How long the destination asked to be left alone; null when it did not.</summary>
    public TimeSpan? RetryAfter { get; init; }

    /// <summary>What an object's own files say against sending it; the destination has no part in it.</summary>
    /// <returns>Null for an error that is none of theirs.</returns>
    public static Attempt? OfSpool(Exception error, string peer) => error switch
    {
        FileNotFoundException or DirectoryNotFoundException or EndOfStreamException => new Attempt(
            new DeliveryOutcome.Refused(
                null,
                $"A file of this object in the spool is missing or shorter than it was ({error.Message}). Restore the spool from a backup, or take the source again, then {DeliveryOutcome.AgainCommand} sends it; nothing was sent to the {peer}."),
            Blame.None),
        IOException or UnauthorizedAccessException => new Attempt(
            new DeliveryOutcome.Retry(null, $"A file of this object in the spool cannot be read now: {error.Message} See that the service's user may read the spool, and the disk's health."),
            Blame.None),
        _ => null,
    };
}

/// <summary>An object that was tried.</summary>
internal readonly record struct TriedDelivery(DeliveryTask Task, Attempt Attempt);

/// <summary>What sends objects to one destination, for as long as the service runs.</summary>
internal interface IObjectSender : IAsyncDisposable
{
    /// <summary>The destination as sentences name it.</summary>
    string PeerName { get; }

    /// <summary>
    /// Tries objects in their order, and says of each what became of it. Nothing that the destination does is thrown; who enumerates may stop at any time, and what
    /// was not given by then was not tried, or is sent again under the same UID without harm.
    /// </summary>
    /// <param name="tasks">The objects; taken one by one, so that a pause that begins in the meantime is seen.</param>
    /// <param name="all">All that may come, for what has to be agreed on before the first.</param>
    /// <param name="cancellation">Gives up what is under way.</param>
    IAsyncEnumerable<TriedDelivery> SendAsync(IEnumerable<DeliveryTask> tasks, IReadOnlyList<DeliveryTask> all, CancellationToken cancellation);
}

/// <summary>Sends by C-STORE: each batch over one association at a time, one object after the other.</summary>
internal sealed class StoreSender(StoreAssociations associations, LinkShare link, string spoolFolder) : IObjectSender
{
    public string PeerName => associations.PeerName;

    public async IAsyncEnumerable<TriedDelivery> SendAsync(
        IEnumerable<DeliveryTask> tasks, IReadOnlyList<DeliveryTask> all, [EnumeratorCancellation] CancellationToken cancellation)
    {
        ContextProposal[] wanted = [.. all.Select(task => new ContextProposal(task.Object.SOPClassUID, task.Object.TransferSyntaxUID)).Distinct()];
        var batch = new StoreBatch(associations, wanted, link, spoolFolder);
        await using (batch.ConfigureAwait(false))
        {
            foreach (DeliveryTask task in tasks)
            {
                yield return new TriedDelivery(task, await batch.SendAsync(task.Object, cancellation).ConfigureAwait(false));
            }
        }
    }

    public ValueTask DisposeAsync() => associations.DisposeAsync();
}

/// <summary>Sends the objects of one batch, one after the other, over one association as long as that holds.</summary>
/// <param name="associations">The destination's associations.</param>
/// <param name="wanted">The contexts that the batch needs.</param>
/// <param name="link">What may be used of the way there.</param>
/// <param name="spoolFolder">Where the pixels lie.</param>
internal sealed class StoreBatch(StoreAssociations associations, IReadOnlyList<ContextProposal> wanted, LinkShare link, string spoolFolder) : IAsyncDisposable
{
    private BorrowedAssociation? _borrowed;
    private bool _proven;

    /// <summary>Sends one object, or says why not.</summary>
    /// <exception cref="OperationCanceledException">The service stops; the association is broken.</exception>
    public async Task<Attempt> SendAsync(ImagingObject made, CancellationToken cancellation)
    {
        try
        {
            var request = new StoreRequest(made.SOPClassUID, made.SOPInstanceUID, made.TransferSyntaxUID, SpooledObject.Locate(made, spoolFolder, link));
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
        catch (Exception unreadable) when (Attempt.OfSpool(unreadable, associations.PeerName) is { } attempt)
        {
            return attempt;
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
