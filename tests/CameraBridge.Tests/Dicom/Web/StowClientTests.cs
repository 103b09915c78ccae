using System.Globalization;
using System.Net;
using System.Text;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Part10;
using CameraBridge.Dicom.Web;
using CameraBridge.Tests.Peers;
using Xunit;
using static CameraBridge.Tests.Dicom.Web.WebObjects;

namespace CameraBridge.Tests.Dicom.Web;

/// <summary>Store requests to peers that do what peers should not. Status codes: PS3.18 Table 10.5.3-1 (edition 2024d) and RFC 9110 section 15.</summary>
public sealed class StowClientTests
{
    private static readonly TimeSpan Drip = TimeSpan.FromMilliseconds(10);
    private static readonly WebLimits Short = new() { Start = TimeSpan.FromSeconds(5), Headers = TimeSpan.FromMilliseconds(400), Idle = TimeSpan.FromMilliseconds(400) };

    private static CancellationToken Cancellation => TestContext.Current.CancellationToken;

    [Fact]
    public async Task The_request_is_as_the_standard_says_and_its_length_is_known()
    {
        byte[] received = [];
        await using var archive = new ScriptedWebPeer(async request =>
        {
            received = await request.ReadBodyAsync();
            await request.AnswerAsync(200, Stored("2.25.1"));
        });

        StowReply reply = await StoreAsync(archive, [Instance("2.25.1")], study: Study);

        string head = Assert.Single(archive.Heads);
        Assert.StartsWith("POST /dicom-web/studies/2.25.2 HTTP/1.1\r\n", head, StringComparison.Ordinal);
        Assert.Contains("Content-Type: multipart/related; type=\"application/dicom\"; boundary=\"", head, StringComparison.Ordinal);
        Assert.Contains($"Content-Length: {received.Length}\r\n", head, StringComparison.Ordinal);
        Assert.DoesNotContain("Transfer-Encoding", head, StringComparison.Ordinal);
        Assert.Contains("application/dicom+json", head, StringComparison.Ordinal);
        string body = Encoding.Latin1.GetString(received);

        // PS3.10 section 7.1: 128 bytes of preamble, then DICM.
        int content = body.IndexOf("\r\n\r\n", StringComparison.Ordinal) + 4;
        Assert.Contains("\r\nContent-Type: application/dicom\r\n\r\n", body, StringComparison.Ordinal);
        Assert.Equal("DICM", body.Substring(content + 128, 4));
        Assert.EndsWith("--\r\n", body, StringComparison.Ordinal);
        Assert.Equal(StowVerdict.Stored, reply["2.25.1"].Verdict);
    }

    [Theory]
    [InlineData(200)]
    [InlineData(202)]
    [InlineData(204)]
    public async Task A_success_that_does_not_name_our_object_is_unknown(int status)
    {
        await using var archive = Answering(status, status == 204 ? [] : Stored("2.25.999"));

        StowReply reply = await StoreAsync(archive, [Instance("2.25.1")]);

        Assert.Equal(StowVerdict.Unknown, reply["2.25.1"].Verdict);
        Assert.Contains("ask it", reply["2.25.1"].Sentence, StringComparison.Ordinal);
        Assert.Equal(status == 204 ? 0 : 1, reply.Strangers);
    }

    [Theory]
    [InlineData("")]
    [InlineData("<html>welcome</html>")]
    [InlineData("{\"00081199\":")]
    [InlineData("[]")]
    [InlineData("null")]
    [InlineData("{\"00081199\":{\"vr\":\"SQ\",\"Value\":[[]]}}")]
    public async Task A_success_with_an_answer_that_cannot_be_read_is_unknown(string body)
    {
        await using var archive = Answering(200, Encoding.UTF8.GetBytes(body));

        Assert.Equal(StowVerdict.Unknown, (await StoreAsync(archive, [Instance("2.25.1")]))["2.25.1"].Verdict);
    }

