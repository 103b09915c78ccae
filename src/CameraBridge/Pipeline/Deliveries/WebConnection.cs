using System.Net;
using System.Security.Cryptography;
using System.Security.Cryptography.X509Certificates;
using CameraBridge.Configuration;
using CameraBridge.Dicom.Web;

namespace CameraBridge.Pipeline.Deliveries;

/// <summary>The clients of one DICOMweb server over one pool of connections, with the site's credentials and certificates.</summary>
internal sealed class WebConnection : IDisposable
{
    private readonly HttpClient _http;
    private readonly HttpClient? _tokenHttp;
    private readonly BearerTokenSource? _tokens;
    private readonly X509Certificate2? _certificate;

    private WebConnection(WebConfiguration web, TimeProvider clock, TimeSpan? longestRequest)
    {
        _certificate = web.ClientCertificate is null ? null : X509Certificate2.CreateFromPemFile(web.ClientCertificate, web.ClientKey);
        X509Certificate2Collection? authorities = null;
        if (web.Authorities is not null)
        {
            authorities = [];
            authorities.ImportFromPemFile(web.Authorities);
        }

        Peer = new WebPeer(web.Name, web.Url)
        {
            Limits = WebLimits.Default with { Connect = web.ConnectLimit, Headers = web.ResponseLimit, Whole = longestRequest ?? WebLimits.Default.Whole },
            HttpVersion = web.Http == WebVersion.One ? HttpVersion.Version11 : HttpVersion.Version20,
            HttpVersionPolicy = web.Http == WebVersion.Auto ? HttpVersionPolicy.RequestVersionOrLower : HttpVersionPolicy.RequestVersionExact,
            ClientCertificates = _certificate is null ? null : [_certificate],
            TrustedAuthorities = authorities,
            Proxy = web.Proxy is null ? null : new WebProxy(web.Proxy)
            {
                Credentials = web.ProxyPassword is { } password ? new NetworkCredential(web.ProxyUser, password.Read()) : null,
            },
        };
        if (web.OAuth is { } oauth)
        {
            _tokenHttp = Peer.CreateClient();
            _tokens = new BearerTokenSource(_tokenHttp, oauth.Endpoint, oauth.ClientId, oauth.Secret.Read, clock) { Scope = oauth.Scope, SecretInBody = oauth.SecretInBody };
        }

        _http = CreateClient(web);
        Stow = new StowClient(
            _http,
            Peer,
            new StowOptions
            {
                MaxInstances = web.BatchObjects,
                MaxBytes = web.BatchMegabytes * 1024L * 1024,
                ExpectContinueFrom = web.ExpectContinue ? new StowOptions().ExpectContinueFrom : null,
            },
            clock);
        Qido = new QidoClient(_http, Peer, clock: clock);
        Wado = new WadoClient(_http, Peer, clock);
    }

    public WebPeer Peer { get; }

    /// <summary>For other clients of the same server.</summary>
    public HttpClient Http => _http;

    public StowClient Stow { get; }

    public QidoClient Qido { get; }

    public WadoClient Wado { get; }

    /// <summary>Reads credentials and certificates; nothing is sent yet.</summary>
    /// <returns>Null, with the sentence that says why, when one of them cannot be had. It names the place of a secret, and no secret.</returns>
    /// <param name="web">The server.</param>
    /// <param name="clock">For the limits.</param>
    /// <param name="why">The sentence.</param>
    /// <param name="longestRequest">Limit of a whole request, where it is to be another than that for sending clips.</param>
    public static WebConnection? TryOpen(WebConfiguration web, TimeProvider clock, out string? why, TimeSpan? longestRequest = null)
    {
        try
        {
            why = null;
            return new WebConnection(web, clock, longestRequest);
        }
        catch (Exception unusable) when (unusable is IOException or UnauthorizedAccessException or CryptographicException or ArgumentException)
        {
            why = $"What {web.Name} needs for its credentials cannot be read: {unusable.Message} See that the files named for it are there, are PEM where certificates are meant, and may be read by the service's user.";
            return null;
        }
    }

    public void Dispose()
    {
        _http.Dispose();
        _tokens?.Dispose();
        _tokenHttp?.Dispose();
        _certificate?.Dispose();
    }

    [System.Diagnostics.CodeAnalysis.SuppressMessage("Reliability", "CA2000:Dispose objects before losing scope", Justification = "The client that gets the handler disposes of it.")]
    private HttpClient CreateClient(WebConfiguration web) => Peer.CreateClient(
        _tokens is not null ? new BearerTokenHandler(_tokens)
        : web.Token is { } token ? new FixedTokenHandler(token.Read)
        : web.Password is { } password ? new BasicAuthorizationHandler(web.User!, password.Read())
        : null);
}
