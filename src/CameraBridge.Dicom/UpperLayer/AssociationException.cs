namespace CameraBridge.Dicom.UpperLayer;

/// <summary>
/// Something between us and a peer went wrong. The message is one sentence for the operator: what happened, which peer, what to do next;
/// it never holds anything of a patient.
/// </summary>
public abstract class AssociationException : Exception
{
    private protected AssociationException(string sentence, Exception? cause = null) : base(sentence, cause)
    {
    }

    /// <summary>What happened, which peer, and the likely fix, in a sentence.</summary>
    public string Sentence => Message;
}

/// <summary>The transport connection could not be made (name, route, refused), or it was lost: closed or reset by the peer or on the way.</summary>
public sealed class ConnectionFailedException : AssociationException
{
    internal ConnectionFailedException(string sentence, Exception? cause = null) : base(sentence, cause)
    {
    }
}

/// <summary>The peer rejected the association (PS3.8 section 9.3.4).</summary>
public sealed class AssociationRejectedException : AssociationException
{
    internal AssociationRejectedException(string sentence, AssociateRejectPdu reject) : base(sentence)
    {
        Result = reject.Result;
        RejectedBy = reject.Source;
        Reason = reject.Reason;
    }

    /// <summary>1 rejected for good, 2 rejected for now.</summary>
    public RejectResult Result { get; }

    /// <summary>Who rejected: the application or the layers below it.</summary>
    public RejectSource RejectedBy { get; }

    /// <summary>The reason, whose meaning depends on the source (PS3.8 Table 9-21).</summary>
    public byte Reason { get; }
}

/// <summary>The association was aborted, by the peer or by us.</summary>
public sealed class AssociationAbortedException : AssociationException
{
    internal AssociationAbortedException(string sentence, bool byPeer, AbortSource source, AbortReason reason) : base(sentence)
    {
        ByPeer = byPeer;
        AbortedBy = source;
        Reason = reason;
    }

    /// <summary>True when the peer aborted, false when this side did.</summary>
    public bool ByPeer { get; }

    /// <summary>Who of the aborting side: its application or its protocol layer.</summary>
    public AbortSource AbortedBy { get; }

    /// <summary>The reason (PS3.8 Table 9-26); has a meaning only where the protocol layer aborted.</summary>
    public AbortReason Reason { get; }
}

/// <summary>The peer released the association in good order while something was still expected of it.</summary>
public sealed class AssociationReleasedException : AssociationException
{
    internal AssociationReleasedException(string sentence) : base(sentence)
    {
    }
}

/// <summary>A named limit of <see cref="AssociationLimits"/> ran out.</summary>
public sealed class PeerTimeoutException : AssociationException
{
    internal PeerTimeoutException(string sentence, string limit, TimeSpan after) : base(sentence)
    {
        Limit = limit;
        After = after;
    }

    /// <summary>Name of the limit: Connect, Associate, Response, Write, Release or Idle.</summary>
    public string Limit { get; }

    /// <summary>How long was waited.</summary>
    public TimeSpan After { get; }
}

/// <summary>The peer did what the standard does not allow; the sentence says what.</summary>
public sealed class ProtocolException : AssociationException
{
    internal ProtocolException(string sentence, Exception? cause = null) : base(sentence, cause)
    {
    }
}

/// <summary>
/// The association stands, but the peer accepted no presentation context for what should be sent. Nothing was sent and the association can
/// be used for other things.
/// </summary>
public sealed class ContextNotAcceptedException : AssociationException
{
    internal ContextNotAcceptedException(string sentence) : base(sentence)
    {
    }
}
