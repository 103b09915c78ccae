using System.Text.RegularExpressions;
using CameraBridge.Configuration;
using CameraBridge.Pipeline;
using CameraBridge.Pipeline.Deliveries;
using CameraBridge.Tests.Peers;
using Xunit;

namespace CameraBridge.Tests.Pipeline.Deliveries;

/// <summary>
/// Deliveries by STOW-RS to a server that answers as the test says. The status line is no word on an object (PS3.18 section 10.5.3, edition 2024d): each is judged by
/// the sequences of the answer (Table I.2.1), the codes of failure by Table I.2-2.
/// </summary>
public sealed partial class StowSenderTests : IAsyncDisposable
{
    private DeliveryRig? _rig;
    private DeliveriesStage? _stage;

    public async ValueTask DisposeAsync()
    {
        await (_stage?.DisposeAsync() ?? ValueTask.CompletedTask);
        await (_rig?.DisposeAsync() ?? ValueTask.CompletedTask);
    }

    [Fact]
    public async Task Each_object_is_judged_by_what_the_answer_says_of_it_and_not_by_the_status_line()
    {
        // 409 with one stored, one refused (0122: SOP class not supported), one not named at all.
        await using ScriptedWebPeer server = new(async request =>
        {
            string[] uids = UidsOf(await request.ReadBodyAsync());
            await request.AnswerAsync(409, $$"""
                { "00081199": { "vr": "SQ", "Value": [ {{Item(uids[0])}} ] },
                  "00081198": { "vr": "SQ", "Value": [ {{Item(uids[1], 0x0122)}} ] } }
                """);
        });

        IReadOnlyList<Delivery> deliveries = await SendAsync(server, 3);

        Assert.Equal([DeliveryState.Stored, DeliveryState.Refused, DeliveryState.StoredWithWarning], deliveries.Select(delivery => delivery.State));
        Assert.Contains("ask it whether it has it", deliveries[2].Outcome, StringComparison.Ordinal);
        Assert.All(deliveries.Where(delivery => delivery.State != DeliveryState.Refused), delivery => Assert.Equal(ConfirmationState.Waiting, delivery.Confirmation!.State));
    }

    [Fact]
    public async Task Two_hundred_without_our_UID_is_not_stored_where_nobody_asks_afterwards()
    {
        await using ScriptedWebPeer server = new(async request =>
        {
            await request.PassOverBodyAsync();
            await request.AnswerAsync(200, "{}");
        });

        Delivery delivery = Assert.Single(await SendAsync(server, 1, confirmBy: ConfirmBy.None));

        Assert.Equal(DeliveryState.Waiting, delivery.State);
    }

    [Fact]
    public async Task What_condemns_a_batch_is_sent_alone_and_one_poisoned_object_stops_no_other()
    {
        await using ScriptedWebPeer server = new(async request =>
        {
            string[] uids = UidsOf(await request.ReadBodyAsync());
            if (uids.Length > 1 || uids[0].EndsWith(".2", StringComparison.Ordinal))
            {
                await request.AnswerAsync(400);
                return;
            }

            await request.AnswerAsync(200, Stored(uids[..1]));
        });

        IReadOnlyList<Delivery> deliveries = await SendAsync(server, 3);

        Assert.Equal([DeliveryState.Stored, DeliveryState.Refused, DeliveryState.Stored], deliveries.Select(delivery => delivery.State));
        Assert.Equal(4, server.Heads.Count);
    }

    [Theory]
    [InlineData(401, "credentials")]
    [InlineData(403, "")]
    [InlineData(503, "")]
    public async Task A_fault_of_the_server_or_of_our_credentials_pauses_the_whole_lane_after_one_request(int status, string words)
    {
        await using ScriptedWebPeer server = new(async request =>
        {
            await request.PassOverBodyAsync();
            await request.AnswerAsync(status);
        });

        IReadOnlyList<Delivery> deliveries = await SendAsync(server, 3, with: web => web with { BatchObjects = 1 });

        Assert.Single(server.Heads);
        Assert.All(deliveries, delivery => Assert.Equal(DeliveryState.Waiting, delivery.State));
        Assert.Equal(1, deliveries.Sum(delivery => delivery.Attempts));
        Assert.Contains(words, deliveries[0].Outcome, StringComparison.Ordinal);
    }

    [Fact]
    public async Task A_server_that_asks_for_time_gets_it()
    {
        // Retry-After in seconds, RFC 9110 section 10.2.3.
        await using ScriptedWebPeer server = new(async request =>
        {
            await request.PassOverBodyAsync();
            await request.AnswerAsync(503, headers: "Retry-After: 3600\r\n");
        });

        await SendAsync(server, 1);

        Assert.Equal(0, await _rig!.RunAsync(_stage!));
        _rig.FakeClock.Advance(TimeSpan.FromMinutes(59));
        Assert.Equal(0, await _rig.RunAsync(_stage!));
        _rig.FakeClock.Advance(TimeSpan.FromMinutes(2));
        Assert.Equal(1, await _rig.RunAsync(_stage!));
    }

