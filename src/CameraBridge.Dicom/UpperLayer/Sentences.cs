using System.Globalization;
using System.Net.Sockets;

namespace CameraBridge.Dicom.UpperLayer;

/// <summary>
/// What went wrong with a peer, in a sentence that names it and the next step. Codes are those of PS3.8 Tables 9-21 and 9-26; the likely
/// causes are common practice, no source.
/// </summary>
internal static class Sentences
{
    public static string Rejected(string peer, string called, string calling, AssociateRejectPdu reject)
    {
        string why = (reject.Source, reject.Reason) switch
        {
            (RejectSource.User, 1) => $"rejected the association without a reason: look into its log for {calling}; often its own list of known AE titles is the cause",
            (RejectSource.User, 2) => "rejected the application context: it does not take this for DICOM; check host and port",
            (RejectSource.User, 3) => $"does not know the calling AE title {calling}: add it there, or change calling_ae_title here",
            (RejectSource.User, 7) => $"does not answer to the called AE title {called}: change called_ae_title here to the title it has, capitals matter",
            (RejectSource.ProviderAcse, 1) => "rejected the association in its protocol layer without a reason: look into its log",
            (RejectSource.ProviderAcse, 2) => "does not speak version 1 of the upper layer protocol: check host and port",
            (RejectSource.ProviderPresentation, 1) => "is congested: asked again later",
            (RejectSource.ProviderPresentation, 2) => "has as many associations as it allows: asked again later; allow more there, or fewer here",
            _ => string.Create(CultureInfo.InvariantCulture, $"rejected the association with source {(byte)reject.Source} and reason {reject.Reason}, which the standard does not define"),
        };
        string kind = reject.Result switch
        {
            RejectResult.Permanent => "permanent",
            RejectResult.Transient => "transient",
            _ => string.Create(CultureInfo.InvariantCulture, $"result {(byte)reject.Result}"),
        };
        return $"The {peer} {why} (A-ASSOCIATE-RJ, {kind}).";
    }

    public static string OwnRejection(AssociateRejectPdu reject, string called, string calling) => (reject.Source, reject.Reason) switch
    {
        (RejectSource.User, 2) => "it asked for an application context that is not DICOM's",
        (RejectSource.User, 3) => $"its AE title {calling} is not among those that may call",
        (RejectSource.User, 7) => $"it called {called}, which is not an AE title of ours",
        (RejectSource.ProviderPresentation, 2) => "there are as many associations as allowed",
        _ => "it does not speak version 1 of the upper layer protocol",
    };

    public static string AbortedByPeer(string peer, AbortPdu abort, UpperLayerState state)
    {
        string when = state switch
        {
            UpperLayerState.Sta5 => "instead of answering the association request",
            UpperLayerState.Sta6 => "in the middle of the work",
            _ => "while it was being released",
        };
        string why = abort.Source == AbortSource.User
            ? "its application gave no reason: look into its log"
            : abort.Reason switch
            {
                AbortReason.UnrecognizedPdu => "it did not recognise what was sent",
                AbortReason.UnexpectedPdu => "it did not expect what was sent",
                AbortReason.UnrecognizedParameter => "it did not recognise a parameter",
                AbortReason.UnexpectedParameter => "it did not expect a parameter",
                AbortReason.InvalidParameter => "it took a parameter to be invalid; an AE title or UID of wrong length is the usual one",
                _ => "its protocol layer gave no reason: look into its log",
            };
        return $"The {peer} aborted the association {when}; {why} (A-ABORT).";
    }

    public static string Closed(string peer, UpperLayerState state, Exception? cause, bool withinPdu)
    {
        string how = cause is null ? "closed the connection" : $"was lost ({Reason(cause)})";
        return state switch
        {
            UpperLayerState.Sta2 => $"The {peer} {how} before it asked for an association.",
            UpperLayerState.Sta5 => $"The {peer} {how} instead of answering the association request: is it a DICOM port, and does it want TLS?",
            UpperLayerState.Sta7 => $"The {peer} {how} instead of answering the release.",
            _ when withinPdu => $"The {peer} {how} in the middle of a PDU: look into its log and the network between.",
            _ => $"The {peer} {how} without a release or an abort: what it was answering may or may not have been kept; ask it before it is sent again.",
        };
    }

    public static string NotConnected(string peer, Exception cause)
    {
        string fix = (cause as SocketException)?.SocketErrorCode switch
        {
            SocketError.ConnectionRefused => "nothing listens there; is it running, and is the port right?",
            SocketError.HostNotFound or SocketError.NoData or SocketError.TryAgain => "its name cannot be resolved: check the host name and DNS",
            SocketError.HostUnreachable or SocketError.NetworkUnreachable or SocketError.NetworkDown => "there is no route to it: check cable, VPN and firewall",
            SocketError.TimedOut => "it does not answer: check address and firewall",
            SocketError.AccessDenied => "the system forbids it: check the local firewall",
            _ => Reason(cause),
        };
        return $"The {peer} cannot be reached: {fix}.".Replace("?.", "?", StringComparison.Ordinal);
    }

    public static string TimedOut(string peer, string limit, TimeSpan after)
    {
        string what = limit switch
        {
            nameof(AssociationLimits.Connect) => "could not be reached: check address, port and firewall",
            nameof(AssociationLimits.Associate) => "took the connection and did not answer the association request: is it a DICOM port, and does it want TLS?",
            nameof(AssociationLimits.Response) => "did not answer a request: look into its log; a longer response limit may be needed",
            nameof(AssociationLimits.Write) => "stopped taking what is sent: look into its log and at its disk",
            nameof(AssociationLimits.Release) => "did not answer the release",
            nameof(AssociationLimits.Artim) => "did not ask for an association",
            _ => "was silent",
        };
        return string.Create(CultureInfo.InvariantCulture, $"The {peer} {what} (limit {limit}, {after.TotalSeconds:0.###} s).");
    }

    public static string Violated(string peer, string what) =>
        $"The {peer} sent {what}: the association was aborted, since nothing after this can be trusted.";

    private static string Reason(Exception cause) => cause switch
    {
        SocketException { SocketErrorCode: SocketError.ConnectionReset } => "connection reset",
        IOException { InnerException: SocketException { SocketErrorCode: SocketError.ConnectionReset } } => "connection reset",
        IOException { InnerException: SocketException inner } => inner.SocketErrorCode.ToString(),
        SocketException socket => socket.SocketErrorCode.ToString(),
        _ => cause.Message.TrimEnd('.'),
    };
}
