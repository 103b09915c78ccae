using System.Collections.Concurrent;
using System.Globalization;
using System.Net;
using System.Net.Http.Headers;
using System.Security.Cryptography;
using System.Text;
using Microsoft.AspNetCore.Builder;
using Microsoft.AspNetCore.Hosting;
using Microsoft.AspNetCore.Http;
using Microsoft.Extensions.Logging;

namespace CameraBridge.Tests.Peers;

/// <summary>
/// A token server (RFC 6749 section 4.4, by Kestrel) and the check in front of a DICOMweb server that lets through what bears one of its tokens, while it is good
/// (RFC 6750 section 3).
/// </summary>
internal sealed class TokenGate : IAsyncDisposable
{
    public const string ClientId = "gateway one";
    public const string Scope = "dicom.write dicom.read";

    private readonly WebApplication application;
    private readonly HttpClient behind;
    private readonly ConcurrentDictionary<string, Issued> issued = new(StringComparer.Ordinal);
    private readonly ConcurrentQueue<string> stored = [];
    private int refusals;

    private TokenGate(WebApplication application, Uri behind)
    {
        this.application = application;
        this.behind = new HttpClient { BaseAddress = new Uri(behind.GetLeftPart(UriPartial.Authority)) };
    }

    /// <summary>What a client must know beside <see cref="ClientId"/>; has characters that must be encoded (RFC 6749 section 2.3.1).</summary>
    public static string Secret => "a secret: 100 % of this+test";

    public Uri Endpoint { get; private set; } = null!;

    public Uri Root { get; private set; } = null!;

    /// <summary>How long a token is good, as it says itself.</summary>
    public TimeSpan Life { get; init; } = TimeSpan.FromHours(1);

    /// <summary>Requests after which a token is revoked, whatever it says of its life; null for never.</summary>
    public int? Uses { get; init; }

    /// <summary>Whether the first object that comes with a token is answered only when that token has run out, so that the run is longer than its life.</summary>
    public bool AnswersLate { get; init; }

    /// <summary>All tokens, in the order of their making.</summary>
    public IReadOnlyList<string> Tokens => [.. issued.OrderBy(one => one.Value.At).Select(one => one.Key)];

    /// <summary>Requests that came without a good token.</summary>
    public int Refusals => Volatile.Read(ref refusals);

    /// <summary>Tokens of the requests to store that were let through, in their order.</summary>
    public IReadOnlyList<string> StoredUnder => [.. stored];

    /// <param name="root">Where the DICOMweb services begin behind it.</param>
    /// <param name="make">Sets how it behaves.</param>
    public static async Task<TokenGate> StartAsync(Uri root, Func<WebApplication, Uri, TokenGate> make)
    {
        WebApplicationBuilder builder = WebApplication.CreateSlimBuilder();
        builder.WebHost.ConfigureKestrel(options =>
        {
            options.Listen(IPAddress.Loopback, 0);
            options.Limits.MaxRequestBodySize = null;
        });
        builder.Logging.ClearProviders();
        WebApplication application = builder.Build();
        TokenGate gate = make(application, root);
        application.MapPost("/token", gate.IssueAsync);
        application.MapFallback(gate.PassAsync);
        await application.StartAsync();
        Uri address = new(application.Urls.Single());
        gate.Endpoint = new Uri(address, "token");
        gate.Root = new Uri(address, root.AbsolutePath);
        return gate;
    }

    public static TokenGate Revoking(WebApplication application, Uri behind) => new(application, behind) { Uses = 2 };

    public static TokenGate Expiring(WebApplication application, Uri behind) => new(application, behind) { Life = TimeSpan.FromSeconds(2), AnswersLate = true };

    public async ValueTask DisposeAsync()
    {
        await application.DisposeAsync();
        behind.Dispose();
    }

    private async Task IssueAsync(HttpContext context)
    {
        IFormCollection form = await context.Request.ReadFormAsync();
        string pair = $"{WebUtility.UrlEncode(ClientId)}:{WebUtility.UrlEncode(Secret)}";
        if (context.Request.Headers.Authorization != "Basic " + Convert.ToBase64String(Encoding.UTF8.GetBytes(pair))
            || form["grant_type"] != "client_credentials" || form["scope"] != Scope)
        {
            context.Response.StatusCode = StatusCodes.Status401Unauthorized;
            await context.Response.WriteAsJsonAsync(new { error = "invalid_client" });
            return;
        }

        string token = RandomNumberGenerator.GetHexString(40, lowercase: true);
        issued[token] = new Issued(TimeProvider.System.GetUtcNow());
        await context.Response.WriteAsJsonAsync(new { access_token = token, token_type = "Bearer", expires_in = (int)Life.TotalSeconds });
    }

    private async Task PassAsync(HttpContext context)
    {
        string token = context.Request.Headers.Authorization.ToString().Replace("Bearer ", "", StringComparison.Ordinal);
        if (!issued.TryGetValue(token, out Issued? mine) || TimeProvider.System.GetUtcNow() > mine.At + Life || Interlocked.Increment(ref mine.Used) > (Uses ?? int.MaxValue))
        {
            Interlocked.Increment(ref refusals);
            context.Response.StatusCode = StatusCodes.Status401Unauthorized;
            context.Response.Headers.WWWAuthenticate = "Bearer error=\"invalid_token\"";
            return;
        }

        bool isStore = context.Request.Method == HttpMethods.Post;
        using HttpResponseMessage answer = await SendOnAsync(context);
        if (isStore)
        {
            stored.Enqueue(token);
        }

        if (isStore && AnswersLate && Interlocked.Exchange(ref mine.IsLate, 1) == 0 && mine.At + Life - TimeProvider.System.GetUtcNow() is { Ticks: > 0 } rest)
        {
            await Task.Delay(rest, TimeProvider.System, context.RequestAborted);
        }

        context.Response.StatusCode = (int)answer.StatusCode;
        context.Response.ContentType = answer.Content.Headers.ContentType?.ToString();
        await answer.Content.CopyToAsync(context.Response.Body, context.RequestAborted);
    }

    private async Task<HttpResponseMessage> SendOnAsync(HttpContext context)
    {
        using HttpRequestMessage request = new(new HttpMethod(context.Request.Method), string.Create(CultureInfo.InvariantCulture, $"{context.Request.Path}{context.Request.QueryString}"));
        if (context.Request.Headers.Accept.ToString() is { Length: > 0 } accept)
        {
            request.Headers.TryAddWithoutValidation("Accept", accept);
        }

        if (context.Request.ContentLength is { } length and > 0)
        {
            request.Content = new StreamContent(context.Request.Body);
            request.Content.Headers.ContentLength = length;
            request.Content.Headers.ContentType = MediaTypeHeaderValue.Parse(context.Request.ContentType!);
        }

        return await behind.SendAsync(request, HttpCompletionOption.ResponseHeadersRead, context.RequestAborted);
    }

    private sealed class Issued(DateTimeOffset at)
    {
        public int Used;
        public int IsLate;

        public DateTimeOffset At { get; } = at;
    }
}
