namespace CameraBridge.Pipeline.Captures;

/// <summary>
/// How a source, or one mount of it, stands: for the report of <c>once</c>, for <c>check</c> and the console. Places may hold a patient's name: they
/// are for the operator's view and never for the log.
/// </summary>
internal sealed record SourceStatus
{
    public required string Source { get; init; }

    /// <summary>Name of the mount where the source watches every mount below a folder; else "".</summary>
    public required string Mount { get; init; }

    public bool Present { get; init; }

    public DateTimeOffset? LastScanAt { get; init; }

    /// <summary>Every folder could be listed to its end.</summary>
    public bool ScanComplete { get; init; }

    /// <summary>New captures since the program started.</summary>
    public int Taken { get; init; }

    /// <summary>Files seen by the last scan that are captures already, those just taken included.</summary>
    public int Known { get; init; }

    /// <summary>Files that wait until they rest, or for their turn.</summary>
    public int Waiting { get; init; }

    public IReadOnlyList<SkippedFiles> Skipped { get; init; } = [];

    /// <summary>What keeps it from being taken, in a sentence with the next step; null when all is well.</summary>
    public string? Trouble { get; init; }
}

/// <summary>What one complete pass over a source gave.</summary>
internal sealed record SourceSummary
{
    public required string Source { get; init; }

    /// <summary>New captures.</summary>
    public int Taken { get; init; }

    /// <summary>Files that were captures already.</summary>
    public int Known { get; init; }

    public IReadOnlyList<SkippedFiles> Skipped { get; init; } = [];

    /// <summary>Everything that could be read was taken, and the source's sittings are closing.</summary>
    public bool Whole { get; init; }

    /// <summary>Why it is not whole: a sentence with the next step; null when it is.</summary>
    public string? Trouble { get; init; }
}
