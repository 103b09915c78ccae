namespace CameraBridge.Dicom.UpperLayer;

/// <summary>Everything that an association needs from the side that is asked for it.</summary>
public sealed record AcceptorOptions
{
    /// <summary>What is offered.</summary>
    public required IReadOnlyList<ContextOffer> Offers { get; init; }

    /// <summary>AE titles that we answer to; empty means any.</summary>
    public IReadOnlyList<string> CalledAETitles { get; init; } = [];

    /// <summary>AE titles that may call; empty means any.</summary>
    public IReadOnlyList<string> CallingAETitles { get; init; } = [];

    /// <summary>Associations at a time; one more is rejected for now, "local limit exceeded".</summary>
    public int MaximumAssociations { get; init; } = 32;

    /// <summary>Longest P-DATA-TF that we want to receive; announced and enforced. 4 KiB to 16 MiB.</summary>
    public int MaximumReceiveLength { get; init; } = 128 * 1024;

    /// <summary>Longest P-DATA-TF that we send even if the peer allows more. 4 KiB to 16 MiB.</summary>
    public int MaximumSendLength { get; init; } = 128 * 1024;

    /// <summary>How many operations a peer may have outstanding with us. They are performed one after the other all the same.</summary>
    public ushort OperationsPerformed { get; init; } = 16;

    /// <summary>Limits of all waits.</summary>
    public AssociationLimits Limits { get; init; } = AssociationLimits.Default;

    /// <summary>The clock that the limits run on.</summary>
    public TimeProvider TimeProvider { get; init; } = TimeProvider.System;

    internal void Validate()
    {
        PduCodec.CheckDataLimit(MaximumReceiveLength, nameof(MaximumReceiveLength));
        PduCodec.CheckDataLimit(MaximumSendLength, nameof(MaximumSendLength));
        ArgumentOutOfRangeException.ThrowIfLessThan(MaximumAssociations, 1);
        foreach (string title in CalledAETitles.Concat(CallingAETitles))
        {
            AETitles.Check(title, "AE title");
        }
    }
}
