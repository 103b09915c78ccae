using System.Collections.Concurrent;
using System.Globalization;
using System.Net;
using System.Text;
using CameraBridge.Dicom.Web;
using CameraBridge.Tests.Peers;
using Microsoft.Extensions.Time.Testing;
using Xunit;
using static CameraBridge.Tests.Dicom.Web.WebObjects;

namespace CameraBridge.Tests.Dicom.Web;

/// <summary>Client credentials of OAuth 2.0 (RFC 6749 section 4.4) and bearer tokens (RFC 6750).</summary>
public sealed class BearerTokenTests
{
    private const string Secret = "p+ss:wörd/1";

    private readonly FakeTimeProvider clock = new(new DateTimeOffset(2026, 11, 25, 12, 0, 0, TimeSpan.Zero));
    private readonly ConcurrentQueue<string> asked = [];

    private static CancellationToken Cancellation => TestContext.Current.CancellationToken;

    [Fact]
    public async Task A_token_is_asked_for_once_and_renewed_before_it_expires()
    {
        await using ScriptedWebPeer tokens = Tokens();
        await using ScriptedWebPeer archive = Archive(_ => 200);
        using var http = new HttpClient();
        using var source = new BearerTokenSource(http, tokens.Root, "camera bridge", () => Secret, clock) { Scope = "dicom.write" };

        await StoreAsync(archive, source);
        await StoreAsync(archive, source);
        clock.Advance(TimeSpan.FromSeconds(299));
        await StoreAsync(archive, source);
        clock.Advance(TimeSpan.FromSeconds(1));
        await StoreAsync(archive, source);

        // The token lives 360 s and is renewed 60 s before.
        Assert.Equal(["Bearer token-1", "Bearer token-1", "Bearer token-1", "Bearer token-2"], archive.Heads.Select(Authorization));
        Assert.Equal(["grant_type=client_credentials&scope=dicom.write", "grant_type=client_credentials&scope=dicom.write"], asked);

        // Section 2.3.1: both are form-encoded, then put together for Basic.
        string basic = Encoding.UTF8.GetString(Convert.FromBase64String(Authorization(tokens.Heads.First())["Basic ".Length..]));
        Assert.Equal("camera+bridge:p%2Bss%3Aw%C3%B6rd%2F1", basic);
    }

    [Fact]
    public async Task After_a_401_the_token_is_renewed_once_and_the_objects_sent_again()
    {
        await using ScriptedWebPeer tokens = Tokens();
        await using ScriptedWebPeer archive = Archive(token => token == "Bearer token-1" ? 401 : 200);
        await using ScriptedWebPeer never = Archive(_ => 401);
        using var http = new HttpClient();
        using var source = new BearerTokenSource(http, tokens.Root, "cam", () => Secret, clock);

        StowReply stored = await StoreAsync(archive, source);
        StowReply refused = await StoreAsync(never, source);

        Assert.Equal(StowVerdict.Stored, stored["2.25.1"].Verdict);
        Assert.Equal(["Bearer token-1", "Bearer token-2"], archive.Heads.Select(Authorization));
        Assert.Equal((StowVerdict.Later, true), (refused["2.25.1"].Verdict, refused["2.25.1"].ConcernsPeer));
        Assert.Equal(["Bearer token-2", "Bearer token-3"], never.Heads.Select(Authorization));
    }

    [Fact]
    public async Task Many_who_wait_cause_one_request_for_a_token()
    {
        await using ScriptedWebPeer tokens = Tokens();
        await using ScriptedWebPeer archive = Archive(_ => 200);
        using var http = new HttpClient();
        using var source = new BearerTokenSource(http, tokens.Root, "cam", () => Secret, clock) { SecretInBody = true };

        await Task.WhenAll(Enumerable.Range(0, 8).Select(_ => StoreAsync(archive, source)));

        Assert.Equal("grant_type=client_credentials&client_id=cam&client_secret=p%2Bss%3Aw%C3%B6rd%2F1", Assert.Single(asked));
    }

