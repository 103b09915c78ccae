using CameraBridge.Pipeline;

namespace CameraBridge.Persistence;

/// <summary>What the RIS is told.</summary>
internal partial interface IPipelineDatabase
{
    /// <summary>The performed steps of a sitting, oldest first; the first one's UID stands in the objects.</summary>
    Task<IReadOnlyList<PerformedStep>> GetPerformedStepsAsync(long sittingId, CancellationToken cancellation);

    /// <summary>The performed step of this work with all that its messages need; null when it is gone.</summary>
    Task<PerformedStepTask?> GetPerformedStepAsync(Work work, CancellationToken cancellation);

    /// <summary>Writes down that the end of this step is being sent, before it is: should its answer be lost, the RIS may have it.</summary>
    /// <returns>False when the lease was lost: nothing was changed, and nothing may be sent.</returns>
    Task<bool> BeginEndOfStepAsync(Work work, CancellationToken cancellation);

    /// <summary>Writes what the RIS answered. InProgress and not yet to be ended waits without work until it is.</summary>
    /// <returns>False when the lease was lost: nothing was changed.</returns>
    Task<bool> CompletePerformedStepAsync(PerformedStepResult result, CancellationToken cancellation);

    /// <summary>Performed steps that a person is to look at, and those that wait for the RIS.</summary>
    Task<IReadOnlyList<PerformedStep>> GetOpenPerformedStepsAsync(CancellationToken cancellation);
}

/// <summary>A performed step, the order that it performs, and what came of it.</summary>
/// <param name="Work">The work.</param>
/// <param name="Step">The performed step.</param>
/// <param name="Sitting">Its sitting.</param>
/// <param name="Match">The match, with the item of the worklist.</param>
/// <param name="Captures">The captures of the sitting.</param>
/// <param name="Objects">The objects that belong to this step.</param>
/// <param name="Series">The series of the sitting.</param>
internal sealed record PerformedStepTask(
    Work Work, PerformedStep Step, Sitting Sitting, Match Match, IReadOnlyList<Capture> Captures, IReadOnlyList<ImagingObject> Objects, IReadOnlyList<ObjectSeries> Series);

/// <summary>What the RIS answered.</summary>
/// <param name="Work">The work.</param>
/// <param name="State">What the step is by now.</param>
/// <param name="Status">Its DIMSE status; null when none came.</param>
/// <param name="Words">In a sentence, without patient data.</param>
/// <param name="DueAt">When to try again; null when this message has done its part.</param>
/// <param name="Tried">Whether it was tried: only then do attempts grow.</param>
internal sealed record PerformedStepResult(Work Work, PerformedStepState State, ushort? Status, string? Words, DateTimeOffset? DueAt, bool Tried = true);
