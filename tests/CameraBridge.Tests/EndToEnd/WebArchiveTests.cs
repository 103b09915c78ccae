using System.Text;
using System.Text.RegularExpressions;
using CameraBridge.Commands;
using CameraBridge.Tests.Peers;
using Xunit;

namespace CameraBridge.Tests.EndToEnd;

/// <summary>
/// Orthanc 1.10.1 by DICOMweb, behind what hospitals and clouds put before it: Debian's tinyproxy 1.11, Debian's nginx 1.22 (TLS, HTTP/2, client certificates), and a check
/// of OAuth 2.0 tokens. The program runs on a configuration file as an administrator writes it, at log level debug, and no secret may be told anywhere.
/// </summary>
public sealed partial class WebArchiveTests : IAsyncDisposable
{
    private const string ProxyPassword = "pass-word-of-the-proxy";

    private readonly FaultyWorklist worklist = new();
    private readonly FaultSite site = new();
    private readonly TestAuthority authority = new();
    private OrthancPeer? orthanc;

    public async ValueTask DisposeAsync()
    {
        await (orthanc?.DisposeAsync() ?? ValueTask.CompletedTask);
        await worklist.DisposeAsync();
        authority.Dispose();
        site.Dispose();
    }

    [Theory]
    [InlineData(false, false, "POST http://127.0.0.1")]
    [InlineData(false, true, "POST http://127.0.0.1")]
    [InlineData(true, false, "CONNECT 127.0.0.1")]
    [InlineData(true, true, "CONNECT 127.0.0.1")]
    public async Task Through_a_proxy_everything_arrives_once_and_is_confirmed(bool tls, bool asksForPassword, string seen)
    {
        Uri root = await StartArchiveAsync();
        await using ForwardProxyPeer proxy = await ForwardProxyPeer.StartAsync(Folder("proxy"), asksForPassword ? ProxyPassword : null);
        await using TlsFrontPeer? front = tls ? await TlsFrontPeer.StartAsync(Folder("front"), root, authority) : null;
        string[] credentials = asksForPassword ? [$"proxy_user: {ForwardProxyPeer.User}", $"proxy_password_file: {WriteSecret(ProxyPassword)}"] : [];
        site.UseWeb(worklist.Port, front?.Root ?? root, [$"proxy: {proxy.Address}", $"authorities: {authority.Write(site.Folder)}", .. credentials]);

        Run run = await site.OnceAsync("20 s");

        await AssertKeptAsync(run);
        Assert.Contains(seen, proxy.Log, StringComparison.Ordinal);
        AssertUntold(run, ProxyPassword, Basic(ForwardProxyPeer.User, ProxyPassword));
    }

    [Fact]
    public async Task A_proxy_that_does_not_know_the_password_leaves_all_queued_and_is_named()
    {
        Uri root = await StartArchiveAsync();
        await using ForwardProxyPeer proxy = await ForwardProxyPeer.StartAsync(Folder("proxy"), "another");
        site.UseWeb(worklist.Port, root, $"proxy: {proxy.Address}", $"proxy_user: {ForwardProxyPeer.User}", $"proxy_password_file: {WriteSecret(ProxyPassword)}");

        Run run = await site.OnceAsync();

        FaultSite.AssertUndelivered(run, FaultSite.Pictures, "or the proxy to it", "check user");
        AssertUntold(run, ProxyPassword, Basic(ForwardProxyPeer.User, ProxyPassword));
        Assert.Empty(await ObjectsAsync());
    }

    [Fact]
    public async Task A_proxy_that_is_not_there_is_not_taken_for_the_archive_and_never_passed_by()
    {
        Uri root = await StartArchiveAsync();
        site.UseWeb(worklist.Port, root, $"proxy: http://127.0.0.1:{PeerProcess.FreePort()}");

        FaultSite.AssertUndelivered(await site.OnceAsync(), FaultSite.Pictures, "the proxy to archive cannot be reached", "nothing listens there");

        Assert.Empty(await ObjectsAsync());
    }

    [Fact]
    public async Task A_token_that_is_revoked_in_mid_run_is_renewed_and_nothing_is_lost()
    {
        await using TokenGate gate = await TokenGate.StartAsync(await StartArchiveAsync(), TokenGate.Revoking);
        UseOAuth(gate);

        Run run = await site.OnceAsync("20 s");

        await AssertKeptAsync(run);
        Assert.Equal(1, gate.Refusals);
        Assert.Equal(2, gate.StoredUnder.Distinct().Count());
        AssertUntold(run, [TokenGate.Secret, .. gate.Tokens]);
    }

