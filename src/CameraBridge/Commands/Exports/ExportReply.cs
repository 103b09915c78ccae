using CameraBridge.Pipeline;

namespace CameraBridge.Commands.Exports;

internal enum ExportState
{
    /// <summary>Written, read back, and the same.</summary>
    Written,

    /// <summary>The folder had it already, the same bytes.</summary>
    There,

    /// <summary>Not in the folder; the reason is with it.</summary>
    LeftOut,
}

/// <summary>An object and what became of it.</summary>
internal sealed record ExportedObject
{
    public required string SOPInstanceUID { get; init; }

    /// <summary>Place of the camera's file that it was made of.</summary>
    public required string Place { get; init; }

    /// <summary>Its file below the folder; null when it is left out.</summary>
    public string? FileID { get; set; }

    /// <summary>Whether its transfer syntax is one of the profile's.</summary>
    public bool InProfile { get; init; }

    public required string TransferSyntax { get; init; }

    public ExportState State { get; set; }

    /// <summary>Why it is left out, or what else is to be known of it.</summary>
    public string? Reason { get; set; }

    /// <summary>Whether it is left out since something failed, not since it was asked for.</summary>
    public bool Failed { get; set; }

    /// <summary>Bytes of its file.</summary>
    public long Size { get; set; }

    /// <summary>SHA-256 of its file.</summary>
    public string? Sha256 { get; set; }
}

/// <summary>A sitting that was asked for.</summary>
internal sealed record ExportedSitting
{
    public long Sitting { get; init; }

    public required string Source { get; init; }

    public required string Folder { get; init; }

    public SittingState State { get; init; }

    /// <summary>Captures that are held; they are no objects.</summary>
    public int HeldCaptures { get; init; }

    /// <summary>Captures that the flow is not done with.</summary>
    public int UnfinishedCaptures { get; init; }

    public IReadOnlyList<ExportedObject> Objects { get; init; } = [];

    public bool IsHeld => State == SittingState.Held || HeldCaptures > 0;

    public int Count(ExportState state) => Objects.Count(one => one.State == state);
}

/// <summary>What an export came to.</summary>
internal sealed record ExportReply
{
    public required string Folder { get; init; }

    /// <summary>False when the folder is as it was before: there was nothing to write.</summary>
    public bool Changed { get; init; }

    public string? FileSetID { get; init; }

    public string? FileSetUID { get; init; }

    public required string Profile { get; init; }

    /// <summary>Whether every object in the folder is in a transfer syntax of the profile.</summary>
    public bool WithinProfile { get; init; }

    /// <summary>Whole file-set, what was there before included.</summary>
    public int Patients { get; init; }

    public int Studies { get; init; }

    public int Series { get; init; }

    public int Files { get; init; }

    public int Written { get; init; }

    public int There { get; init; }

    public int LeftOut { get; init; }

    public long BytesWritten { get; init; }

    /// <summary>Files of an export that was broken off, which were removed.</summary>
    public int LeftoversRemoved { get; init; }

    /// <summary>Always false, so that no program takes a copy for a confirmation.</summary>
    public bool IsConfirmation { get; init; }

    public IReadOnlyList<ExportedSitting> Sittings { get; init; } = [];

    public int ExitCode { get; init; }
}
