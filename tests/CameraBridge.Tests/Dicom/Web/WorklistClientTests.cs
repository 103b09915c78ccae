using System.Globalization;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Web;
using CameraBridge.Tests.Peers;
using Xunit;

namespace CameraBridge.Tests.Dicom.Web;

/// <summary>
/// Searches of Modality Scheduled Procedure Steps (PS3.18 section 14.4, edition 2025e) and Workitems (section 11.9, edition 2019e) against servers that do as they like: sections 8.3.4.1
/// (match), 8.3.4.3 (includefield) and 8.3.4.4 (pages, edition 2024d).
/// </summary>
public sealed class WorklistClientTests
{
    private static CancellationToken Cancellation => TestContext.Current.CancellationToken;

    [Fact]
    public async Task Values_are_matched_by_their_tags_and_empty_keys_are_asked_for()
    {
        var step = new DataSet();
        step.Set(Tags.ScheduledStationAETitle, "CAM 1&2");
        step.SetEmpty(Tags.Modality);
        step.SetKey(Tags.ScheduledProcedureStepStartDate, "20261124-20261126");
        var keys = new DataSet();
        keys.SetEmpty(Tags.SpecificCharacterSet);
        keys.Set(Tags.PatientID, "P/0001");
        keys.SetEmpty(Tags.PatientName);
        keys.SetItems(Tags.ScheduledProcedureStepSequence, step);
        await using var server = new ScriptedWebPeer(request => request.AnswerAsync(204));

        await SearchAsync(server, keys: keys);

        Assert.StartsWith(
            "GET /dicom-web/modality-scheduled-procedure-steps?00100020=P%2F0001&00400100.00400001=CAM%201%262&00400100.00400002=20261124-20261126&includefield=00100010,00400100&limit=200&offset=0 HTTP/1.1",
            Assert.Single(server.Heads), StringComparison.Ordinal);
        Assert.Contains("Accept: application/dicom+json\r\n", server.Heads.First(), StringComparison.Ordinal);
    }

    [Fact]
    public async Task Workitems_are_searched_at_their_own_resource()
    {
        await using var server = new ScriptedWebPeer(request => request.AnswerAsync(200, "[]"));

        Assert.Empty((await SearchAsync(server, WorklistService.Workitems)).Answers);
        Assert.StartsWith("GET /dicom-web/workitems?00100020=P1&limit=200&offset=0 HTTP/1.1", Assert.Single(server.Heads), StringComparison.Ordinal);
    }

    [Theory]
    [InlineData(200, "Warning: 299 x \"There are additional results\"\r\n")]
    [InlineData(206, "")]
    public async Task Pages_are_asked_for_until_the_server_has_no_more(int status, string more)
    {
        await using var server = new ScriptedWebPeer(request =>
        {
            int offset = Offset(request);
            return request.AnswerAsync(offset + 3 < 10 ? status : 200, Page(offset, Math.Min(3, 10 - offset)), headers: offset + 3 < 10 ? more : "");
        });

        WorklistSearch found = await SearchAsync(server);

        Assert.Equal(Enumerable.Range(0, 10).Select(i => $"S{i}"), found.Answers.Select(answer => answer.GetString(Tags.ScheduledProcedureStepID)));
        Assert.False(found.IsCut);
        Assert.Equal(4, server.Heads.Count);
    }

    [Fact]
    public async Task More_answers_than_are_taken_are_told_as_cut()
    {
        await using var server = new ScriptedWebPeer(request => request.AnswerAsync(200, Page(Offset(request), 5)));

        WorklistSearch found = await SearchAsync(server, most: 4);

        Assert.Equal(4, found.Answers.Count);
        Assert.True(found.IsCut);
        Assert.Contains("limit=5&", server.Heads.First(), StringComparison.Ordinal);
    }

