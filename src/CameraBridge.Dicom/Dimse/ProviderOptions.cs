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

    /// <summary>Longest data set that is taken, in bytes; a longer one breaks the association.</summary>
    public long MaximumObjectLength { get; init; } = 8L * 1024 * 1024 * 1024;

    /// <summary>Told of what goes wrong with a peer or in a handler, for logs: the peer and the reason.</summary>
    public Action<string, Exception>? Trouble { get; init; }
}
