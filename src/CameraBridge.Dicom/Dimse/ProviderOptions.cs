using System.Net;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.UpperLayer;

namespace CameraBridge.Dicom.Dimse;

/// <summary>Who asks, and how.</summary>
/// <param name="CallingAETitle">AE title of the peer.</param>
/// <param name="CalledAETitle">Our AE title, as the peer called it.</param>
/// <param name="PeerName">The peer as sentences name it.</param>
/// <param name="SOPClassUID">SOP class of the request.</param>
/// <param name="TransferSyntaxUID">The accepted transfer syntax.</param>
public sealed record RequestOrigin(string CallingAETitle, string CalledAETitle, string PeerName, string SOPClassUID, string TransferSyntaxUID);

/// <summary>A query that arrived.</summary>
/// <param name="Origin">Who asks.</param>
/// <param name="Identifier">The keys.</param>
public sealed record FindQuery(RequestOrigin Origin, DataSet Identifier);

/// <summary>An object that arrives.</summary>
/// <param name="Origin">Who sends.</param>
/// <param name="SOPInstanceUID">SOP instance, as the command says.</param>
/// <param name="DataSet">
/// The encoded data set, without file meta information, while it comes in. If the association breaks before its end, reading throws the
/// <see cref="AssociationException"/>: half an object is never taken for a whole one.
/// </param>
public sealed record IncomingObject(RequestOrigin Origin, string SOPInstanceUID, Stream DataSet);

/// <summary>What a handler answers. A handler may also throw one.</summary>
/// <param name="Status">See <see cref="Statuses"/>.</param>
/// <param name="ErrorComment">For the peer, at most 64 characters of ASCII.</param>
public readonly record struct HandlerAnswer(ushort Status, string? ErrorComment = null)
{
    /// <summary>Success.</summary>
    public static readonly HandlerAnswer Success = new(Statuses.Success);

    /// <summary>For the peer, where the service defines one (0000,0903).</summary>
    public ushort? ErrorID { get; init; }

    /// <summary>Data set of the answer, for the services on instances (N-GET ...) only; null for none.</summary>
    public DataSet? DataSet { get; init; }
}

/// <summary>Thrown by a handler that cannot do what is asked: becomes the status of the final response.</summary>
public sealed class RequestFailedException(HandlerAnswer answer) : Exception(answer.ErrorComment ?? "The request failed.")
{
    /// <summary>What the peer is told.</summary>
    public HandlerAnswer Answer { get; } = answer;
}

/// <summary>Answers C-ECHO.</summary>
public delegate ValueTask<HandlerAnswer> EchoHandler(RequestOrigin origin, CancellationToken cancellationToken);

/// <summary>
/// Answers C-FIND: gives the matches one by one. Its token is cancelled by C-CANCEL and by the end of the association. To fail, it throws
/// <see cref="RequestFailedException"/>.
/// </summary>
public delegate IAsyncEnumerable<FindMatch> FindHandler(FindQuery query, CancellationToken cancellationToken);

/// <summary>Takes an object of C-STORE. The data set need not be read to its end: the rest is thrown away.</summary>
public delegate ValueTask<HandlerAnswer> StoreHandler(IncomingObject incoming, CancellationToken cancellationToken);

/// <summary>A request about one instance (PS3.7 chapter 10) that arrived.</summary>
/// <param name="Origin">Who asks.</param>
/// <param name="Association">The association that it came in, for a report that goes back in it.</param>
/// <param name="SOPInstanceUID">The affected or requested instance; empty when the peer named none.</param>
/// <param name="TypeID">Event Type ID or Action Type ID; null for other operations.</param>
/// <param name="DataSet">Event or action information, attributes, modifications; empty when the peer sent none.</param>
/// <param name="AttributeIdentifierList">What is asked for by N-GET; empty means everything.</param>
/// <param name="Answered">Ends when the answer is out: what is to follow it may follow. It is cancelled when the answer cannot be sent.</param>
public sealed record InstanceRequest(
    RequestOrigin Origin,
    Association Association,
    string SOPInstanceUID,
    ushort? TypeID,
    DataSet DataSet,
    IReadOnlyList<Tag> AttributeIdentifierList,
    Task Answered);

/// <summary>Answers a request about one instance.</summary>
public delegate ValueTask<HandlerAnswer> InstanceHandler(InstanceRequest request, CancellationToken cancellationToken);

/// <summary>Everything that a provider needs.</summary>
public sealed record ProviderOptions
{
    /// <summary>Where to listen. Port 0 takes a free one.</summary>
    public required IPEndPoint EndPoint { get; init; }

    /// <summary>What is offered to associations, and to whom. Verification is added by itself.</summary>
    public required AcceptorOptions Acceptor { get; init; }

    /// <summary>Answers C-ECHO; without one, success.</summary>
    public EchoHandler? Echo { get; init; }

    /// <summary>Answers C-FIND; without one, "SOP class not supported".</summary>
    public FindHandler? Find { get; init; }

    /// <summary>Takes objects; without one, "SOP class not supported".</summary>
    public StoreHandler? Store { get; init; }

    /// <summary>Takes reports of events (N-EVENT-REPORT), such as <see cref="CommitmentReports.TakeAsync"/>; without one, "unrecognised operation".</summary>
    public InstanceHandler? EventReport { get; init; }

    /// <summary>Performs actions (N-ACTION), such as a request for storage commitment; without one, "unrecognised operation".</summary>
    public InstanceHandler? Action { get; init; }

    /// <summary>Makes instances (N-CREATE), such as performed procedure steps; without one, "unrecognised operation".</summary>
    public InstanceHandler? Create { get; init; }

    /// <summary>Changes instances (N-SET); without one, "unrecognised operation".</summary>
    public InstanceHandler? Set { get; init; }

    /// <summary>Gives attributes of instances (N-GET); without one, "unrecognised operation".</summary>
    public InstanceHandler? Get { get; init; }

    /// <summary>Longest data set that is taken, in bytes; a longer one breaks the association.</summary>
    public long MaximumObjectLength { get; init; } = 8L * 1024 * 1024 * 1024;

    /// <summary>Told of what goes wrong with a peer or in a handler, for logs: the peer and the reason.</summary>
    public Action<string, Exception>? Trouble { get; init; }
}
