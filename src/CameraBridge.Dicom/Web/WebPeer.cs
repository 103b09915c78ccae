using System.Net;
using System.Security.Cryptography.X509Certificates;

namespace CameraBridge.Dicom.Web;

/// <summary>
/// A DICOMweb server as the clients of this folder know it: where its services begin, what to call it in sentences, and what to expect of it. It can also make
/// the <see cref="HttpClient"/>; whoever has one of his own gives that to the clients instead.
/// </summary>
public sealed class WebPeer
{
    private static readonly TimeSpan ConnectionLifetime = TimeSpan.FromMinutes(10);
    private static readonly TimeSpan IdleConnectionLifetime = TimeSpan.FromMinutes(1);
    /// <summary>How long a server may take to answer the announcement of a body; some never do.</summary>
    internal static readonly TimeSpan WaitForContinue = TimeSpan.FromSeconds(2);
    private const int MaxResponseHeadersKilobytes = 64;

    /// <param name="name">What sentences call it, such as "archive van"; never anything of a patient.</param>
    /// <param name="root">Where its services begin (PS3.18 section 8.2, the base URI), such as https://pacs.example/dicom-web; http or https.</param>
    /// <exception cref="ArgumentException">The root is no absolute http or https address, or it has a user, a query or a fragment in it.</exception>
    public WebPeer(string name, Uri root)
    {
        ArgumentException.ThrowIfNullOrWhiteSpace(name);
        ArgumentNullException.ThrowIfNull(root);
        if (!root.IsAbsoluteUri || root.Scheme is not ("http" or "https") || root.UserInfo.Length > 0 || root.Query.Length > 0 || root.Fragment.Length > 0)
        {
            throw new ArgumentException("The root is an absolute http or https address without user, query and fragment.", nameof(root));
        }

        Name = name;
        Root = root.AbsolutePath.EndsWith('/') ? root : new UriBuilder(root) { Path = root.AbsolutePath + "/" }.Uri;
    }

    /// <summary>What sentences call it.</summary>
    public string Name { get; }

    /// <summary>Where its services begin; ends with a slash.</summary>
    public Uri Root { get; }

    /// <summary>How long, and how much.</summary>
    public WebLimits Limits { get; init; } = WebLimits.Default;

    /// <summary>HTTP version to ask for. Over TLS the server chooses by ALPN; without TLS, 2 is spoken only with <see cref="HttpVersionPolicy.RequestVersionExact"/>.</summary>
    public Version HttpVersion { get; init; } = System.Net.HttpVersion.Version20;

    /// <summary>What to do where the server does not speak that version.</summary>
    public HttpVersionPolicy HttpVersionPolicy { get; init; } = HttpVersionPolicy.RequestVersionOrLower;

    /// <summary>Connections at once, for HTTP/1.1.</summary>
    public int MaxConnections { get; init; } = 4;

    /// <summary>Certificates with private keys to show where the server asks for one.</summary>
    public X509CertificateCollection? ClientCertificates { get; init; }

    /// <summary>The authorities to trust instead of the system's, for a site with its own; null for the system's.</summary>
    public X509Certificate2Collection? TrustedAuthorities { get; init; }

    /// <summary>The proxy; null for none, <see cref="HttpClient.DefaultProxy"/> for that of the environment.</summary>
    public IWebProxy? Proxy { get; init; }

    /// <summary>
    /// A handler with the limits, certificates and proxy of this peer. It follows no redirection, which could carry pictures to a host that nobody configured, and
    /// keeps no cookies.
    /// </summary>
    public SocketsHttpHandler CreateHandler()
    {
        var handler = new SocketsHttpHandler
        {
            AllowAutoRedirect = false,
            UseCookies = false,
            ConnectTimeout = Limits.Connect,
            Expect100ContinueTimeout = WaitForContinue,
            MaxConnectionsPerServer = MaxConnections,
            MaxResponseHeadersLength = MaxResponseHeadersKilobytes,
            PooledConnectionIdleTimeout = IdleConnectionLifetime,
            PooledConnectionLifetime = ConnectionLifetime,
            ResponseDrainTimeout = TimeSpan.Zero,
            MaxResponseDrainSize = 0,
            Proxy = Proxy,
            UseProxy = Proxy is not null,
        };
        handler.SslOptions.ClientCertificates = ClientCertificates;
        if (TrustedAuthorities is { Count: > 0 } authorities)
        {
            handler.SslOptions.CertificateChainPolicy = OnlyTrust(authorities);
        }

        return handler;
    }

    /// <summary>A client over <see cref="CreateHandler"/>, with the authorization in front of it. Its own time-out is off: the limits here do that.</summary>
    /// <param name="authorization">Such as <see cref="BearerTokenHandler"/> or <see cref="BasicAuthorizationHandler"/>; null for none.</param>
    public HttpClient CreateClient(DelegatingHandler? authorization = null)
    {
        SocketsHttpHandler? handler = CreateHandler();
        try
        {
            if (authorization is not null)
            {
                authorization.InnerHandler = handler;
            }

            var client = new HttpClient((HttpMessageHandler?)authorization ?? handler) { Timeout = Timeout.InfiniteTimeSpan };
            handler = null;
            return client;
        }
        finally
        {
            handler?.Dispose();
        }
    }

    /// <summary>Name and address.</summary>
    public override string ToString() => $"{Name} ({Root})";

    /// <summary>Who cannot be reached when no connection stands.</summary>
    internal string Nearest => Proxy is null ? Name : $"the proxy to {Name}";

    /// <summary>Who gave an answer: a proxy may refuse us by the same status as the server behind it (tinyproxy 1.11 does).</summary>
    internal string Answering(HttpStatusCode? status) => Proxy is not null && status == HttpStatusCode.Unauthorized ? $"{Name}, or the proxy to it," : Name;

    internal HttpRequestMessage Request(HttpMethod method, string path) =>
        new(method, new Uri(Root, path)) { Version = HttpVersion, VersionPolicy = HttpVersionPolicy };

    private static X509ChainPolicy OnlyTrust(X509Certificate2Collection authorities)
    {
        var policy = new X509ChainPolicy { TrustMode = X509ChainTrustMode.CustomRootTrust, RevocationMode = X509RevocationMode.NoCheck };
        policy.CustomTrustStore.AddRange(authorities);
        return policy;
    }
}
