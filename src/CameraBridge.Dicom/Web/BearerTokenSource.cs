using System.Globalization;
using System.Net;
using System.Net.Http.Headers;
using System.Text;
using System.Text.Json;

namespace CameraBridge.Dicom.Web;

/// <summary>
/// Tokens by the client credentials grant of OAuth 2.0 (RFC 6749 section 4.4): asked for once, kept until shortly before they expire, renewed for all who wait by
/// one request. Neither the secret nor a token is in any text, log or exception.
/// </summary>
public sealed class BearerTokenSource : IDisposable
{
    private const int MaxAnswerBytes = 64 * 1024;
    private static readonly TimeSpan ShortestLife = TimeSpan.FromSeconds(1);
    private static readonly TimeSpan UnstatedLife = TimeSpan.FromMinutes(5);
    private static readonly string[] KnownErrors =
        ["invalid_request", "invalid_client", "invalid_grant", "unauthorized_client", "unsupported_grant_type", "invalid_scope"];

    private readonly HttpClient http;
    private readonly Uri tokenEndpoint;
    private readonly string clientId;
    private readonly Func<string> secret;
    private readonly TimeProvider clock;
    private readonly SemaphoreSlim renewing = new(1, 1);
    private Token? current;

    /// <param name="http">For the token endpoint; the caller's, not disposed here.</param>
    /// <param name="tokenEndpoint">Token endpoint; https outside the loopback (RFC 6749 section 3.2).</param>
    /// <param name="clientId">Client identifier.</param>
    /// <param name="secret">Gives the client secret each time a token is asked for, so that it need not lie in memory.</param>
    /// <param name="clock">For the tokens' life.</param>
    /// <exception cref="ArgumentException">The endpoint would get the secret without TLS over a network.</exception>
    public BearerTokenSource(HttpClient http, Uri tokenEndpoint, string clientId, Func<string> secret, TimeProvider? clock = null)
    {
        ArgumentNullException.ThrowIfNull(http);
        ArgumentNullException.ThrowIfNull(tokenEndpoint);
        ArgumentException.ThrowIfNullOrEmpty(clientId);
        ArgumentNullException.ThrowIfNull(secret);
        if (!tokenEndpoint.IsAbsoluteUri || (tokenEndpoint.Scheme != "https" && !(tokenEndpoint.Scheme == "http" && tokenEndpoint.IsLoopback)))
        {
            throw new ArgumentException("A token endpoint is an absolute https address (RFC 6749 section 3.2).", nameof(tokenEndpoint));
        }

        this.http = http;
        this.tokenEndpoint = tokenEndpoint;
        this.clientId = clientId;
        this.secret = secret;
        this.clock = clock ?? TimeProvider.System;
    }

    /// <summary>Scope to ask for (RFC 6749 section 3.3); null for the server's default.</summary>
    public string? Scope { get; init; }

    /// <summary>Send identifier and secret in the body instead of by HTTP Basic, for servers that take no other (RFC 6749 section 2.3.1).</summary>
    public bool SecretInBody { get; init; }

    /// <summary>How long before its end a token is renewed; never more than half its life.</summary>
    public TimeSpan RenewBefore { get; init; } = TimeSpan.FromSeconds(60);

    /// <summary>How long the token endpoint may take.</summary>
    public TimeSpan AnswerLimit { get; init; } = TimeSpan.FromSeconds(30);

    /// <summary>Says where tokens come from, and none of them.</summary>
    public override string ToString() => $"tokens of {tokenEndpoint.Host}";

    /// <inheritdoc />
    public void Dispose() => renewing.Dispose();

    /// <summary>A token that is good now.</summary>
    /// <param name="refused">A token that a peer did not take: if it is the one kept, another is asked for.</param>
    /// <param name="cancellationToken">Gives up.</param>
    /// <exception cref="WebPeerException">The token endpoint gave none.</exception>
    internal async ValueTask<string> GetAsync(string? refused, CancellationToken cancellationToken)
    {
        if (IsGood(Volatile.Read(ref current), refused) is { } kept)
        {
            return kept;
        }

        await renewing.WaitAsync(cancellationToken).ConfigureAwait(false);
        try
        {
            if (IsGood(current, refused) is { } renewed)
            {
                return renewed;
            }

            Token token = await AskAsync(cancellationToken).ConfigureAwait(false);
            Volatile.Write(ref current, token);
            return token.Value;
        }
        finally
        {
            renewing.Release();
        }
    }

    private string? IsGood(Token? token, string? refused) =>
        token is not null && token.Value != refused && clock.GetUtcNow() < token.RenewAt ? token.Value : null;