    [Fact]
    public async Task An_object_that_is_too_large_alone_is_refused_and_the_next_step_is_named()
    {
        await using ScriptedWebPeer server = new(async request =>
        {
            await request.PassOverBodyAsync();
            await request.AnswerAsync(413);
        });

        Delivery delivery = Assert.Single(await SendAsync(server, 1));

        Assert.Equal(DeliveryState.Refused, delivery.State);
        Assert.Contains("send it by DIMSE", delivery.Outcome, StringComparison.Ordinal);
    }

    [Fact]
    public async Task Batches_keep_to_their_count_and_every_object_goes_once()
    {
        List<int> sizes = [];
        await using ScriptedWebPeer server = new(async request =>
        {
            string[] uids = UidsOf(await request.ReadBodyAsync());
            sizes.Add(uids.Length);
            await request.AnswerAsync(200, Stored(uids));
        });

        IReadOnlyList<Delivery> deliveries = await SendAsync(server, 7, with: web => web with { BatchObjects = 3 });

        Assert.Equal([3, 3, 1], sizes);
        Assert.All(deliveries, delivery => Assert.Equal(DeliveryState.Stored, delivery.State));
    }

    [Fact]
    public async Task Credentials_that_cannot_be_read_pause_the_lane_and_name_their_place_only()
    {
        await using ScriptedWebPeer server = new(request => request.AnswerAsync(500));
        string file = Path.Combine(Path.GetTempPath(), "no-such-password");

        Delivery delivery = Assert.Single(await SendAsync(server, 1, with: web => web with { User = "gateway", Password = new SecretPlace(file, null) }));

        Assert.Equal(DeliveryState.Waiting, delivery.State);
        Assert.Contains(file, delivery.Outcome, StringComparison.Ordinal);
        Assert.Empty(server.Heads);
    }

    [Fact]
    public async Task A_password_goes_with_each_request_and_is_read_anew_after_a_refusal()
    {
        string file = Path.GetTempFileName();
        await File.WriteAllTextAsync(file, "old\n", TestContext.Current.CancellationToken);
        await using ScriptedWebPeer server = new(async request =>
        {
            string[] uids = UidsOf(await request.ReadBodyAsync());

            // RFC 7617: "gateway:new" in base64.
            if (request.Header("Authorization") != "Basic Z2F0ZXdheTpuZXc=")
            {
                await request.AnswerAsync(401);
                return;
            }

            await request.AnswerAsync(200, Stored(uids[..1]));
        });

        Delivery before = Assert.Single(await SendAsync(server, 1, with: web => web with { User = "gateway", Password = new SecretPlace(file, null) }));
        await File.WriteAllTextAsync(file, "new\n", TestContext.Current.CancellationToken);
        _rig!.FakeClock.Advance(TimeSpan.FromMinutes(1));
        await _rig.RunAsync(_stage!);
        Delivery after = Assert.Single(await _rig.DeliveriesAsync());

        Assert.Equal((DeliveryState.Waiting, DeliveryState.Stored), (before.State, after.State));
        Assert.DoesNotContain("old", before.Outcome, StringComparison.Ordinal);
        File.Delete(file);
    }

    private async Task<IReadOnlyList<Delivery>> SendAsync(
        ScriptedWebPeer server, int count, ConfirmBy confirmBy = ConfirmBy.Auto, Func<WebConfiguration, WebConfiguration>? with = null)
    {
        _rig = await DeliveryRig.StartAsync();
        await _rig.QueueAsync(count);
        WebConfiguration web = new() { Name = DeliveryRig.Destination, Url = server.Root };
        _stage = _rig.Stage(with: destination => destination with { Peer = null, Web = with?.Invoke(web) ?? web, ConfirmBy = confirmBy });
        await _rig.RunAsync(_stage);
        return await _rig.DeliveriesAsync();
    }

    /// <summary>The Affected SOP Instance UIDs of the parts: (0002,0003), explicit VR little endian, in each file's meta information (PS3.10 section 7.1).</summary>
    private static string[] UidsOf(byte[] body) => [.. MetaInstance().Matches(System.Text.Encoding.Latin1.GetString(body)).Select(match => match.Groups["uid"].Value.TrimEnd('\0'))];

    private static string Stored(string[] uids) => $$"""{ "00081199": { "vr": "SQ", "Value": [ {{string.Join(", ", uids.Select(uid => Item(uid)))}} ] } }""";

    private static string Item(string uid, ushort? failure = null)
    {
        string reason = failure is { } code ? $$""", "00081197": { "vr": "US", "Value": [ {{code}} ] }""" : "";
        return $$"""{ "00081150": { "vr": "UI", "Value": [ "1.2.840.10008.5.1.4.1.1.77.1.4" ] }, "00081155": { "vr": "UI", "Value": [ "{{uid}}" ] }{{reason}} }""";
    }

    // 02 00 03 00 'U' 'I' length(2), the UID, padded with 00.
    [GeneratedRegex(@"\x02\x00\x03\x00UI..(?<uid>[0-9.]+\x00?)", RegexOptions.ExplicitCapture | RegexOptions.Singleline)]
    private static partial Regex MetaInstance();
}
