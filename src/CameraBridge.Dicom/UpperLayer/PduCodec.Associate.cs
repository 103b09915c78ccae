using System.Globalization;

namespace CameraBridge.Dicom.UpperLayer;

/// <content>A-ASSOCIATE-RQ and A-ASSOCIATE-AC with their items.</content>
public static partial class PduCodec
{
    // Protocol version, reserved, two titles, 32 reserved (PS3.8 Tables 9-11 and 9-17).
    private const int AssociateFixedLength = 2 + 2 + 16 + 16 + 32;

    private const byte ApplicationContextItem = 0x10, RequestedContext = 0x20, ResultContext = 0x21, AbstractSyntax = 0x30,
        TransferSyntax = 0x40, UserInformationItem = 0x50, MaximumLengthItem = 0x51, ImplementationClass = 0x52, AsynchronousOperations = 0x53,
        RoleSelectionItem = 0x54, ImplementationVersion = 0x55, ExtendedNegotiationItem = 0x56, CommonExtendedNegotiationItem = 0x57,
        UserIdentityItem = 0x58, UserIdentityReply = 0x59;

    private static Pdu DecodeAssociate(PduType type, ReadOnlySpan<byte> content)
    {
        PduReader reader = new(content);
        ushort version = reader.UInt16("the protocol version");
        reader.Skip(2, "a reserved field");
        string called = PduReader.Text(reader.Take(16, "the called AE title"));
        string calling = PduReader.Text(reader.Take(16, "the calling AE title"));
        reader.Skip(32, "a reserved field");

        string application = "";
        List<RequestedContextItem> requested = [];
        List<ContextResultItem> results = [];
        UserInformation user = new();
        while (!reader.AtEnd)
        {
            PduReader item = reader.Item("an item of the association", out byte itemType);
            switch (itemType)
            {
                case ApplicationContextItem:
                    application = PduReader.Text(item.Remainder());
                    break;
                case RequestedContext when type == PduType.AssociateRequest:
                    requested.Add(DecodeRequested(item, requested));
                    break;
                case ResultContext when type == PduType.AssociateAccept:
                    results.Add(DecodeResult(item));
                    break;
                case UserInformationItem:
                    user = DecodeUser(item);
                    break;
                default:
                    break;
            }
        }

        return type == PduType.AssociateRequest
            ? new AssociateRequestPdu(called, calling, requested, user) { ProtocolVersion = version, ApplicationContext = application }
            : new AssociateAcceptPdu(called, calling, results, user) { ProtocolVersion = version, ApplicationContext = application };
    }

    private static RequestedContextItem DecodeRequested(PduReader item, List<RequestedContextItem> before)
    {
        byte id = item.Byte("a presentation context ID");
        if ((id & 1) == 0 || before.Exists(other => other.Id == id))
        {
            throw new MalformedPduException(string.Create(
                CultureInfo.InvariantCulture, $"a presentation context with the ID {id}, which is even or given twice"));
        }

        item.Skip(3, "a presentation context");
        string abstractSyntax = "";
        List<string> transferSyntaxes = [];
        while (!item.AtEnd)
        {
            PduReader sub = item.Item("an item of a presentation context", out byte type);
            if (type == AbstractSyntax)
            {
                abstractSyntax = PduReader.Text(sub.Remainder());
            }
            else if (type == TransferSyntax)
            {
                transferSyntaxes.Add(PduReader.Text(sub.Remainder()));
            }
        }

        return new RequestedContextItem(id, abstractSyntax, transferSyntaxes);
    }

    private static ContextResultItem DecodeResult(PduReader item)
    {
        byte id = item.Byte("a presentation context ID");
        item.Skip(1, "a presentation context");
        ContextResult result = (ContextResult)item.Byte("the result of a presentation context");
        item.Skip(1, "a presentation context");
        string transferSyntax = "";
        while (!item.AtEnd)
        {
            PduReader sub = item.Item("an item of a presentation context", out byte type);
            if (type == TransferSyntax)
            {
                transferSyntax = PduReader.Text(sub.Remainder());
            }
        }

        return new ContextResultItem(id, result, transferSyntax);
    }

    private static UserInformation DecodeUser(PduReader item)
    {
        UserInformation user = new();
        List<RoleSelection> roles = [];
        List<ExtendedNegotiation> extended = [];
        List<CommonExtendedNegotiation> common = [];
        while (!item.AtEnd)
        {
            PduReader sub = item.Item("an item of the user information", out byte type);
            switch (type)
            {
                case MaximumLengthItem:
                    user = user with { MaximumLength = sub.UInt32("the maximum length") };
                    break;
                case ImplementationClass:
                    user = user with { ImplementationClassUID = PduReader.Text(sub.Remainder()) };
                    break;
                case ImplementationVersion:
                    user = user with { ImplementationVersionName = PduReader.Text(sub.Remainder()) };
                    break;
                case AsynchronousOperations:
                    user = user with { Operations = new OperationsWindow(sub.UInt16("operations invoked"), sub.UInt16("operations performed")) };
                    break;
                case RoleSelectionItem:
                    string roleClass = PduReader.Text(sub.Counted("the SOP class of a role selection"));
                    ContextRoles scu = sub.Byte("the SCU role") == 1 ? ContextRoles.User : ContextRoles.None;
                    ContextRoles scp = sub.Byte("the SCP role") == 1 ? ContextRoles.Provider : ContextRoles.None;
                    roles.Add(new RoleSelection(roleClass, scu | scp));
                    break;
                case ExtendedNegotiationItem:
                    string extendedClass = PduReader.Text(sub.Counted("the SOP class of an extended negotiation"));
                    extended.Add(new ExtendedNegotiation(extendedClass, sub.Remainder().ToArray()));
                    break;
                case CommonExtendedNegotiationItem:
                    common.Add(DecodeCommon(sub));
                    break;
                case UserIdentityItem:
                    byte identityType = sub.Byte("the type of a user identity");
                    bool wantsReply = sub.Byte("the reply request of a user identity") == 1;
                    byte[] primary = sub.Counted("the primary field of a user identity").ToArray();
                    byte[] secondary = sub.AtEnd ? [] : sub.Counted("the secondary field of a user identity").ToArray();
                    user = user with { Identity = new UserIdentity(identityType, wantsReply, primary, secondary) };
                    break;
                case UserIdentityReply:
                    user = user with { IdentityReply = sub.Counted("the reply to a user identity").ToArray() };
                    break;
                default:
                    break;
            }
        }

        return user with { Roles = roles, ExtendedNegotiations = extended, CommonExtendedNegotiations = common };
    }