    private async Task<Token> AskAsync(CancellationToken cancellationToken)
    {
        using var limit = new CancellationTokenSource(AnswerLimit, clock);
        using var any = CancellationTokenSource.CreateLinkedTokenSource(limit.Token, cancellationToken);
        DateTimeOffset asked = clock.GetUtcNow();
        try
        {
            using HttpRequestMessage request = Request();
            using HttpResponseMessage response = await http.SendAsync(request, HttpCompletionOption.ResponseHeadersRead, any.Token).ConfigureAwait(false);
            byte[] answer = await ReadAsync(response, any.Token).ConfigureAwait(false);
            return response.StatusCode == HttpStatusCode.OK ? Read(answer, asked) : throw Failed(Explain(response.StatusCode, answer));
        }
        catch (OperationCanceledException) when (!cancellationToken.IsCancellationRequested)
        {
            throw Failed("did not answer in time; check address, proxy and firewall");
        }
        catch (Exception broken) when (broken is HttpRequestException or IOException)
        {
            // The cause may quote what was sent, so it goes no further than its kind.
            throw Failed($"cannot be reached or broke off ({(broken as HttpRequestException)?.HttpRequestError ?? HttpRequestError.Unknown}); check address, certificate, proxy and firewall");
        }
    }

    private HttpRequestMessage Request()
    {
        var form = new List<KeyValuePair<string, string>> { new("grant_type", "client_credentials") };
        if (Scope is { Length: > 0 })
        {
            form.Add(new("scope", Scope));
        }

        var request = new HttpRequestMessage(HttpMethod.Post, tokenEndpoint);
        request.Headers.Accept.Add(new MediaTypeWithQualityHeaderValue("application/json"));
        if (SecretInBody)
        {
            form.Add(new("client_id", clientId));
            form.Add(new("client_secret", secret()));
        }
        else
        {
            // Both are form-encoded before they are put together (RFC 6749 section 2.3.1).
            string pair = $"{WebUtility.UrlEncode(clientId)}:{WebUtility.UrlEncode(secret())}";
            request.Headers.Authorization = new AuthenticationHeaderValue("Basic", Convert.ToBase64String(Encoding.UTF8.GetBytes(pair)));
        }

        request.Content = new FormUrlEncodedContent(form);
        return request;
    }

    private async Task<byte[]> ReadAsync(HttpResponseMessage response, CancellationToken cancellationToken)
    {
        byte[] buffer = new byte[MaxAnswerBytes + 1];
        Stream stream = await response.Content.ReadAsStreamAsync(cancellationToken).ConfigureAwait(false);
        await using (stream.ConfigureAwait(false))
        {
            int length = await stream.ReadAtLeastAsync(buffer, buffer.Length, throwOnEndOfStream: false, cancellationToken).ConfigureAwait(false);
            return length <= MaxAnswerBytes ? buffer[..length] : throw Failed($"answered with more than {MaxAnswerBytes} bytes; check its address");
        }
    }

    /// <summary>RFC 6749 section 5.1.</summary>
    private Token Read(byte[] answer, DateTimeOffset asked)
    {
        try
        {
            using var json = JsonDocument.Parse(answer);
            JsonElement root = json.RootElement;
            if (root.ValueKind == JsonValueKind.Object
                && root.TryGetProperty("access_token", out JsonElement value) && value.ValueKind == JsonValueKind.String && IsToken(value.GetString()!)
                && (!root.TryGetProperty("token_type", out JsonElement type)
                    || (type.ValueKind == JsonValueKind.String && string.Equals(type.GetString(), "Bearer", StringComparison.OrdinalIgnoreCase))))
            {
                TimeSpan life = LifeOf(root);
                TimeSpan early = RenewBefore < life / 2 ? RenewBefore : life / 2;
                return new Token(value.GetString()!, asked + life - early);
            }
        }
        catch (Exception broken) when (broken is JsonException or InvalidOperationException)
        {
            // The text is not shown: it may hold a token.
        }

        throw Failed("answered 200 with what is no bearer token (RFC 6749 section 5.1); check its address");
    }

    private static TimeSpan LifeOf(JsonElement root)
    {
        const double LongestSeconds = 365 * 24 * 3600;
        if (!root.TryGetProperty("expires_in", out JsonElement expires))
        {
            return UnstatedLife;
        }

        double seconds = expires.ValueKind switch
        {
            JsonValueKind.Number when expires.TryGetDouble(out double number) => number,
            JsonValueKind.String when double.TryParse(expires.GetString(), NumberStyles.Float, CultureInfo.InvariantCulture, out double text) => text,
            _ => UnstatedLife.TotalSeconds,
        };
        return double.IsFinite(seconds) && seconds >= ShortestLife.TotalSeconds ? TimeSpan.FromSeconds(Math.Min(seconds, LongestSeconds)) : ShortestLife;
    }

    /// <summary>The characters of a bearer token (RFC 6750 section 2.1), so that no answer breaks our header.</summary>
    private static bool IsToken(string text) => text.Length > 0 && text.All(c => char.IsAsciiLetterOrDigit(c) || "-._~+/=".Contains(c, StringComparison.Ordinal));

