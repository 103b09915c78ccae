using System.Globalization;
using System.Text;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Web;
using CameraBridge.Tests.Peers;
using Xunit;

namespace CameraBridge.Tests.Dicom.Web;

/// <summary>Queries and retrievals against servers that do as they like: PS3.18 sections 8.3.4.4, 10.4 and 10.6 (edition 2024d).</summary>
public sealed class QueryAndRetrieveTests
{
    private static CancellationToken Cancellation => TestContext.Current.CancellationToken;

    [Fact]
    public async Task All_pages_are_asked_for_also_where_the_server_gives_fewer_than_asked()
    {
        // Section 8.3.4.4: Warning 299 says that there is more.
        await using var archive = new ScriptedWebPeer(async request =>
        {
            int offset = int.Parse(request.Head.Split("offset=")[1].Split(' ')[0], CultureInfo.InvariantCulture);
            await request.AnswerAsync(200, Page(offset, Math.Min(3, 10 - offset)), headers: offset + 3 < 10 ? "Warning: 299 x \"There are additional results\"\r\n" : "");
        });

        List<DataSet> all = await ListAsync(archive, pageSize: 5);

        Assert.Equal(Enumerable.Range(0, 10).Select(i => $"2.25.{i}"), all.Select(one => one.GetString(Tags.SOPInstanceUID)));
        Assert.Equal(4, archive.Heads.Count);
        Assert.StartsWith("GET /dicom-web/studies/2.25.2/instances?limit=5&offset=0 HTTP/1.1", archive.Heads.First(), StringComparison.Ordinal);
    }

    [Fact]
    public async Task A_server_that_ignores_offset_and_filter_neither_loops_nor_proves_what_is_not_there()
    {
        await using var archive = new ScriptedWebPeer(request => request.AnswerAsync(200, Page(0, 5)));

        List<DataSet> all = await ListAsync(archive, pageSize: 5);

        Assert.Equal(5, all.Count);
        Assert.Equal(2, archive.Heads.Count);
        Assert.Equal(InstancePresence.Kept, await FindAsync(archive, "2.25.3"));
        Assert.Equal(InstancePresence.Absent, await FindAsync(archive, "2.25.99"));
    }

    [Fact]
    public async Task More_answers_than_allowed_are_left()
    {
        int next = 0;
        await using var archive = new ScriptedWebPeer(request => request.AnswerAsync(200, Page(next += 100, 100)));

        WebPeerException failure = await Assert.ThrowsAsync<WebPeerException>(() => ListAsync(archive, pageSize: 100, most: 450));

        Assert.Contains("MaxAnswers", failure.Sentence, StringComparison.Ordinal);
        Assert.Equal(5, archive.Heads.Count);
    }

    [Theory]
    [InlineData("\"00080018\":{\"vr\":\"UI\",\"Value\":[\"2.25.1\"]}", InstancePresence.Kept)]
    [InlineData("\"00080018\":{\"vr\":\"UI\",\"Value\":[\"2.25.1\"]},\"00080056\":{\"vr\":\"CS\",\"Value\":[\"ONLINE\"]}", InstancePresence.Kept)]
    [InlineData("\"00080018\":{\"vr\":\"UI\",\"Value\":[\"2.25.1\"]},\"00080056\":{\"vr\":\"CS\",\"Value\":[\"UNAVAILABLE\"]}", InstancePresence.Unavailable)]
    [InlineData("\"00080018\":{\"vr\":\"UI\",\"Value\":[\"2.25.1\"]},\"0020000D\":{\"vr\":\"UI\",\"Value\":[\"2.25.77\"]}", InstancePresence.Different)]
    [InlineData("\"00080018\":{\"vr\":\"UI\",\"Value\":[\"2.25.1\"]},\"00080016\":{\"vr\":\"UI\",\"Value\":[\"1.2.3\"]}", InstancePresence.Different)]
    [InlineData("\"00080018\":{\"vr\":\"UI\"}", InstancePresence.Absent)]
    [InlineData("", InstancePresence.Absent)]
    public async Task What_is_told_of_an_object_is_laid_beside_what_was_sent(string attributes, InstancePresence presence)
    {
        // Availability: PS3.3 section C.4.23.1.1.
        await using var archive = new ScriptedWebPeer(request => request.AnswerAsync(200, $"[{{{attributes}}}]"));

        Assert.Equal(presence, await FindAsync(archive, "2.25.1"));
    }

    [Theory]
    [InlineData(204, "")]
    [InlineData(404, "no such study")]
    [InlineData(200, "[]")]
    [InlineData(200, "")]
    public async Task Nothing_found_is_absent(int status, string body)
    {
        await using var archive = new ScriptedWebPeer(request => request.AnswerAsync(status, body));

        Assert.Equal(InstancePresence.Absent, await FindAsync(archive, "2.25.1"));
    }

    [Theory]
    [InlineData(500, "", WebFault.Refused)]
    [InlineData(401, "", WebFault.Refused)]
    [InlineData(503, "", WebFault.Refused)]
    [InlineData(200, "<html>log in</html>", WebFault.Malformed)]
    [InlineData(200, "[{\"0008", WebFault.Malformed)]
    public async Task What_is_no_answer_proves_nothing(int status, string body, WebFault fault)
    {
        await using var archive = new ScriptedWebPeer(request => request.AnswerAsync(status, body, headers: "Retry-After: 7\r\n"));

        WebPeerException failure = await Assert.ThrowsAsync<WebPeerException>(() => FindAsync(archive, "2.25.1"));

        Assert.Equal((fault, status, TimeSpan.FromSeconds(7)), (failure.Fault, (int)failure.StatusCode!, failure.RetryAfter!.Value));
        Assert.StartsWith("archive test ", failure.Sentence, StringComparison.Ordinal);
    }

