using System.Buffers;
using CameraBridge.Dicom.Dictionary;

namespace CameraBridge.Dicom.UpperLayer;

/// <summary>PDU types (PS3.8 section 9.3).</summary>
public enum PduType : byte
{
    /// <summary>A-ASSOCIATE-RQ (section 9.3.2).</summary>
    AssociateRequest = 0x01,

    /// <summary>A-ASSOCIATE-AC (section 9.3.3).</summary>
    AssociateAccept = 0x02,

    /// <summary>A-ASSOCIATE-RJ (section 9.3.4).</summary>
    AssociateReject = 0x03,

    /// <summary>P-DATA-TF (section 9.3.5).</summary>
    Data = 0x04,

    /// <summary>A-RELEASE-RQ (section 9.3.6).</summary>
    ReleaseRequest = 0x05,

    /// <summary>A-RELEASE-RP (section 9.3.7).</summary>
    ReleaseReply = 0x06,

    /// <summary>A-ABORT (section 9.3.8).</summary>
    Abort = 0x07,
}

/// <summary>Result of a rejection (PS3.8 Table 9-21).</summary>
public enum RejectResult : byte
{
    /// <summary>Will not be otherwise if asked again.</summary>
    Permanent = 1,

    /// <summary>May be otherwise later.</summary>
    Transient = 2,
}

/// <summary>Who rejected (PS3.8 Table 9-21).</summary>
public enum RejectSource : byte
{
    /// <summary>The application: the service user.</summary>
    User = 1,

    /// <summary>The service provider, ACSE related.</summary>
    ProviderAcse = 2,

    /// <summary>The service provider, presentation related.</summary>
    ProviderPresentation = 3,
}

/// <summary>Who aborted (PS3.8 Table 9-26).</summary>
public enum AbortSource : byte
{
    /// <summary>The application: the service user.</summary>
    User = 0,

    /// <summary>The protocol layer: the service provider.</summary>
    Provider = 2,
}

/// <summary>Why the protocol layer aborted (PS3.8 Table 9-26).</summary>
public enum AbortReason : byte
{
    /// <summary>Not specified.</summary>
    NotSpecified = 0,

    /// <summary>A PDU of a type that is not known.</summary>
    UnrecognizedPdu = 1,

    /// <summary>A PDU that has no place in the present state.</summary>
    UnexpectedPdu = 2,

    /// <summary>A parameter that is not known.</summary>
    UnrecognizedParameter = 4,

    /// <summary>A parameter that has no place there.</summary>
    UnexpectedParameter = 5,

    /// <summary>A parameter with a value that is not allowed.</summary>
    InvalidParameter = 6,
}

/// <summary>A protocol data unit of the upper layer (PS3.8 section 9.3).</summary>
public abstract record Pdu
{
    private protected Pdu()
    {
    }

    /// <summary>The type byte that the PDU begins with.</summary>
    public abstract PduType Type { get; }
}

/// <summary>A-ASSOCIATE-RQ (PS3.8 section 9.3.2).</summary>
/// <param name="CalledAETitle">Called AE title, without padding.</param>
/// <param name="CallingAETitle">Calling AE title, without padding.</param>
/// <param name="Contexts">Proposed presentation contexts.</param>
/// <param name="User">User information.</param>
public sealed record AssociateRequestPdu(
    string CalledAETitle, string CallingAETitle, IReadOnlyList<RequestedContextItem> Contexts, UserInformation User) : Pdu
{
    /// <inheritdoc />
    public override PduType Type => PduType.AssociateRequest;

    /// <summary>Bit 0 is version 1, the only one there is.</summary>
    public ushort ProtocolVersion { get; init; } = 1;

    /// <summary>Application context name (PS3.7 section A.2.1).</summary>
    public string ApplicationContext { get; init; } = SopClasses.ApplicationContextName;
}