    [Fact]
    public async Task A_token_is_renewed_before_it_expires_in_mid_run_so_that_no_request_is_refused()
    {
        await using TokenGate gate = await TokenGate.StartAsync(await StartArchiveAsync(), TokenGate.Expiring);
        UseOAuth(gate);

        Run run = await site.OnceAsync("30 s");

        await AssertKeptAsync(run);
        Assert.Equal(0, gate.Refusals);
        Assert.True(gate.StoredUnder.Distinct().Count() > 1, "every object went under the same token");
        AssertUntold(run, [TokenGate.Secret, .. gate.Tokens]);
    }

    [Fact]
    public async Task The_service_renews_its_token_too_and_tells_it_nowhere()
    {
        await using TokenGate gate = await TokenGate.StartAsync(await StartArchiveAsync(), TokenGate.Revoking);
        site.Site.SourceLines = "    quiet_time: 1 s";
        UseOAuth(gate);
        await using var service = Worker.Start(site.Site, logLevel: "debug");

        using PeriodicTimer look = new(TimeSpan.FromMilliseconds(100));
        using CancellationTokenSource limit = CancellationTokenSource.CreateLinkedTokenSource(TestContext.Current.CancellationToken);
        limit.CancelAfter(TimeSpan.FromMinutes(1));
        while (Kept(service.Log) < FaultSite.Pictures && await look.WaitForNextTickAsync(limit.Token))
        {
        }

        Assert.Equal(ExitCodes.AllWell, await service.StopAsync());
        Assert.Equal(FaultSite.Pictures, (await ObjectsAsync()).Count);
        Assert.True(gate.Refusals > 0, "no token was revoked");
        AssertUntold(new Run(0, service.Log, ""), [TokenGate.Secret, .. gate.Tokens]);
    }

    [Fact]
    public async Task A_token_server_that_does_not_know_us_leaves_all_queued()
    {
        await using TokenGate gate = await TokenGate.StartAsync(await StartArchiveAsync(), TokenGate.Revoking);
        UseOAuth(gate, "another secret");

        Run run = await site.OnceAsync();

        FaultSite.AssertUndelivered(run, FaultSite.Pictures, "token endpoint", "invalid_client", "check client id, secret and scope");
        AssertUntold(run, "another secret");
    }

    [Theory]
    [InlineData("auto", "HTTP/2.0")]
    [InlineData("2", "HTTP/2.0")]
    [InlineData("1.1", "HTTP/1.1")]
    public async Task Over_TLS_HTTP_2_is_spoken_unless_the_site_says_otherwise(string http, string spoken)
    {
        await using TlsFrontPeer front = await TlsFrontPeer.StartAsync(Folder("front"), await StartArchiveAsync(), authority);
        site.UseWeb(worklist.Port, front.Root, $"authorities: {authority.Write(site.Folder)}", $"http: \"{http}\"");

        await AssertKeptAsync(await site.OnceAsync("20 s"));

        Assert.Equal(FaultSite.Pictures, front.Requests.Count(request => request.StartsWith($"{spoken} POST 200", StringComparison.Ordinal)));
        Assert.All(front.Requests, request => Assert.StartsWith(spoken, request, StringComparison.Ordinal));
    }

    [Fact]
    public async Task A_client_certificate_opens_the_door_and_its_key_is_told_nowhere()
    {
        using TestAuthority clients = new("Invented Authority of Clients");
        await using TlsFrontPeer front = await TlsFrontPeer.StartAsync(Folder("front"), await StartArchiveAsync(), authority, clients);
        (string certificate, string key) = clients.Write(site.Folder, "gateway");
        site.UseWeb(worklist.Port, front.Root, $"authorities: {authority.Write(site.Folder)}", $"client_certificate: {certificate}", $"client_key: {key}");

        Run run = await site.OnceAsync("20 s");

        await AssertKeptAsync(run);
        Assert.All(front.Requests, request => Assert.EndsWith("SUCCESS CN=gateway", request, StringComparison.Ordinal));
        Assert.DoesNotContain((await File.ReadAllLinesAsync(key, TestContext.Current.CancellationToken))[1], run.Output + run.Errors, StringComparison.Ordinal);
    }

    [Theory]
    [InlineData(false)]
    [InlineData(true)]
    public async Task Without_a_certificate_that_the_front_trusts_all_stays_queued_and_no_object_is_blamed(bool shows)
    {
        using TestAuthority clients = new("Invented Authority of Clients");
        await using TlsFrontPeer front = await TlsFrontPeer.StartAsync(Folder("front"), await StartArchiveAsync(), authority, clients);
        (string certificate, string key) = authority.Write(site.Folder, "gateway");
        string trusted = $"authorities: {authority.Write(site.Folder)}";
        site.UseWeb(worklist.Port, front.Root, shows ? [trusted, $"client_certificate: {certificate}", $"client_key: {key}"] : [trusted]);

        FaultSite.AssertUndelivered(await site.OnceAsync(), FaultSite.Pictures, "client certificate");

        (certificate, key) = clients.Write(site.Folder, "gateway");
        site.UseWeb(worklist.Port, front.Root, trusted, $"client_certificate: {certificate}", $"client_key: {key}");
        await AssertKeptAsync(await site.OnceAsync("20 s"));
    }

