namespace CameraBridge.Pipeline.Matches;

/// <summary>The way to one worklist, by its protocol. What the peer does is an answer, also its failures.</summary>
internal interface IWorklistConnection : IAsyncDisposable
{
    /// <summary>Code of the failure after which the peer is not asked again in the same batch.</summary>
    const string Down = "worklist-down";

    /// <summary>Code of the failure where the peer answered, and answered no.</summary>
    const string Refused = "worklist-refused";

    /// <summary>Asks.</summary>
    Task<WorklistAnswers> AskAsync(WorklistQuestion question, CancellationToken cancellation);
}