    [Theory]
    [InlineData(206, 3, true)] // It tells of more and repeats itself: something is hidden.
    [InlineData(200, 200, true)] // A full page comes again: something is hidden, too.
    [InlineData(200, 201, false)] // It ignores limit and offset, and has given all at once.
    public async Task A_server_that_gives_the_same_page_again_has_given_all_only_where_that_is_more_than_was_asked(int status, int page, bool isCut)
    {
        await using var server = new ScriptedWebPeer(request => request.AnswerAsync(status, Page(0, page)));

        WorklistSearch found = await SearchAsync(server);

        Assert.Equal((page, isCut, 2), (found.Answers.Count, found.IsCut, server.Heads.Count));
    }

    [Fact]
    public async Task A_server_that_gives_its_answers_one_by_one_for_ever_is_left()
    {
        await using var server = new ScriptedWebPeer(request => request.AnswerAsync(206, Page(Offset(request), 1)));

        WorklistSearch found = await SearchAsync(server, most: 100_000);

        Assert.True(found.IsCut);
        Assert.Equal(found.Answers.Count, server.Heads.Count);
        Assert.InRange(found.Answers.Count, 50, 200);
    }

    [Theory]
    [InlineData(404, "no such service", WebFault.Refused)]
    [InlineData(401, "", WebFault.Refused)]
    [InlineData(400, "", WebFault.Refused)]
    [InlineData(413, "", WebFault.Refused)]
    [InlineData(500, "", WebFault.Refused)]
    [InlineData(302, "", WebFault.Refused)]
    [InlineData(200, "<html>log in</html>", WebFault.Malformed)]
    [InlineData(200, "[{\"0008", WebFault.Malformed)]
    [InlineData(200, "[1,2]", WebFault.Malformed)]
    [InlineData(200, "{\"error\":\"P1 is unknown\"}", WebFault.Malformed)]
    public async Task What_is_no_answer_is_a_failure_and_never_an_empty_worklist(int status, string body, WebFault fault)
    {
        await using var server = new ScriptedWebPeer(request => request.AnswerAsync(status, body));

        WebPeerException failure = await Assert.ThrowsAsync<WebPeerException>(() => SearchAsync(server));

        Assert.Equal((fault, status), (failure.Fault, (int)failure.StatusCode!));
        Assert.StartsWith("worklist test ", failure.Sentence, StringComparison.Ordinal);
        Assert.DoesNotContain("P1", failure.Sentence, StringComparison.Ordinal);
    }

    [Fact]
    public async Task An_answer_that_is_too_long_is_refused_before_it_is_read()
    {
        await using var server = new ScriptedWebPeer(request => request.AnswerAsync(200, Page(0, 2000)));

        WebPeerException failure = await Assert.ThrowsAsync<WebPeerException>(() => SearchAsync(server, largest: 10_000));

        Assert.Equal(WebFault.Malformed, failure.Fault);
        Assert.Contains("MaxAnswerBytes", failure.Sentence, StringComparison.Ordinal);
    }

    private static int Offset(ScriptedRequest request) => int.Parse(request.Head.Split("offset=")[1].Split(' ')[0], CultureInfo.InvariantCulture);

    private static string Page(int from, int count) =>
        $"[{string.Join(',', Enumerable.Range(from, count).Select(i => string.Create(CultureInfo.InvariantCulture, $"{{\"00400009\":{{\"vr\":\"SH\",\"Value\":[\"S{i}\"]}}}}")))}]";

    private static async Task<WorklistSearch> SearchAsync(
        ScriptedWebPeer server, WorklistService service = WorklistService.ScheduledProcedureSteps, int most = 1000, DataSet? keys = null, int largest = 16 * 1024 * 1024)
    {
        if (keys is null)
        {
            keys = new DataSet();
            keys.Set(Tags.PatientID, "P1");
        }

        var peer = new WebPeer("worklist test", server.Root) { Limits = WebLimits.Default with { MaxAnswerBytes = largest } };
        using HttpClient http = peer.CreateClient();
        return await new WorklistClient(http, peer, service).SearchAsync(keys, most, Cancellation);
    }
}
