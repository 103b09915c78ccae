using System.Buffers;
using System.Globalization;
using System.Net;
using System.Net.Http.Headers;
using System.Net.Sockets;
using System.Security.Authentication;

namespace CameraBridge.Dicom.Web;

/// <summary>
/// One request to a peer and its answer, under the named limits. There is one clock, set anew with each step that the request takes; what breaks becomes a
/// <see cref="WebPeerException"/> that says which step it was.
/// </summary>
internal sealed class WebCall : IDisposable
{
    private static readonly TimeSpan LongestRetryAfter = TimeSpan.FromDays(1);

    private readonly WebPeer peer;
    private readonly TimeProvider clock;
    private readonly CancellationToken cancellationToken;
    private readonly CancellationTokenSource step;
    private readonly CancellationTokenSource whole;
    private readonly CancellationTokenSource any;
    private string limit = nameof(WebLimits.Start);
    private bool bodyBegun;
    private HttpResponseMessage? response;

    public WebCall(WebPeer peer, TimeProvider clock, CancellationToken cancellationToken)
    {
        this.peer = peer;
        this.clock = clock;
        this.cancellationToken = cancellationToken;
        step = new CancellationTokenSource(peer.Limits.Start, clock);
        whole = new CancellationTokenSource(peer.Limits.Whole, clock);
        any = CancellationTokenSource.CreateLinkedTokenSource(step.Token, whole.Token, cancellationToken);
    }

    /// <summary>True when the peer may have acted on the request: its body, or all of a request without one, has begun to go.</summary>
    public bool MayHaveArrived => bodyBegun;

    /// <summary>Sends, and waits for the head of the answer.</summary>
    /// <exception cref="WebPeerException">No answer came.</exception>
    /// <exception cref="IOException">The bytes to send could not be read from where they are.</exception>
    public async Task<HttpResponseMessage> SendAsync(HttpClient http, HttpRequestMessage request)
    {
        var body = request.Content as MultipartBody;
        if (body is not null)
        {
            body.Progress = isLast =>
            {
                bodyBegun = true;
                Enter(isLast ? nameof(WebLimits.Headers) : nameof(WebLimits.Idle));
            };
        }
        else
        {
            // No telling when a request without a body has gone out, so both waits are one.
            limit = nameof(WebLimits.Headers);
            step.CancelAfter(peer.Limits.Start + peer.Limits.Headers);
        }

        try
        {
            response = await http.SendAsync(request, HttpCompletionOption.ResponseHeadersRead, any.Token).ConfigureAwait(false);
            Enter(nameof(WebLimits.Idle));
            return response;
        }
        catch (Exception broken) when (body?.SourceFailure is { } unreadable && broken is HttpRequestException or IOException)
        {
            throw new IOException(unreadable.Message, unreadable);
        }
        catch (Exception broken) when (IsOfThePeer(broken))
        {
            throw Judge(broken);
        }
        finally
        {
            if (body is not null)
            {
                body.Progress = null;
            }
        }
    }

    /// <summary>The answer's body as a stream whose reads are under the limits and whose failures are <see cref="WebPeerException"/>.</summary>
    public async Task<Stream> OpenBodyAsync()
    {
        try
        {
            return new WatchedStream(this, await response!.Content.ReadAsStreamAsync(any.Token).ConfigureAwait(false));
        }
        catch (Exception broken) when (IsOfThePeer(broken))
        {
            throw Judge(broken);
        }
    }

    /// <summary>The failure of a request that was refused: told by its status, and by the page of a gateway that wants a certificate.</summary>
    public async Task<WebPeerException> RefusedAsync()
    {
        HttpStatusCode status = response!.StatusCode;
        bool isAboutCertificate = false;
        if (status == HttpStatusCode.BadRequest)
        {
            try
            {
                isAboutCertificate = WebSentences.IsAboutCertificate(status, (await ReadBodyAsync().ConfigureAwait(false)).Span);
            }
            catch (WebPeerException)
            {
                // The status tells enough.
            }
        }

        string what = isAboutCertificate ? WebSentences.WantsCertificate : WebSentences.OfStatus(status);
        return Answered(WebFault.Refused, string.Create(CultureInfo.InvariantCulture, $"{what} (HTTP {(int)status})"));
    }

