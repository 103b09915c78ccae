using System.Net;

namespace CameraBridge.Dicom.Web;

/// <summary>What went wrong between us and a web peer.</summary>
public enum WebFault
{
    /// <summary>No connection: name, route, refused, TLS, proxy. Nothing of the request arrived.</summary>
    NotConnected,

    /// <summary>The connection was lost after the request had begun: whether it took effect is not known.</summary>
    Lost,

    /// <summary>A named limit of <see cref="WebLimits"/> ran out.</summary>
    TimedOut,

    /// <summary>The peer answered with a status that is no success.</summary>
    Refused,

    /// <summary>The answer is not what the standard says, or larger than the limit.</summary>
    Malformed,

    /// <summary>No credentials could be had: the token endpoint failed.</summary>
    NotAuthorized,
}

/// <summary>
/// Something between us and a web peer went wrong. The message is one sentence for the operator: what happened, which peer, what to do next; it holds nothing of
/// a patient, no credentials, and nothing that the peer wrote.
/// </summary>
public sealed class WebPeerException : Exception
{
    internal WebPeerException(WebFault fault, string sentence, Exception? cause = null) : base(sentence, cause) => Fault = fault;

    /// <summary>What happened, which peer, and the likely fix, in a sentence.</summary>
    public string Sentence => Message;

    /// <summary>The kind.</summary>
    public WebFault Fault { get; }

    /// <summary>The HTTP status, where the peer answered.</summary>
    public HttpStatusCode? StatusCode { get; internal init; }

    /// <summary>How long the peer asked to wait (Retry-After, RFC 9110 section 10.2.3), at most a day.</summary>
    public TimeSpan? RetryAfter { get; internal init; }

    /// <summary>Name of the limit that ran out: Connect, Start, Headers, Idle or Whole.</summary>
    public string? Limit { get; internal init; }
}
