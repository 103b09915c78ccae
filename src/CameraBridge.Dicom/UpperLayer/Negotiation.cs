using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Part10;

namespace CameraBridge.Dicom.UpperLayer;

/// <summary>What both sides agreed on.</summary>
/// <param name="Accepted">Presentation contexts that can be used.</param>
/// <param name="Refused">Presentation contexts that cannot.</param>
/// <param name="Window">Asynchronous operations window.</param>
/// <param name="PeerLimit">Longest P-DATA-TF that the peer wants; 0 is without limit.</param>
internal sealed record Agreement(
    IReadOnlyList<AcceptedContext> Accepted, IReadOnlyList<RefusedContext> Refused, OperationsWindow Window, uint PeerLimit)
{
    public static Agreement None { get; } = new([], [], OperationsWindow.Synchronous, 0);
}

/// <summary>What is proposed, what is answered, and what follows from both (PS3.8 section 7.1.1, PS3.7 annex D.3). Pure.</summary>
internal static class Negotiation
{
    // A transfer syntax must stand in every result, also where it means nothing (PS3.8 section 9.3.3.2).
    private const string Insignificant = TransferSyntaxes.ImplicitVRLittleEndian;

    /// <summary>The request that our wishes make.</summary>
    public static AssociateRequestPdu Propose(AssociationOptions options)
    {
        RequestedContextItem[] contexts = [.. options.Contexts.Distinct().Select((proposal, index) =>
            new RequestedContextItem((byte)((2 * index) + 1), proposal.AbstractSyntaxUID, [proposal.TransferSyntaxUID]))];
        RoleSelection[] roles = [.. options.Contexts
            .GroupBy(proposal => proposal.AbstractSyntaxUID, StringComparer.Ordinal)
            .Select(group => new RoleSelection(group.Key, group.Aggregate(ContextRoles.None, (all, one) => all | one.Roles)))
            .Where(role => role.RequestorRoles != ContextRoles.User)];
        OperationsWindow window = new(options.OperationsInvoked, options.OperationsPerformed);
        return new AssociateRequestPdu(options.CalledAETitle, options.CallingAETitle, contexts, new UserInformation
        {
            MaximumLength = (uint)options.MaximumReceiveLength,
            ImplementationClassUID = FileMeta.OwnImplementationClassUID,
            ImplementationVersionName = FileMeta.OwnImplementationVersionName,
            Operations = window == OperationsWindow.Synchronous ? null : window,
            Roles = roles,
        });
    }

    /// <summary>The agreement that an acceptance means for the requestor.</summary>
    public static Agreement Conclude(AssociateRequestPdu request, AssociateAcceptPdu accept)
    {
        List<AcceptedContext> accepted = [];
        List<RefusedContext> refused = [];
        foreach (RequestedContextItem asked in request.Contexts)
        {
            ContextResultItem? answer = accept.Contexts.FirstOrDefault(item => item.Id == asked.Id);
            // An acceptance with a transfer syntax that was not proposed is none: we could not send it.
            if (answer is { Result: ContextResult.Acceptance } &&
                asked.TransferSyntaxUIDs.Contains(answer.TransferSyntaxUID, StringComparer.Ordinal))
            {
                accepted.Add(new AcceptedContext(
                    asked.Id, asked.AbstractSyntaxUID, answer.TransferSyntaxUID, RequestorRoles(request, accept, asked.AbstractSyntaxUID)));
            }
            else
            {
                ContextResult result = answer is null ? ContextResult.NotAnswered
                    : answer.Result == ContextResult.Acceptance ? ContextResult.TransferSyntaxesNotSupported : answer.Result;
                refused.Add(new RefusedContext(asked.Id, asked.AbstractSyntaxUID, asked.TransferSyntaxUIDs, result));
            }
        }

        OperationsWindow asynchronous = request.User.Operations is { } wished && accept.User.Operations is { } granted
            ? new OperationsWindow(Smaller(wished.Invoked, granted.Invoked), Smaller(wished.Performed, granted.Performed))
            : OperationsWindow.Synchronous;
        return new Agreement(accepted, refused, asynchronous, accept.User.MaximumLength);
    }