    /// <summary>The whole body in memory, if it is no longer than the limit.</summary>
    /// <exception cref="WebPeerException">It is longer, torn, or stalls.</exception>
    public async Task<ReadOnlyMemory<byte>> ReadBodyAsync()
    {
        int most = peer.Limits.MaxAnswerBytes;
        if (response!.Content.Headers.ContentLength > most)
        {
            throw TooLong();
        }

        Stream stream = await OpenBodyAsync().ConfigureAwait(false);
        await using (stream.ConfigureAwait(false))
        {
            var bytes = new ArrayBufferWriter<byte>();
            while (true)
            {
                int read = await stream.ReadAsync(bytes.GetMemory(16 * 1024), any.Token).ConfigureAwait(false);
                if (read == 0)
                {
                    return bytes.WrittenMemory;
                }

                bytes.Advance(read);
                if (bytes.WrittenCount > most)
                {
                    throw TooLong();
                }
            }
        }

        WebPeerException TooLong() => Answered(
            WebFault.Malformed, $"answered with more than {nameof(WebLimits.MaxAnswerBytes)} = {most} bytes: that is no answer to what was asked; check its address");
    }

    /// <summary>What to say of an answer that is not as it must be, or that refuses.</summary>
    public WebPeerException Answered(WebFault fault, string what, Exception? cause = null) =>
        new(fault, $"{peer.Answering(response?.StatusCode)} {what}.", cause) { StatusCode = response?.StatusCode, RetryAfter = RetryAfter };

    /// <summary>Retry-After (RFC 9110 section 10.2.3) as a time from now; null without one, never negative, at most a day.</summary>
    public TimeSpan? RetryAfter
    {
        get
        {
            RetryConditionHeaderValue? asked = response?.Headers.RetryAfter;
            TimeSpan? wait = asked?.Delta ?? (asked?.Date is { } date ? date - clock.GetUtcNow() : null);
            return wait is not { } given ? null : given < TimeSpan.Zero ? TimeSpan.Zero : given < LongestRetryAfter ? given : LongestRetryAfter;
        }
    }

    public void Dispose()
    {
        response?.Dispose();
        any.Dispose();
        whole.Dispose();
        step.Dispose();
    }

    private static bool IsOfThePeer(Exception broken) =>
        broken is HttpRequestException or IOException or OperationCanceledException or InvalidDataException or SocketException;

    private void Enter(string name)
    {
        limit = name;
        step.CancelAfter(name == nameof(WebLimits.Headers) ? peer.Limits.Headers : peer.Limits.Idle);
    }

    private WebPeerException Judge(Exception broken)
    {
        cancellationToken.ThrowIfCancellationRequested();
        if (whole.IsCancellationRequested)
        {
            return TimedOut(nameof(WebLimits.Whole), peer.Limits.Whole, broken);
        }

        if (step.IsCancellationRequested)
        {
            return TimedOut(limit, limit switch
            {
                nameof(WebLimits.Start) => peer.Limits.Start,
                nameof(WebLimits.Headers) => peer.Limits.Headers,
                _ => peer.Limits.Idle,
            }, broken);
        }

        if (broken is OperationCanceledException)
        {
            // Nobody of ours cancelled: the handler's own limit, or that of the caller's client.
            return TimedOut(bodyBegun ? nameof(HttpClient) : nameof(WebLimits.Connect), peer.Limits.Connect, broken);
        }

        return WebSentences.Broken(peer, broken, bodyBegun || response is not null);
    }

    private WebPeerException TimedOut(string name, TimeSpan after, Exception cause) =>
        new(WebFault.TimedOut, WebSentences.TimedOut(peer.Name, name, after), cause) { Limit = name, StatusCode = response?.StatusCode };

    private sealed class WatchedStream(WebCall call, Stream inner) : ForwardStream
    {
        public override async ValueTask<int> ReadAsync(Memory<byte> buffer, CancellationToken cancellationToken = default)
        {
            try
            {
                call.Enter(nameof(WebLimits.Idle));
                return await inner.ReadAsync(buffer, call.any.Token).ConfigureAwait(false);
            }
            catch (Exception broken) when (IsOfThePeer(broken))
            {
                throw call.Judge(broken);
            }
        }

        protected override void Dispose(bool disposing)
        {
            if (disposing)
            {
                inner.Dispose();
            }

            base.Dispose(disposing);
        }
    }
}

/// <summary>What went wrong on the way to a web peer and back, in a sentence that names it and the next step. The likely causes are common practice, no source.</summary>
internal static class WebSentences
{
    public static string TimedOut(string peer, string limit, TimeSpan after)
    {
        string what = limit switch
        {
            nameof(WebLimits.Connect) => "could not be reached: check address, port, proxy and firewall",
            nameof(WebLimits.Start) => "could not be reached, or no credentials could be had in time: check address, proxy, firewall and token endpoint",
            nameof(WebLimits.Headers) => "took the request and did not answer: look into its log; a longer limit may be needed",
            nameof(WebLimits.Idle) => "stopped taking what is sent, or fell silent in its answer: look into its log, at its disk and the network between",
            nameof(WebLimits.Whole) => "was not done in the time of a whole request: allow longer, or send less at once",
            _ => "was not done before the HTTP client gave up: its own time-out must be off",
        };
        return string.Create(CultureInfo.InvariantCulture, $"{peer} {what} (limit {limit}, {after.TotalSeconds:0.###} s).");
    }