    [Theory]
    [InlineData(400, "{\"error\":\"invalid_scope\",\"error_description\":\"p+ss:w\"}", "invalid_scope")]
    [InlineData(401, "{\"error\":\"p+ss:w\"}", "401")]
    [InlineData(500, "<html>p+ss:w</html>", "500")]
    [InlineData(200, "{\"access_token\":\"p+ss:w\\r\\nEvil: 1\",\"token_type\":\"Bearer\"}", "RFC 6749")]
    [InlineData(200, "{\"access_token\":\"p+ss:w\",\"token_type\":\"mac\"}", "RFC 6749")]
    [InlineData(200, "[1", "RFC 6749")]
    public async Task What_the_token_endpoint_does_wrong_is_told_without_a_secret(int status, string body, string word)
    {
        await using var tokens = new ScriptedWebPeer(async request =>
        {
            await request.PassOverBodyAsync();
            await request.AnswerAsync(status, body, "application/json");
        });
        await using ScriptedWebPeer archive = Archive(_ => 200);
        using var http = new HttpClient();
        using var source = new BearerTokenSource(http, tokens.Root, "cam", () => Secret, clock);

        WebPeerException failure = await Assert.ThrowsAsync<WebPeerException>(() => source.GetAsync(null, Cancellation).AsTask());
        StowReply reply = await StoreAsync(archive, source);

        Assert.Equal(WebFault.NotAuthorized, failure.Fault);
        Assert.Contains(word, failure.Sentence, StringComparison.Ordinal);
        Assert.DoesNotContain("p+ss", failure.ToString() + source + reply["2.25.1"], StringComparison.Ordinal);
        Assert.Equal((StowVerdict.Later, true), (reply["2.25.1"].Verdict, reply["2.25.1"].ConcernsPeer));
        Assert.Empty(archive.Heads);
    }

    [Fact]
    public async Task A_token_endpoint_that_does_not_answer_is_left()
    {
        await using var tokens = new ScriptedWebPeer(request => request.StallAsync());
        using var http = new HttpClient();
        using var source = new BearerTokenSource(http, tokens.Root, "cam", () => Secret, clock);

        Task<string> asking = source.GetAsync(null, Cancellation).AsTask();
        TimeSpan waited = await clock.TurnUntilDoneAsync(asking, Cancellation);

        WebPeerException failure = await Assert.ThrowsAsync<WebPeerException>(() => asking);
        Assert.Contains("in time", failure.Sentence, StringComparison.Ordinal);
        Assert.InRange(waited, TimeSpan.FromSeconds(30), TimeSpan.FromSeconds(300));
    }

    [Fact]
    public async Task Neither_secret_nor_token_goes_over_a_network_without_tls()
    {
        using var http = new HttpClient();
        Assert.Throws<ArgumentException>(() => new BearerTokenSource(http, new Uri("http://tokens.example/token"), "cam", () => Secret, clock));
        await using ScriptedWebPeer tokens = Tokens();
        using var source = new BearerTokenSource(http, tokens.Root, "cam", () => Secret, clock);
        var peer = new WebPeer("archive test", new Uri("http://archive.invalid/dicom-web"));
        using var authorization = new BearerTokenHandler(source);
        using HttpClient client = peer.CreateClient(authorization);

        // RFC 6750 section 5.3.
        StowReply reply = await new StowClient(client, peer).StoreAsync([Instance("2.25.1")], cancellationToken: Cancellation);

        Assert.Contains("https only", reply["2.25.1"].Sentence, StringComparison.Ordinal);
        Assert.Empty(asked);
    }

    private static string Authorization(string head) =>
        head.Split("\r\n").First(line => line.StartsWith("Authorization: ", StringComparison.OrdinalIgnoreCase))["Authorization: ".Length..];

    private static async Task<StowReply> StoreAsync(ScriptedWebPeer archive, BearerTokenSource source)
    {
        var peer = new WebPeer("archive test", archive.Root);
        using var authorization = new BearerTokenHandler(source);
        using HttpClient http = peer.CreateClient(authorization);
        return await new StowClient(http, peer).StoreAsync([Instance("2.25.1")], cancellationToken: Cancellation);
    }

    private static ScriptedWebPeer Archive(Func<string, int> status) => new(async request =>
    {
        await request.PassOverBodyAsync();
        await request.AnswerAsync(status(Authorization(request.Head)), Stored("2.25.1"));
    });

    private ScriptedWebPeer Tokens() => new(async request =>
    {
        asked.Enqueue(Encoding.UTF8.GetString(await request.ReadBodyAsync()));
        await request.AnswerAsync(
            (int)HttpStatusCode.OK,
            string.Create(CultureInfo.InvariantCulture, $$"""{"access_token":"token-{{asked.Count}}","token_type":"bearer","expires_in":360}"""),
            "application/json");
    });
}