    /// <summary>Whether the request is for us at all.</summary>
    /// <returns>Null when it is, else the rejection.</returns>
    public static AssociateRejectPdu? Judge(AssociateRequestPdu request, AcceptorOptions options, bool full)
    {
        if (request.ApplicationContext != SopClasses.ApplicationContextName)
        {
            return new AssociateRejectPdu(RejectResult.Permanent, RejectSource.User, 2);
        }

        if (options.CalledAETitles.Count > 0 && !options.CalledAETitles.Contains(request.CalledAETitle, StringComparer.Ordinal))
        {
            return new AssociateRejectPdu(RejectResult.Permanent, RejectSource.User, 7);
        }

        if (options.CallingAETitles.Count > 0 && !options.CallingAETitles.Contains(request.CallingAETitle, StringComparer.Ordinal))
        {
            return new AssociateRejectPdu(RejectResult.Permanent, RejectSource.User, 3);
        }

        return full ? new AssociateRejectPdu(RejectResult.Transient, RejectSource.ProviderPresentation, 2) : null;
    }

    /// <summary>The acceptance that our offers make of a request, and what it means for us.</summary>
    public static (AssociateAcceptPdu Accept, Agreement Agreement) Answer(AssociateRequestPdu request, AcceptorOptions options)
    {
        List<ContextResultItem> results = [];
        List<AcceptedContext> accepted = [];
        List<RefusedContext> refused = [];
        RoleSelection[] roles = [.. Grant(request, options)];
        foreach (RequestedContextItem asked in request.Contexts)
        {
            ContextOffer? offer = options.Offers.FirstOrDefault(one => one.AbstractSyntaxUID == asked.AbstractSyntaxUID);
            string? chosen = offer?.TransferSyntaxUIDs.FirstOrDefault(uid => asked.TransferSyntaxUIDs.Contains(uid, StringComparer.Ordinal));
            ContextResult result = offer is null ? ContextResult.AbstractSyntaxNotSupported
                : chosen is null ? ContextResult.TransferSyntaxesNotSupported : ContextResult.Acceptance;
            results.Add(new ContextResultItem(asked.Id, result, chosen ?? Insignificant));
            if (chosen is null)
            {
                refused.Add(new RefusedContext(asked.Id, asked.AbstractSyntaxUID, asked.TransferSyntaxUIDs, result));
                continue;
            }

            RoleSelection? role = Array.Find(roles, one => one.AbstractSyntaxUID == asked.AbstractSyntaxUID);
            accepted.Add(new AcceptedContext(asked.Id, asked.AbstractSyntaxUID, chosen, Opposite(role?.RequestorRoles ?? ContextRoles.User)));
        }

        OperationsWindow? window = request.User.Operations is { } wished
            ? new OperationsWindow(Smaller(wished.Invoked, options.OperationsPerformed), Smaller(wished.Performed, 1))
            : null;
        AssociateAcceptPdu accept = new(request.CalledAETitle, request.CallingAETitle, results, new UserInformation
        {
            MaximumLength = (uint)options.MaximumReceiveLength,
            ImplementationClassUID = FileMeta.OwnImplementationClassUID,
            ImplementationVersionName = FileMeta.OwnImplementationVersionName,
            Operations = window,
            Roles = roles,
        });
        return (accept, new Agreement(accepted, refused, window ?? OperationsWindow.Synchronous, request.User.MaximumLength));
    }

    // Only what was asked for may be granted (PS3.7 section D.3.3.4.1), and only for classes that are offered.
    private static IEnumerable<RoleSelection> Grant(AssociateRequestPdu request, AcceptorOptions options)
    {
        foreach (RoleSelection wished in request.User.Roles.DistinctBy(role => role.AbstractSyntaxUID, StringComparer.Ordinal))
        {
            if (options.Offers.FirstOrDefault(one => one.AbstractSyntaxUID == wished.AbstractSyntaxUID) is { } offer)
            {
                yield return wished with { RequestorRoles = wished.RequestorRoles & offer.PeerRoles };
            }
        }
    }

    // Without an answer to a role selection the default roles hold (PS3.7 section D.3.3.4).
    private static ContextRoles RequestorRoles(AssociateRequestPdu request, AssociateAcceptPdu accept, string abstractSyntax)
    {
        RoleSelection? wished = request.User.Roles.FirstOrDefault(role => role.AbstractSyntaxUID == abstractSyntax);
        RoleSelection? granted = accept.User.Roles.FirstOrDefault(role => role.AbstractSyntaxUID == abstractSyntax);
        return wished is null || granted is null ? ContextRoles.User : wished.RequestorRoles & granted.RequestorRoles;
    }

    private static ContextRoles Opposite(ContextRoles roles) =>
        (roles.HasFlag(ContextRoles.User) ? ContextRoles.Provider : ContextRoles.None) |
        (roles.HasFlag(ContextRoles.Provider) ? ContextRoles.User : ContextRoles.None);

    // 0 is without limit.
    private static ushort Smaller(ushort left, ushort right) => left == 0 ? right : right == 0 ? left : Math.Min(left, right);
}