    public static WebPeerException Broken(WebPeer peer, Exception broken, bool begun)
    {
        HttpRequestError error = (broken as HttpRequestException)?.HttpRequestError ?? (broken as HttpIOException)?.HttpRequestError ?? HttpRequestError.Unknown;
        (WebFault fault, string what) = error switch
        {
            HttpRequestError.NameResolutionError => (WebFault.NotConnected, "has a name that cannot be resolved: check the host name and DNS"),
            HttpRequestError.SecureConnectionError => (WebFault.NotConnected, Tls(broken)),
            HttpRequestError.ProxyTunnelError => (WebFault.NotConnected, "cannot be reached through the proxy: check the proxy's address, rules, user and password"),
            HttpRequestError.VersionNegotiationError => (WebFault.NotConnected, "does not speak the HTTP version that is demanded: allow a lower one"),
            HttpRequestError.ConnectionError when !begun => (WebFault.NotConnected, "cannot be reached: " + NotReached(broken)),
            HttpRequestError.ResponseEnded => (WebFault.Lost, "closed the connection before its answer was whole: what it has done is not known"),
            HttpRequestError.InvalidResponse or HttpRequestError.ConfigurationLimitExceeded => (WebFault.Malformed, "answered with what is no HTTP: check its address and port"),
            HttpRequestError.HttpProtocolError => (WebFault.Lost, "broke the HTTP/2 connection: look into its log, or demand HTTP/1.1"),
            _ when begun => (WebFault.Lost, "lost the connection while it took the request or answered: what it has done is not known"),
            _ => (WebFault.Lost, "lost the connection: look into its log and the network between"),
        };
        string who = error is HttpRequestError.NameResolutionError || (error == HttpRequestError.ConnectionError && !begun) ? peer.Nearest : peer.Name;
        return new WebPeerException(fault, $"{who} {what}.", broken);
    }

    private static string Tls(Exception broken) => broken.InnerException switch
    {
        AuthenticationException => "cannot be trusted, or does not trust us: check its certificate (name, dates, authority) and the client certificate",
        _ => "broke off the TLS handshake: is it an https port, and does it ask for a client certificate?",
    };

    private static string NotReached(Exception broken) => (broken.InnerException as SocketException)?.SocketErrorCode switch
    {
        SocketError.ConnectionRefused => "nothing listens there; is it running, and is the port right?",
        SocketError.HostUnreachable or SocketError.NetworkUnreachable or SocketError.NetworkDown => "there is no route to it; check cable, VPN and firewall",
        _ => "check address, port and firewall",
    };

    /// <summary>What a page comes to that is about the client certificate (<see cref="IsAboutCertificate"/>); the end of a sentence.</summary>
    public const string WantsCertificate = "is behind a gateway that wants a client certificate that it trusts: check certificate, key and dates";

    /// <summary>
    /// A page for people that is about the client certificate, and so about no object: nginx 1.22 gives its statuses 495 and 496 to the client as 400, with the words
    /// "The SSL certificate error" or "No required SSL certificate was sent".
    /// </summary>
    public static bool IsAboutCertificate(HttpStatusCode status, ReadOnlySpan<byte> page) =>
        status == HttpStatusCode.BadRequest && page.IndexOf("SSL certificate"u8) >= 0;

    /// <summary>What an HTTP status means where no account of instances comes with it (RFC 9110 section 15, PS3.18 section 8.5).</summary>
    public static string OfStatus(HttpStatusCode status) => (int)status switch
    {
        401 => "does not accept the credentials: check user, secret, token and scope",
        403 => "forbids it: check the rights of this client there",
        404 or 410 => "has nothing at this address: check the path of its DICOMweb root",
        405 => "does not offer this service at this address: check the path, and whether the service is switched on",
        407 => "is behind a proxy that wants credentials: check user and password for the proxy",
        408 => "did not receive the request in its time: the line may be too slow for its limit",
        429 => "asks for fewer requests: tried again later",
        495 or 496 => "does not accept the client certificate: check it there",
        502 or 504 => "is behind a gateway that could not reach it, or gave up waiting",
        503 => "is not available now: tried again later",
        507 => "has no room left: free space there",
        >= 300 and < 400 => "points to another address; nothing is sent there unasked: put the right address into the configuration",
        >= 500 => "failed while it worked on it: look into its log",
        _ => "did not understand the request: look into its log",
    };
}
