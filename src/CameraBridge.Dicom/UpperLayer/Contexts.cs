namespace CameraBridge.Dicom.UpperLayer;

/// <summary>Who asks and who performs in a presentation context (SCP/SCU role selection, PS3.7 section D.3.3.4).</summary>
[Flags]
public enum ContextRoles
{
    /// <summary>Neither: a role selection that came to nothing.</summary>
    None = 0,

    /// <summary>Service class user (SCU): invokes operations.</summary>
    User = 1,

    /// <summary>Service class provider (SCP): performs operations.</summary>
    Provider = 2,
}

/// <summary>One proposed presentation context: exactly one transfer syntax, so that the peer cannot choose one that we cannot send.</summary>
/// <param name="AbstractSyntaxUID">SOP class.</param>
/// <param name="TransferSyntaxUID">Transfer syntax.</param>
/// <param name="Roles">Roles wished for this side; anything but <see cref="ContextRoles.User"/> is negotiated by role selection, per SOP class.</param>
public sealed record ContextProposal(string AbstractSyntaxUID, string TransferSyntaxUID, ContextRoles Roles = ContextRoles.User);

/// <summary>What an acceptor takes: a SOP class with its transfer syntaxes in the order of preference.</summary>
/// <param name="AbstractSyntaxUID">SOP class.</param>
/// <param name="TransferSyntaxUIDs">Transfer syntaxes, best first.</param>
/// <param name="PeerRoles">Roles that the requestor may take if it asks by role selection. Without role selection it is the user.</param>
public sealed record ContextOffer(string AbstractSyntaxUID, IReadOnlyList<string> TransferSyntaxUIDs, ContextRoles PeerRoles = ContextRoles.User);

/// <summary>A presentation context that both sides agreed on.</summary>
/// <param name="Id">Presentation context ID: odd, 1 to 255.</param>
/// <param name="AbstractSyntaxUID">SOP class.</param>
/// <param name="TransferSyntaxUID">The agreed transfer syntax.</param>
/// <param name="LocalRoles">Roles of this side.</param>
public sealed record AcceptedContext(byte Id, string AbstractSyntaxUID, string TransferSyntaxUID, ContextRoles LocalRoles);

/// <summary>A presentation context that was proposed and not agreed on.</summary>
/// <param name="Id">Presentation context ID.</param>
/// <param name="AbstractSyntaxUID">SOP class.</param>
/// <param name="TransferSyntaxUIDs">What was proposed.</param>
/// <param name="Result">Why not.</param>
public sealed record RefusedContext(byte Id, string AbstractSyntaxUID, IReadOnlyList<string> TransferSyntaxUIDs, ContextResult Result);

/// <summary>Result of a presentation context (PS3.8 Table 9-18).</summary>
public enum ContextResult : byte
{
    /// <summary>Accepted.</summary>
    Acceptance = 0,

    /// <summary>The peer's application does not want it.</summary>
    UserRejection = 1,

    /// <summary>Refused without a reason by the peer's protocol layer.</summary>
    NoReason = 2,

    /// <summary>The peer does not know the SOP class.</summary>
    AbstractSyntaxNotSupported = 3,

    /// <summary>The peer knows the SOP class, but none of the transfer syntaxes.</summary>
    TransferSyntaxesNotSupported = 4,

    /// <summary>The peer's answer did not mention the context at all.</summary>
    NotAnswered = 255,
}

/// <summary>Asynchronous operations window (PS3.7 section D.3.3.3), as seen from the requestor. 0 means no limit.</summary>
/// <param name="Invoked">Operations that the requestor may have outstanding.</param>
/// <param name="Performed">Operations that the requestor performs at the same time.</param>
public readonly record struct OperationsWindow(ushort Invoked, ushort Performed)
{
    /// <summary>One at a time, the default where nothing is negotiated.</summary>
    public static readonly OperationsWindow Synchronous = new(1, 1);
}