    private static CommonExtendedNegotiation DecodeCommon(PduReader sub)
    {
        string sopClass = PduReader.Text(sub.Counted("the SOP class of a common extended negotiation"));
        string serviceClass = PduReader.Text(sub.Counted("the service class of a common extended negotiation"));
        List<string> related = [];
        if (!sub.AtEnd)
        {
            PduReader list = new(sub.Counted("the related classes of a common extended negotiation"));
            while (!list.AtEnd)
            {
                related.Add(PduReader.Text(list.Counted("a related class of a common extended negotiation")));
            }
        }

        return new CommonExtendedNegotiation(sopClass, serviceClass, related);
    }

    private static void EncodeRequest(PduWriter writer, AssociateRequestPdu request)
    {
        EncodeFixed(writer, request.ProtocolVersion, request.CalledAETitle, request.CallingAETitle, request.ApplicationContext);
        foreach (RequestedContextItem context in request.Contexts)
        {
            int item = writer.BeginItem(RequestedContext);
            writer.Byte(context.Id);
            writer.Zeros(3);
            writer.TextItem(AbstractSyntax, context.AbstractSyntaxUID);
            foreach (string transferSyntax in context.TransferSyntaxUIDs)
            {
                writer.TextItem(TransferSyntax, transferSyntax);
            }

            writer.End(item);
        }

        EncodeUser(writer, request.User);
    }

    private static void EncodeAccept(PduWriter writer, AssociateAcceptPdu accept)
    {
        EncodeFixed(writer, accept.ProtocolVersion, accept.CalledAETitle, accept.CallingAETitle, accept.ApplicationContext);
        foreach (ContextResultItem context in accept.Contexts)
        {
            int item = writer.BeginItem(ResultContext);
            writer.Bytes([context.Id, 0, (byte)context.Result, 0]);
            writer.TextItem(TransferSyntax, context.TransferSyntaxUID);
            writer.End(item);
        }

        EncodeUser(writer, accept.User);
    }

    private static void EncodeFixed(PduWriter writer, ushort version, string called, string calling, string application)
    {
        writer.UInt16(version);
        writer.Zeros(2);
        writer.Title(called);
        writer.Title(calling);
        writer.Zeros(32);
        writer.TextItem(ApplicationContextItem, application);
    }

    private static void EncodeUser(PduWriter writer, UserInformation user)
    {
        int item = writer.BeginItem(UserInformationItem);
        int sub = writer.BeginItem(MaximumLengthItem);
        writer.UInt32(user.MaximumLength);
        writer.End(sub);
        writer.TextItem(ImplementationClass, user.ImplementationClassUID);
        if (user.Operations is { } operations)
        {
            sub = writer.BeginItem(AsynchronousOperations);
            writer.UInt16(operations.Invoked);
            writer.UInt16(operations.Performed);
            writer.End(sub);
        }

        foreach (RoleSelection role in user.Roles)
        {
            sub = writer.BeginItem(RoleSelectionItem);
            writer.Counted(role.AbstractSyntaxUID);
            writer.Byte(role.RequestorRoles.HasFlag(ContextRoles.User) ? (byte)1 : (byte)0);
            writer.Byte(role.RequestorRoles.HasFlag(ContextRoles.Provider) ? (byte)1 : (byte)0);
            writer.End(sub);
        }

        if (user.ImplementationVersionName is { } name)
        {
            writer.TextItem(ImplementationVersion, name);
        }

        EncodeExtended(writer, user);
        writer.End(item);
    }

    private static void EncodeExtended(PduWriter writer, UserInformation user)
    {
        foreach (ExtendedNegotiation negotiation in user.ExtendedNegotiations)
        {
            int sub = writer.BeginItem(ExtendedNegotiationItem);
            writer.Counted(negotiation.AbstractSyntaxUID);
            writer.Bytes(negotiation.Information.Span);
            writer.End(sub);
        }

        foreach (CommonExtendedNegotiation negotiation in user.CommonExtendedNegotiations)
        {
            int sub = writer.BeginItem(CommonExtendedNegotiationItem);
            writer.Counted(negotiation.AbstractSyntaxUID);
            writer.Counted(negotiation.ServiceClassUID);
            int list = writer.Begin();
            foreach (string related in negotiation.RelatedGeneralSOPClassUIDs)
            {
                writer.Counted(related);
            }

            writer.End(list);
            writer.End(sub);
        }

        if (user.Identity is { } identity)
        {
            int sub = writer.BeginItem(UserIdentityItem);
            writer.Byte(identity.IdentityType);
            writer.Byte(identity.ResponseRequested ? (byte)1 : (byte)0);
            writer.Counted(identity.Primary.Span);
            writer.Counted(identity.Secondary.Span);
            writer.End(sub);
        }

        if (user.IdentityReply is { } reply)
        {
            int sub = writer.BeginItem(UserIdentityReply);
            writer.Counted(reply.Span);
            writer.End(sub);
        }
    }
}
