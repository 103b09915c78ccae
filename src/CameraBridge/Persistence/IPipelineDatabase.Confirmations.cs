using CameraBridge.Pipeline;

namespace CameraBridge.Persistence;

/// <summary>Whether archives keep what was delivered.</summary>
internal partial interface IPipelineDatabase
{
    Task<IReadOnlyList<ConfirmationTask>> GetConfirmationsAsync(IReadOnlyList<Work> work, CancellationToken cancellation);

    /// <summary>An object with its pieces.</summary>
    Task<ImagingObject> GetObjectAsync(long id, CancellationToken cancellation);

    /// <summary>Stores a request for storage commitment before it is sent. Its Transaction UID is used once.</summary>
    Task StartCommitmentAsync(string TransactionUID, string destination, IReadOnlyList<long> deliveryIds, CancellationToken cancellation);

    /// <summary>The deliveries that a transaction asked for; empty when nobody here knows the transaction.</summary>
    Task<IReadOnlyList<ConfirmationTask>> GetCommitmentAsync(string TransactionUID, CancellationToken cancellation);

    /// <summary>
    /// Writes what a report says, whoever has the deliveries' work in hand at that moment: a report comes when the archive likes. What is kept needs no
    /// further work. The same report again changes nothing.
    /// </summary>
    Task CompleteCommitmentAsync(string TransactionUID, IReadOnlyList<ConfirmationVerdict> verdicts, CancellationToken cancellation);

    /// <summary>Writes what asking gave.</summary>
    /// <returns>The work whose lease was lost: for it nothing was changed.</returns>
    Task<IReadOnlyList<Work>> CompleteConfirmationsAsync(IReadOnlyList<ConfirmationResult> results, CancellationToken cancellation);
}

/// <summary>A delivery that is to be confirmed. <c>Work</c> is null where it is looked up by a transaction.</summary>
internal sealed record ConfirmationTask(Work? Work, Confirmation Confirmation, ImagingObject Object);

/// <summary>What an archive said of one delivery.</summary>
/// <param name="DeliveryId">The delivery.</param>
/// <param name="Outcome">Kept, Missing, or Waiting when it said nothing that counts.</param>
/// <param name="Words">In a sentence, without patient data.</param>
/// <param name="SendAgainMost">How often an object may be sent again before a person is asked.</param>
internal sealed record ConfirmationVerdict(long DeliveryId, ConfirmationOutcome Outcome, string Words, int SendAgainMost);

/// <summary>What came of asking for one delivery's confirmation.</summary>
/// <param name="Work">The work.</param>
/// <param name="Outcome">What it came to.</param>
/// <param name="Way">How it was asked.</param>
/// <param name="Words">In a sentence, without patient data.</param>
/// <param name="DueAt">When to ask again, for Waiting.</param>
/// <param name="SendAgainMost">How often an object may be sent again before a person is asked.</param>
/// <param name="Asked">Whether the archive was asked: only then does the count of askings grow.</param>
internal sealed record ConfirmationResult(
    Work Work, ConfirmationOutcome Outcome, ConfirmationWay? Way, string Words, DateTimeOffset? DueAt, int SendAgainMost, bool Asked = true);
