namespace CameraBridge.Dicom.UpperLayer;

/// <summary>How long each wait may last. Every wait on a peer has one of these names, and the sentence of a time-out says which.</summary>
public sealed record AssociationLimits
{
    /// <summary>Limits for a hospital network: generous where an archive works, short where only a machine must answer.</summary>
    public static AssociationLimits Default { get; } = new();

    /// <summary>Name resolution and TCP connect.</summary>
    public TimeSpan Connect { get; init; } = TimeSpan.FromSeconds(15);

    /// <summary>From our A-ASSOCIATE-RQ to the peer's answer.</summary>
    public TimeSpan Associate { get; init; } = TimeSpan.FromSeconds(30);

    /// <summary>From the end of a request, or from the answer before, to each answer.</summary>
    public TimeSpan Response { get; init; } = TimeSpan.FromSeconds(120);

    /// <summary>
    /// How long an association is kept for the report of a storage commitment, from the answer to the request on. When it runs out nothing is
    /// broken: the report may come in an association that the archive makes (PS3.4 section J.3.3).
    /// </summary>
    public TimeSpan Report { get; init; } = TimeSpan.FromSeconds(15);

    /// <summary>Each write that the peer must take (at most 256 KiB).</summary>
    public TimeSpan Write { get; init; } = TimeSpan.FromSeconds(60);

    /// <summary>From our A-RELEASE-RQ to the peer's answer.</summary>
    public TimeSpan Release { get; init; } = TimeSpan.FromSeconds(10);

    /// <summary>As acceptor: how long a peer may be silent while nothing is owed to it, also in the middle of a message.</summary>
    public TimeSpan Idle { get; init; } = TimeSpan.FromSeconds(120);

    /// <summary>The ARTIM timer of PS3.8 section 9.1.5: a peer's time to send its A-ASSOCIATE-RQ, or to close after an end.</summary>
    public TimeSpan Artim { get; init; } = TimeSpan.FromSeconds(30);
}