    [Fact]
    public async Task A_server_whose_authority_is_not_the_sites_gets_nothing()
    {
        using TestAuthority other = new();
        await using TlsFrontPeer front = await TlsFrontPeer.StartAsync(Folder("front"), await StartArchiveAsync(), authority);
        site.UseWeb(worklist.Port, front.Root, $"authorities: {other.Write(site.Folder)}");

        FaultSite.AssertUndelivered(await site.OnceAsync(), FaultSite.Pictures, "cannot be trusted", "certificate");

        Assert.Empty(front.Requests);
    }

    [Fact]
    public async Task A_front_that_takes_no_requests_of_a_batchs_size_gets_each_object_alone()
    {
        // An object of the stick has a little more than 3 KB, so two are too long.
        await using TlsFrontPeer front = await TlsFrontPeer.StartAsync(Folder("front"), await StartArchiveAsync(), authority, mostKilobytes: 5);
        site.UseWeb(worklist.Port, front.Root, $"authorities: {authority.Write(site.Folder)}");
        await File.WriteAllTextAsync(
            site.Site.ConfigurationFile,
            (await File.ReadAllTextAsync(site.Site.ConfigurationFile, TestContext.Current.CancellationToken)).Replace("batch_objects: 1", "batch_objects: 50", StringComparison.Ordinal),
            TestContext.Current.CancellationToken);

        await AssertKeptAsync(await site.OnceAsync("20 s"));

        Assert.Equal(FaultSite.Pictures, front.Requests.Count(request => request.Contains("POST 200", StringComparison.Ordinal)));
        Assert.Contains(front.Requests, request => request.Contains("POST 413", StringComparison.Ordinal));
    }

    private static string Basic(string user, string password) => Convert.ToBase64String(Encoding.UTF8.GetBytes($"{user}:{password}"));

    private static int Kept(string log) => KeptLine().Matches(log).Sum(match => int.Parse(match.Groups["count"].Value, System.Globalization.CultureInfo.InvariantCulture));

    private async Task<Uri> StartArchiveAsync()
    {
        orthanc = await OrthancPeer.StartAsync(Folder("orthanc"));
        return orthanc.DicomWebRoot;
    }

    private string Folder(string name) => Path.Combine(site.Folder, name);

    private string WriteSecret(string secret)
    {
        string file = Path.Combine(site.Folder, "secret");
        File.WriteAllText(file, secret + "\n");
        return file;
    }

    private void UseOAuth(TokenGate gate, string? secret = null) => site.UseWeb(
        worklist.Port,
        gate.Root,
        $"oauth: {{ endpoint: \"{gate.Endpoint}\", client_id: {TokenGate.ClientId}, secret_file: {WriteSecret(secret ?? TokenGate.Secret)}, scope: {TokenGate.Scope} }}");

    private async Task AssertKeptAsync(Run run)
    {
        FaultSite.AssertDelivered(run);
        Assert.Equal(FaultSite.Pictures, FaultSite.Sitting(run).Deliveries.Single().Kept);
        site.AssertEachOnce(await ObjectsAsync());
    }

    /// <summary>What the archive has, whole files.</summary>
    private async Task<IReadOnlyList<byte[]>> ObjectsAsync()
    {
        string folder = Path.Combine(site.Folder, $"kept-{Guid.NewGuid():N}");
        await orthanc!.DownloadAllAsync(folder);
        return [.. Directory.EnumerateFiles(folder).Select(File.ReadAllBytes)];
    }

    /// <summary>No secret stands in what the program said, nor in what it stored.</summary>
    private void AssertUntold(Run run, params IEnumerable<string> secrets)
    {
        string[] stored = [.. Directory.EnumerateFiles(site.Folder, "state.db*").Concat(Directory.EnumerateFiles(Path.Combine(site.Folder, "spool"), "*", SearchOption.AllDirectories))
            .Select(path => Encoding.Latin1.GetString(File.ReadAllBytes(path)))];
        Assert.NotEmpty(stored);
        Assert.All(secrets, secret =>
        {
            Assert.DoesNotContain(secret, run.Output, StringComparison.Ordinal);
            Assert.DoesNotContain(secret, run.Errors, StringComparison.Ordinal);
            Assert.All(stored, file => Assert.DoesNotContain(secret, file, StringComparison.Ordinal));
        });
    }

    [GeneratedRegex(@"keeps (?<count>\d+) object", RegexOptions.ExplicitCapture)]
    private static partial Regex KeptLine();
}