/// <summary>A-ASSOCIATE-AC (PS3.8 section 9.3.3).</summary>
/// <param name="CalledAETitle">As received in the request; not to be tested on receipt.</param>
/// <param name="CallingAETitle">As received in the request; not to be tested on receipt.</param>
/// <param name="Contexts">A result for each proposed presentation context.</param>
/// <param name="User">User information.</param>
public sealed record AssociateAcceptPdu(
    string CalledAETitle, string CallingAETitle, IReadOnlyList<ContextResultItem> Contexts, UserInformation User) : Pdu
{
    /// <inheritdoc />
    public override PduType Type => PduType.AssociateAccept;

    /// <summary>Bit 0 is version 1, the only one there is.</summary>
    public ushort ProtocolVersion { get; init; } = 1;

    /// <summary>Application context name (PS3.7 section A.2.1).</summary>
    public string ApplicationContext { get; init; } = SopClasses.ApplicationContextName;
}

/// <summary>A-ASSOCIATE-RJ (PS3.8 section 9.3.4).</summary>
/// <param name="Result">For good or for now.</param>
/// <param name="Source">Who.</param>
/// <param name="Reason">Reason, see PS3.8 Table 9-21.</param>
public sealed record AssociateRejectPdu(RejectResult Result, RejectSource Source, byte Reason) : Pdu
{
    /// <inheritdoc />
    public override PduType Type => PduType.AssociateReject;
}

/// <summary>P-DATA-TF (PS3.8 section 9.3.5).</summary>
/// <param name="Values">The presentation data values, at least one.</param>
public sealed record DataPdu(IReadOnlyList<PresentationDataValue> Values) : Pdu
{
    /// <inheritdoc />
    public override PduType Type => PduType.Data;
}

/// <summary>A-RELEASE-RQ (PS3.8 section 9.3.6).</summary>
public sealed record ReleaseRequestPdu : Pdu
{
    /// <inheritdoc />
    public override PduType Type => PduType.ReleaseRequest;
}

/// <summary>A-RELEASE-RP (PS3.8 section 9.3.7).</summary>
public sealed record ReleaseReplyPdu : Pdu
{
    /// <inheritdoc />
    public override PduType Type => PduType.ReleaseReply;
}

/// <summary>A-ABORT (PS3.8 section 9.3.8).</summary>
/// <param name="Source">Who.</param>
/// <param name="Reason">Why, if the source is the provider.</param>
public sealed record AbortPdu(AbortSource Source, AbortReason Reason) : Pdu
{
    /// <inheritdoc />
    public override PduType Type => PduType.Abort;
}

/// <summary>A presentation data value: one fragment of a message (PS3.8 section 9.3.5.1 and annex E.2).</summary>
/// <param name="ContextId">Presentation context ID.</param>
/// <param name="IsCommand">True for a fragment of the command, false for one of the data set.</param>
/// <param name="IsLast">True for the last fragment of its kind.</param>
/// <param name="Fragment">The bytes; they belong to the buffer that was decoded.</param>
public readonly record struct PresentationDataValue(byte ContextId, bool IsCommand, bool IsLast, ReadOnlySequence<byte> Fragment);

/// <summary>A proposed presentation context (PS3.8 section 9.3.2.2).</summary>
/// <param name="Id">Odd, 1 to 255.</param>
/// <param name="AbstractSyntaxUID">SOP class.</param>
/// <param name="TransferSyntaxUIDs">Transfer syntaxes.</param>
public sealed record RequestedContextItem(byte Id, string AbstractSyntaxUID, IReadOnlyList<string> TransferSyntaxUIDs);

/// <summary>The answer to a proposed presentation context (PS3.8 section 9.3.3.2).</summary>
/// <param name="Id">As proposed.</param>
/// <param name="Result">Result.</param>
/// <param name="TransferSyntaxUID">The chosen transfer syntax; without meaning unless accepted.</param>
public sealed record ContextResultItem(byte Id, ContextResult Result, string TransferSyntaxUID);