    [Theory]
    [InlineData("multipart/related; type=\"application/dicom\"; boundary=\"b\"", "--b\r\nContent-Type: application/dicom\r\n\r\n", "\r\n--b--\r\n")]
    [InlineData("multipart/related; boundary=b; type=\"application/dicom\"", "\r\n--b\r\n\r\n", "\r\n--b--")]
    [InlineData("application/dicom", "", "")]
    public async Task An_object_is_taken_in_whichever_frame_it_comes(string contentType, string before, string after)
    {
        StowInstance instance = WebObjects.Instance("2.25.1", PixelSource.FromBytes(new byte[100_000]));
        byte[] file = await BytesAsync(instance.File);
        await using ScriptedWebPeer archive = Giving(contentType, [.. Encoding.ASCII.GetBytes(before), .. file, .. Encoding.ASCII.GetBytes(after)]);

        RetrievedHashes? hashes = await HashAsync(archive);

        // Any transfer syntax is asked for, since the default would be decompressed (PS3.18 section 8.7.3.5.2).
        Assert.Contains("Accept: multipart/related; type=\"application/dicom\"; transfer-syntax=*\r\n", archive.Heads.First(), StringComparison.Ordinal);
        Assert.Equal(await WadoClient.HashAsync(instance.File, Cancellation), hashes);
    }

    [Fact]
    public async Task New_file_meta_information_changes_the_hash_of_the_file_and_not_of_the_data_set()
    {
        StowInstance instance = WebObjects.Instance("2.25.1");
        byte[] file = await BytesAsync(instance.File);
        byte[] other = [.. file];
        other[0] = 1; // the preamble, PS3.10 section 7.1
        byte[] changed = [.. file];
        changed[^1] ^= 1;

        RetrievedHashes sent = await WadoClient.HashAsync(PixelSource.FromBytes(file), Cancellation);
        RetrievedHashes same = await WadoClient.HashAsync(PixelSource.FromBytes(other), Cancellation);
        RetrievedHashes different = await WadoClient.HashAsync(PixelSource.FromBytes(changed), Cancellation);

        Assert.Equal(sent.DataSetHash, same.DataSetHash);
        Assert.NotEqual(sent.FileHash, same.FileHash);
        Assert.NotEqual(sent.DataSetHash, different.DataSetHash);
        Assert.Null((await WadoClient.HashAsync(PixelSource.FromBytes("no file"u8.ToArray()), Cancellation)).DataSetHash);
    }

    [Theory]
    [InlineData("multipart/related; boundary=b", "--b\r\n\r\nDICM")]
    [InlineData("multipart/related; boundary=b", "--b\r\n\r\none\r\n--b\r\n\r\ntwo\r\n--b--")]
    [InlineData("multipart/related; boundary=b", "--b--")]
    [InlineData("multipart/related", "--b\r\n\r\none\r\n--b--")]
    [InlineData("text/html", "log in")]
    public async Task What_is_torn_or_not_one_object_is_no_proof(string contentType, string body)
    {
        await using ScriptedWebPeer archive = Giving(contentType, Encoding.ASCII.GetBytes(body));

        Assert.Equal(WebFault.Malformed, (await Assert.ThrowsAsync<WebPeerException>(() => HashAsync(archive))).Fault);
    }

    [Fact]
    public async Task An_object_that_does_not_end_is_left_at_the_limit()
    {
        await using var archive = new ScriptedWebPeer(async request =>
        {
            await request.WriteAsync("HTTP/1.1 200 OK\r\nContent-Type: application/dicom\r\nConnection: close\r\n\r\n");
            while (true)
            {
                await request.WriteAsync(new byte[100_000]);
            }
        });

        Assert.Contains("1000000 bytes", (await Assert.ThrowsAsync<WebPeerException>(() => HashAsync(archive))).Sentence, StringComparison.Ordinal);
    }

    private static string Page(int first, int count) =>
        $"[{string.Join(',', Enumerable.Range(first, count).Select(i => $"{{\"00080018\":{{\"vr\":\"UI\",\"Value\":[\"2.25.{i}\"]}}}}"))}]";

    private static ScriptedWebPeer Giving(string contentType, byte[] body) => new(request => request.AnswerAsync(200, body, contentType));

    private static async Task<List<DataSet>> ListAsync(ScriptedWebPeer archive, int pageSize, int most = 1000)
    {
        var peer = new WebPeer("archive test", archive.Root);
        using HttpClient http = peer.CreateClient();
        return await new QidoClient(http, peer, new QidoOptions { PageSize = pageSize, MaxAnswers = most })
            .ListAsync(WebObjects.Study, cancellationToken: Cancellation).ToListAsync(Cancellation);
    }

    private static async Task<InstancePresence> FindAsync(ScriptedWebPeer archive, string SOPInstanceUID)
    {
        var peer = new WebPeer("archive test", archive.Root);
        using HttpClient http = peer.CreateClient();
        return await new QidoClient(http, peer).FindAsync(WebObjects.Study, WebObjects.Series, SOPInstanceUID, SopClasses.VLEndoscopicImageStorage, Cancellation);
    }

    private static async Task<RetrievedHashes?> HashAsync(ScriptedWebPeer archive)
    {
        var peer = new WebPeer("archive test", archive.Root);
        using HttpClient http = peer.CreateClient();
        return await new WadoClient(http, peer).HashAsync(WebObjects.Study, WebObjects.Series, "2.25.1", 1_000_000, Cancellation);
    }

    private static async Task<byte[]> BytesAsync(PixelSource source)
    {
        await using Stream stream = source.OpenRead();
        using var bytes = new MemoryStream();
        await stream.CopyToAsync(bytes, Cancellation);
        return bytes.ToArray();
    }
}