    [Theory]
    [InlineData(400, StowVerdict.Refused, false)]
    [InlineData(401, StowVerdict.Later, true)]
    [InlineData(403, StowVerdict.Later, true)]
    [InlineData(404, StowVerdict.Later, true)]
    [InlineData(409, StowVerdict.Refused, false)]
    [InlineData(413, StowVerdict.Refused, false)]
    [InlineData(415, StowVerdict.Refused, false)]
    [InlineData(417, StowVerdict.Later, true)]
    [InlineData(429, StowVerdict.Later, true)]
    [InlineData(500, StowVerdict.Unknown, true)]
    [InlineData(502, StowVerdict.Unknown, true)]
    [InlineData(503, StowVerdict.Later, true)]
    [InlineData(504, StowVerdict.Unknown, true)]
    [InlineData(507, StowVerdict.Later, true)]
    [InlineData(302, StowVerdict.Later, true)]
    public async Task Each_status_without_an_account_has_its_own_judgement(int status, StowVerdict verdict, bool concernsPeer)
    {
        await using var archive = new ScriptedWebPeer(async request =>
        {
            await request.PassOverBodyAsync();
            await request.AnswerAsync(status, "Doe^Adam, s3cret", "text/plain", "Location: http://127.0.0.1:9/elsewhere\r\n");
        });

        StowReply alone = await StoreAsync(archive, [Instance("2.25.1")]);
        StowReply several = await StoreAsync(archive, [Instance("2.25.1"), Instance("2.25.2")]);

        StowJudgement judged = Assert.Single(alone.Instances);
        Assert.Equal((verdict, concernsPeer, false), (judged.Verdict, judged.ConcernsPeer, judged.SendAlone));
        Assert.StartsWith("archive test ", judged.Sentence, StringComparison.Ordinal);
        Assert.Contains(status.ToString(CultureInfo.InvariantCulture), judged.Sentence, StringComparison.Ordinal);
        Assert.DoesNotContain("Doe", judged.Sentence, StringComparison.Ordinal);

        // What would condemn an object alone condemns no object of a batch: each is tried alone.
        Assert.All(several.Instances, one => Assert.Equal(verdict == StowVerdict.Refused, one.SendAlone));
        Assert.DoesNotContain(several.Instances, one => one.Verdict == StowVerdict.Refused);
    }

    [Theory]
    [InlineData("120", 120)]
    [InlineData("Wed, 25 Nov 2026 12:02:00 GMT", 120)]
    [InlineData("Wed, 25 Nov 2020 12:00:00 GMT", 0)]
    [InlineData("99999999", 86400)]
    [InlineData("soon", null)]
    public async Task Retry_after_is_read_in_both_forms_and_bounded(string text, int? seconds)
    {
        // RFC 9110 section 10.2.3: seconds or a date.
        var clock = new Microsoft.Extensions.Time.Testing.FakeTimeProvider(new DateTimeOffset(2026, 11, 25, 12, 0, 0, TimeSpan.Zero));
        await using var archive = new ScriptedWebPeer(async request =>
        {
            await request.PassOverBodyAsync();
            await request.AnswerAsync(503, headers: $"Retry-After: {text}\r\n");
        });
        var peer = new WebPeer("archive test", archive.Root);
        using HttpClient http = peer.CreateClient();

        StowReply reply = await new StowClient(http, peer, clock: clock).StoreAsync([Instance("2.25.1")], cancellationToken: Cancellation);

        Assert.Equal(seconds is { } given ? TimeSpan.FromSeconds(given) : null, reply.RetryAfter);
    }

    [Theory]
    [InlineData("HTTP/1.1 200 OK\r\nContent-Type: application/dicom+json\r\nContent-Length: 500\r\n\r\n{\"000811")]
    [InlineData("HTTP/1.1 200 OK\r\nContent-Type: appl")]
    [InlineData("HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\n10\r\n{\"00")]
    [InlineData("SSH-2.0-OpenSSH_9.2\r\n")]
    [InlineData("")]
    public async Task An_answer_that_breaks_off_leaves_it_unknown(string answer)
    {
        await using var archive = new ScriptedWebPeer(async request =>
        {
            await request.PassOverBodyAsync();
            await request.WriteAsync(answer);
            request.Close();
        });

        StowReply reply = await StoreAsync(archive, [Instance("2.25.1")]);

        Assert.Equal(StowVerdict.Unknown, reply["2.25.1"].Verdict);
        Assert.EndsWith("sk it whether it has it.", reply["2.25.1"].Sentence.Replace("the object.", "it.", StringComparison.Ordinal), StringComparison.Ordinal);
    }

