namespace CameraBridge.Dicom.UpperLayer;

/// <summary>
/// Bytes that are no PDU of PS3.8 section 9.3. Knows nothing of a peer: the association makes a <see cref="ProtocolException"/> of it.
/// </summary>
public sealed class MalformedPduException : Exception
{
    internal MalformedPduException(string what, AbortReason reason = AbortReason.InvalidParameter) : base(what) => Reason = reason;

    /// <summary>The reason that an A-ABORT gives for it (PS3.8 Table 9-26).</summary>
    public AbortReason Reason { get; }
}