    /// <summary>RFC 6749 section 5.2. Only the error words that the standard knows are shown.</summary>
    private static string Explain(HttpStatusCode status, byte[] answer)
    {
        string? error = null;
        try
        {
            using var json = JsonDocument.Parse(answer);
            if (json.RootElement.ValueKind == JsonValueKind.Object && json.RootElement.TryGetProperty("error", out JsonElement word) && word.ValueKind == JsonValueKind.String)
            {
                error = Array.Find(KnownErrors, known => known == word.GetString());
            }
        }
        catch (Exception broken) when (broken is JsonException or InvalidOperationException)
        {
            // An error page.
        }

        string told = string.Create(CultureInfo.InvariantCulture, $"gave no token ({(int)status}{(error is null ? "" : ", " + error)})");
        return (int)status >= 500 ? told + "; look into its log" : told + "; check client id, secret and scope";
    }

    private WebPeerException Failed(string what) => new(WebFault.NotAuthorized, $"The token endpoint at {tokenEndpoint.Host} {what}.");

    private sealed class Token(string value, DateTimeOffset renewAt)
    {
        public string Value { get; } = value;

        public DateTimeOffset RenewAt { get; } = renewAt;
    }
}

/// <summary>
/// Puts a token of a <see cref="BearerTokenSource"/> on each request (RFC 6750 section 2.1). When the peer answers 401, the token is renewed and the request sent
/// again, once. Over anything but https (or the loopback) nothing is sent.
/// </summary>
public sealed class BearerTokenHandler(BearerTokenSource source) : DelegatingHandler
{
    /// <inheritdoc />
    protected override async Task<HttpResponseMessage> SendAsync(HttpRequestMessage request, CancellationToken cancellationToken)
    {
        ArgumentNullException.ThrowIfNull(request);
        if (request.RequestUri is not { } address || (address.Scheme != "https" && !address.IsLoopback))
        {
            throw new WebPeerException(WebFault.NotAuthorized, $"A bearer token goes over https only (RFC 6750 section 5.3): put an https address for {request.RequestUri?.Host}.");
        }

        string token = await source.GetAsync(refused: null, cancellationToken).ConfigureAwait(false);
        request.Headers.Authorization = new AuthenticationHeaderValue("Bearer", token);
        HttpResponseMessage response = await base.SendAsync(request, cancellationToken).ConfigureAwait(false);
        if (response.StatusCode != HttpStatusCode.Unauthorized)
        {
            return response;
        }

        response.Dispose();
        token = await source.GetAsync(refused: token, cancellationToken).ConfigureAwait(false);
        request.Headers.Authorization = new AuthenticationHeaderValue("Bearer", token);
        return await base.SendAsync(request, cancellationToken).ConfigureAwait(false);
    }
}

/// <summary>Puts a token that somebody else keeps fresh on each request (RFC 6750 section 2.1), read anew each time. Over anything but https (or the loopback) nothing is sent.</summary>
/// <param name="read">Gives the token.</param>
public sealed class FixedTokenHandler(Func<string> read) : DelegatingHandler
{
    /// <inheritdoc />
    protected override Task<HttpResponseMessage> SendAsync(HttpRequestMessage request, CancellationToken cancellationToken)
    {
        ArgumentNullException.ThrowIfNull(request);
        if (request.RequestUri is not { } address || (address.Scheme != "https" && !address.IsLoopback))
        {
            throw new WebPeerException(WebFault.NotAuthorized, $"A bearer token goes over https only (RFC 6750 section 5.3): put an https address for {request.RequestUri?.Host}.");
        }

        try
        {
            request.Headers.Authorization = new AuthenticationHeaderValue("Bearer", read());
        }
        catch (Exception unreadable) when (unreadable is IOException or UnauthorizedAccessException or FormatException)
        {
            throw new WebPeerException(WebFault.NotAuthorized, $"The bearer token for {address.Host} cannot be read: see that its file is there and may be read, and holds nothing but the token.");
        }

        return base.SendAsync(request, cancellationToken);
    }
}

/// <summary>Puts user and password on each request (RFC 7617), in UTF-8, without waiting to be asked.</summary>
public sealed class BasicAuthorizationHandler : DelegatingHandler
{
    private readonly AuthenticationHeaderValue header;

    /// <param name="user">User; no colon (RFC 7617 section 2).</param>
    /// <param name="password">Password.</param>
    /// <exception cref="ArgumentException">The user has a colon.</exception>
    public BasicAuthorizationHandler(string user, string password)
    {
        ArgumentNullException.ThrowIfNull(user);
        ArgumentNullException.ThrowIfNull(password);
        if (user.Contains(':', StringComparison.Ordinal))
        {
            throw new ArgumentException("A user for Basic has no colon (RFC 7617 section 2).", nameof(user));
        }

        header = new AuthenticationHeaderValue("Basic", Convert.ToBase64String(Encoding.UTF8.GetBytes($"{user}:{password}")));
    }

    /// <inheritdoc />
    protected override Task<HttpResponseMessage> SendAsync(HttpRequestMessage request, CancellationToken cancellationToken)
    {
        ArgumentNullException.ThrowIfNull(request);
        request.Headers.Authorization = header;
        return base.SendAsync(request, cancellationToken);
    }
}