    [Fact]
    public async Task A_peer_that_does_not_answer_is_left_at_the_named_limit()
    {
        await using var archive = new ScriptedWebPeer(async request =>
        {
            await request.PassOverBodyAsync();
            await request.StallAsync();
        });

        StowReply reply = await StoreAsync(archive, [Instance("2.25.1")], Short);

        Assert.Equal(StowVerdict.Unknown, reply["2.25.1"].Verdict);
        Assert.Contains("limit Headers, 0.4 s", reply["2.25.1"].Sentence, StringComparison.Ordinal);
    }

    [Theory]
    [InlineData(true)]
    [InlineData(false)]
    public async Task A_peer_that_stops_in_the_middle_is_left_at_the_idle_limit(bool inTheAnswer)
    {
        await using var archive = new ScriptedWebPeer(async request =>
        {
            if (inTheAnswer)
            {
                await request.PassOverBodyAsync();
                await request.WriteAsync("HTTP/1.1 200 OK\r\nContent-Length: 50\r\n\r\n{");
            }
            else
            {
                await request.ReadSomeAsync(1000);
            }

            await request.StallAsync();
        });
        StowInstance big = Instance("2.25.1", PixelSource.FromBytes(new byte[32 * 1024 * 1024]));

        StowReply reply = await StoreAsync(archive, [big], Short with { Headers = WebLimits.Default.Headers }, options: new StowOptions { ExpectContinueFrom = null });

        Assert.Equal(StowVerdict.Unknown, reply["2.25.1"].Verdict);
        Assert.Contains(inTheAnswer ? "broke off its answer" : "limit Idle", reply["2.25.1"].Sentence, StringComparison.Ordinal);
    }

    [Fact]
    public async Task A_peer_that_drips_its_answer_is_left_when_the_whole_time_is_over()
    {
        await using var archive = new ScriptedWebPeer(async request =>
        {
            await request.PassOverBodyAsync();
            await request.WriteAsync("HTTP/1.1 200 OK\r\nX-Drip: ");
            while (true)
            {
                await request.WriteAsync("x");
                await Task.Delay(Drip, TimeProvider.System, Cancellation);
            }
        });

        StowReply reply = await StoreAsync(archive, [Instance("2.25.1")], new WebLimits { Whole = TimeSpan.FromMilliseconds(700) });

        Assert.Equal(StowVerdict.Unknown, reply["2.25.1"].Verdict);
        Assert.Contains("limit Whole, 0.7 s", reply["2.25.1"].Sentence, StringComparison.Ordinal);
    }

    [Fact]
    public async Task Nobody_there_is_not_stored_and_may_be_sent_again()
    {
        var peer = new WebPeer("archive test", new Uri(string.Create(CultureInfo.InvariantCulture, $"http://127.0.0.1:{PeerProcess.FreePort()}/")));
        using HttpClient http = peer.CreateClient();

        StowReply reply = await new StowClient(http, peer).StoreAsync([Instance("2.25.1")], cancellationToken: Cancellation);

        Assert.Null(reply.StatusCode);
        Assert.Equal((StowVerdict.Later, true), (reply["2.25.1"].Verdict, reply["2.25.1"].ConcernsPeer));
        Assert.Contains("nothing listens there", reply["2.25.1"].Sentence, StringComparison.Ordinal);
    }

    [Fact]
    public async Task A_large_body_does_not_go_to_a_server_that_says_before_that_it_will_not_take_it()
    {
        // RFC 9110 section 10.1.1: a final answer instead of 100 (Continue).
        await using var archive = new ScriptedWebPeer(async request =>
        {
            Assert.Equal("100-continue", request.Header("Expect"));
            await request.AnswerAsync(413);
            request.Close();
        });

        StowReply reply = await StoreAsync(archive, [Instance("2.25.1", PixelSource.FromBytes(new byte[8 * 1024 * 1024]))]);

        Assert.Equal((HttpStatusCode.RequestEntityTooLarge, StowVerdict.Refused), (reply.StatusCode, reply["2.25.1"].Verdict));
    }

