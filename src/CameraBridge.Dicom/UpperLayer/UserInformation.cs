namespace CameraBridge.Dicom.UpperLayer;

/// <summary>The user information item (PS3.8 section 9.3.2.3 and annex D, PS3.7 annex D.3.3).</summary>
public sealed record UserInformation
{
    /// <summary>Longest P-DATA-TF that the sender of this item wants to receive, without the six bytes of the PDU's head; 0 is without limit.</summary>
    public uint MaximumLength { get; init; }

    /// <summary>Implementation Class UID (PS3.7 section D.3.3.2).</summary>
    public string ImplementationClassUID { get; init; } = "";

    /// <summary>Implementation version name, 1 to 16 characters; null when not sent.</summary>
    public string? ImplementationVersionName { get; init; }

    /// <summary>Asynchronous operations window (PS3.7 section D.3.3.3); null when not negotiated.</summary>
    public OperationsWindow? Operations { get; init; }

    /// <summary>SCP/SCU role selections (PS3.7 section D.3.3.4).</summary>
    public IReadOnlyList<RoleSelection> Roles { get; init; } = [];

    /// <summary>SOP class extended negotiations (PS3.7 section D.3.3.5).</summary>
    public IReadOnlyList<ExtendedNegotiation> ExtendedNegotiations { get; init; } = [];

    /// <summary>SOP class common extended negotiations (PS3.7 section D.3.3.6).</summary>
    public IReadOnlyList<CommonExtendedNegotiation> CommonExtendedNegotiations { get; init; } = [];

    /// <summary>User identity (PS3.7 section D.3.3.7): read so that nobody fails on it, and not acted upon.</summary>
    public UserIdentity? Identity { get; init; }

    /// <summary>The acceptor's answer to a user identity, without its meaning.</summary>
    public ReadOnlyMemory<byte>? IdentityReply { get; init; }
}

/// <summary>SCP/SCU role selection for a SOP class: in a request the roles wished for, in an acceptance the roles granted.</summary>
/// <param name="AbstractSyntaxUID">SOP class.</param>
/// <param name="RequestorRoles">Roles of the association requestor.</param>
public sealed record RoleSelection(string AbstractSyntaxUID, ContextRoles RequestorRoles);

/// <summary>SOP class extended negotiation.</summary>
/// <param name="AbstractSyntaxUID">SOP class.</param>
/// <param name="Information">Application information as the service class defines it.</param>
public sealed record ExtendedNegotiation(string AbstractSyntaxUID, ReadOnlyMemory<byte> Information);

/// <summary>SOP class common extended negotiation.</summary>
/// <param name="AbstractSyntaxUID">SOP class.</param>
/// <param name="ServiceClassUID">Service class.</param>
/// <param name="RelatedGeneralSOPClassUIDs">Classes that may stand in for it.</param>
public sealed record CommonExtendedNegotiation(string AbstractSyntaxUID, string ServiceClassUID, IReadOnlyList<string> RelatedGeneralSOPClassUIDs);

/// <summary>User identity: 1 name, 2 name and passcode, 3 Kerberos ticket, 4 SAML assertion, 5 JSON web token.</summary>
/// <param name="IdentityType">Type.</param>
/// <param name="ResponseRequested">True when the requestor wants a reply.</param>
/// <param name="Primary">Name, ticket, assertion or token.</param>
/// <param name="Secondary">Passcode for type 2.</param>
public sealed record UserIdentity(byte IdentityType, bool ResponseRequested, ReadOnlyMemory<byte> Primary, ReadOnlyMemory<byte> Secondary)
{
    /// <summary>The type only: what is in the fields is a secret.</summary>
    public override string ToString() => $"UserIdentity type {IdentityType}";
}