    [Fact]
    public async Task A_server_that_passes_over_the_announcement_is_waited_for_once_and_gets_none_again()
    {
        // RFC 9110 section 10.1.1: a client that gets neither 100 (Continue) nor a final answer sends the body after a while.
        List<string?> announcements = [];
        await using var archive = new ScriptedWebPeer(async request =>
        {
            announcements.Add(request.Header("Expect"));
            await request.ReadSomeAsync(int.Parse(request.Header("Content-Length")!, CultureInfo.InvariantCulture));
            await request.AnswerAsync(200, Stored("2.25.1"));
        });
        WebPeer peer = new("archive test", archive.Root);
        using HttpClient http = peer.CreateClient();
        StowClient client = new(http, peer);
        StowInstance large = Instance("2.25.1", PixelSource.FromBytes(new byte[2 * 1024 * 1024]));

        Assert.Equal(StowVerdict.Stored, (await client.StoreAsync([large], cancellationToken: Cancellation))["2.25.1"].Verdict);
        Assert.Equal(StowVerdict.Stored, (await client.StoreAsync([large], cancellationToken: Cancellation))["2.25.1"].Verdict);

        Assert.Equal(["100-continue", null], announcements);
    }

    [Fact]
    public async Task A_file_that_cannot_be_read_is_our_own_fault_and_not_the_peers()
    {
        await using var archive = Answering(200, Stored("2.25.1"));
        StowInstance gone = Instance("2.25.1", PixelSource.FromFile("/nowhere/picture.jpg", 0, 100));

        await Assert.ThrowsAnyAsync<IOException>(() => StoreAsync(archive, [gone]));
    }

    [Fact]
    public async Task Who_gives_up_gets_no_judgement()
    {
        using var giveUp = CancellationTokenSource.CreateLinkedTokenSource(Cancellation);
        await using var archive = new ScriptedWebPeer(async request =>
        {
            await request.PassOverBodyAsync();
            await giveUp.CancelAsync();
            await request.StallAsync();
        });
        var peer = new WebPeer("archive test", archive.Root);
        using HttpClient http = peer.CreateClient();

        await Assert.ThrowsAnyAsync<OperationCanceledException>(() => new StowClient(http, peer).StoreAsync([Instance("2.25.1")], cancellationToken: giveUp.Token));
    }

    [Fact]
    public void Batches_keep_to_count_and_bytes_and_a_large_object_goes_alone()
    {
        var peer = new WebPeer("archive test", new Uri("http://127.0.0.1:9/"));
        using HttpClient http = peer.CreateClient();
        var client = new StowClient(http, peer, new StowOptions { MaxInstances = 3, MaxBytes = 10_000 });
        StowInstance Of(int number, int bytes) => new(SopClasses.VLEndoscopicImageStorage, $"2.25.{number}", PixelSource.FromBytes(new byte[bytes]));

        int[] sizes = [.. client.InBatches([Of(1, 10), Of(2, 10), Of(3, 10), Of(4, 10), Of(5, 50_000), Of(6, 6_000), Of(7, 6_000)]).Select(batch => batch.Count)];

        Assert.Equal([3, 1, 1, 1, 1], sizes);
    }

    [Fact]
    public async Task A_batch_beyond_the_options_or_with_an_object_twice_is_not_sent()
    {
        await using var archive = Answering(200, Stored("2.25.1"));

        await Assert.ThrowsAsync<ArgumentException>(() => StoreAsync(archive, []));
        await Assert.ThrowsAsync<ArgumentException>(() => StoreAsync(archive, [Instance("2.25.1"), Instance("2.25.1")]));
        await Assert.ThrowsAsync<ArgumentException>(() => StoreAsync(archive, [Instance("2.25.1"), Instance("2.25.2")], options: new StowOptions { MaxInstances = 1 }));
        await Assert.ThrowsAsync<ArgumentException>(() => StoreAsync(archive, [Instance("2.25.1")], study: "2.25.2/../../admin"));
        Assert.Empty(archive.Heads);
    }

    [Fact]
    public async Task Over_http_2_the_same_is_stored()
    {
        await using var archive = new ScriptedHttp2Peer(Encoding.UTF8.GetString(Stored("2.25.1")));
        var peer = new WebPeer("archive test", archive.Root) { HttpVersionPolicy = HttpVersionPolicy.RequestVersionExact };
        using HttpClient http = peer.CreateClient();
        StowInstance instance = Instance("2.25.1", PixelSource.FromBytes(new byte[3_000_000]));

        StowReply reply = await new StowClient(http, peer, new StowOptions { ExpectContinueFrom = null }).StoreAsync([instance], cancellationToken: Cancellation);
        StowReply again = await new StowClient(http, peer, new StowOptions { ExpectContinueFrom = null }).StoreAsync([instance], cancellationToken: Cancellation);

        Assert.Equal((StowVerdict.Stored, StowVerdict.Stored), (reply["2.25.1"].Verdict, again["2.25.1"].Verdict));
        Assert.InRange(archive.Received, 2 * instance.File.Length, (2 * instance.File.Length) + 1000);
    }

    [Fact]
    public async Task Metadata_goes_first_and_the_camera_picture_follows_under_its_location()
    {
        byte[] received = [];
        await using var archive = new ScriptedWebPeer(async request =>
        {
            received = await request.ReadBodyAsync();
            await request.AnswerAsync(200, Stored("2.25.1"));
        });
        var peer = new WebPeer("archive test", archive.Root);
        using HttpClient http = peer.CreateClient();
        byte[] picture = [0xFF, 0xD8, 1, 2, 3, 0xFF, 0xD9];
        var metadata = new StowMetadata(WebObjects.DataSet("2.25.1", PixelSource.FromBytes(picture)), TransferSyntax.JpegBaseline);

        StowReply reply = await new StowClient(http, peer).StoreMetadataAsync([metadata], cancellationToken: Cancellation);

        // PS3.18 section 8.6.1.2.2: metadata parts before bulk data; section 8.7.3.3.2: only the octet stream; Table 8.7.3-5: image/jpeg of .50 must say so.
        string head = Assert.Single(archive.Heads);
        Assert.Contains("multipart/related; type=\"application/dicom+json\"", head, StringComparison.Ordinal);
        var reader = new MultipartReader(new MemoryStream(received), head.Split("boundary=\"")[1].Split('"')[0]);
        MultipartPart first = (await reader.ReadNextAsync(Cancellation))!;
        using var metadataText = new StreamReader(first.Body);
        string json = await metadataText.ReadToEndAsync(Cancellation);
        MultipartPart second = (await reader.ReadNextAsync(Cancellation))!;
        using var bulk = new MemoryStream();
        await second.Body.CopyToAsync(bulk, Cancellation);
        Assert.Equal("application/dicom+json", first.MediaType);
        Assert.Contains($"\"BulkDataURI\":\"{second.Headers["Content-Location"]}\"", json, StringComparison.Ordinal);
        Assert.DoesNotContain("\"0002", json, StringComparison.Ordinal);
        Assert.Equal("image/jpeg; transfer-syntax=1.2.840.10008.1.2.4.50", second.Headers["Content-Type"]);
        Assert.Equal(picture, bulk.ToArray());
        Assert.Null(await reader.ReadNextAsync(Cancellation));
        Assert.Equal(StowVerdict.Stored, reply["2.25.1"].Verdict);
    }

    [Fact]
    public async Task A_server_that_takes_no_metadata_is_told_from_one_that_refuses_the_object()
    {
        await using var archive = Answering(415, []);
        var peer = new WebPeer("archive test", archive.Root);
        using HttpClient http = peer.CreateClient();

        StowReply reply = await new StowClient(http, peer).StoreMetadataAsync([new StowMetadata(WebObjects.DataSet("2.25.1"), TransferSyntax.JpegBaseline)], cancellationToken: Cancellation);

        Assert.Equal((StowVerdict.Later, true), (reply["2.25.1"].Verdict, reply["2.25.1"].ConcernsPeer));
        Assert.Contains("application/dicom", reply["2.25.1"].Sentence, StringComparison.Ordinal);
    }

    private static ScriptedWebPeer Answering(int status, byte[] body) => new(async request =>
    {
        await request.PassOverBodyAsync();
        await request.AnswerAsync(status, body);
    });

    private static async Task<StowReply> StoreAsync(ScriptedWebPeer archive, StowInstance[] batch, WebLimits? limits = null, string? study = null, StowOptions? options = null)
    {
        var peer = new WebPeer("archive test", archive.Root) { Limits = limits ?? WebLimits.Default };
        using HttpClient http = peer.CreateClient();
        return await new StowClient(http, peer, options).StoreAsync(batch, study, Cancellation);
    }
}
