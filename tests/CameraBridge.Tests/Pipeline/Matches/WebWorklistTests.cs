using CameraBridge.Configuration;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Web;
using CameraBridge.Pipeline;
using CameraBridge.Pipeline.Matches;
using CameraBridge.Tests.Peers;
using Xunit;

namespace CameraBridge.Tests.Pipeline.Matches;

/// <summary>Worklists by DICOMweb (PS3.18 chapters 11 and 14) as the matching of sittings sees them.</summary>
public sealed class WebWorklistTests
{
    private static readonly WorklistQuestion ById = new() { PatientID = "P0001" };

    private static CancellationToken Cancellation => TestContext.Current.CancellationToken;

    [Fact]
    public async Task A_step_by_DICOMweb_is_the_step_by_CFIND()
    {
        await using var server = new ScriptedWebPeer(request => request.AnswerAsync(200, Json(Steps.Answer(name: "Müller^Änne"))));
        await using Worklist worklist = Ask(server);

        WorklistAnswers answers = await worklist.AskAsync(ById, Cancellation);

        WorklistStep step = Assert.Single(answers.Steps);
        Assert.Equal(WorklistStep.Of(Steps.Answer()).Single().Key, step.Key);
        Assert.Equal(("WEB", "ES", new DateOnly(2026, 11, 25), new TimeOnly(9, 30)), (step.Worklist, step.Modality, step.StartDate, step.StartTime));
        Assert.Equal("Müller^Änne", step.Item.GetString(Tags.PatientName));
        Assert.Null(step.TextFlaw);
        Assert.Equal((false, null, 1), (answers.CutOff, answers.Failure, answers.Total));

        // Each question once, and nothing but what is there in C-FIND (PS3.4 Table K.6-1 by our own return keys).
        await worklist.AskAsync(ById, Cancellation);
        Assert.Contains("?00100020=P0001&includefield=00080050,", Assert.Single(server.Heads), StringComparison.Ordinal);
    }

    [Theory]
    // Timezone Offset From UTC (0008,0201) says in which zone the times of the answer are; the site is in Lisbon, where winter time is UTC.
    [InlineData(null, "0930", "2026-11-25 09:30")]
    [InlineData("+0100", "0930", "2026-11-25 08:30")]
    [InlineData("-0500", "2200", "2026-11-26 03:00")]
    [InlineData("+0100", null, "2026-11-25 ")]
    [InlineData("nonsense", "0930", "2026-11-25 09:30")]
    public async Task A_start_in_another_zone_is_brought_into_the_hospitals(string? offset, string? time, string start)
    {
        DataSet answer = Steps.Answer(time: time);
        answer.Set(Tags.TimezoneOffsetFromUTC, offset);
        await using var server = new ScriptedWebPeer(request => request.AnswerAsync(200, Json(answer)));
        await using Worklist worklist = Ask(server);

        WorklistStep step = Assert.Single((await worklist.AskAsync(ById, Cancellation)).Steps);

        Assert.Equal(start, $"{step.StartDate:yyyy-MM-dd} {step.StartTime:HH:mm}");
        Assert.False(step.Item.Contains(Tags.TimezoneOffsetFromUTC));
    }

    [Theory]
    [InlineData(404, "", "worklist-refused")]
    [InlineData(401, "", "worklist-refused")]
    [InlineData(503, "", "worklist-refused")]
    [InlineData(200, "<html>", "worklist-down")]
    public async Task A_server_that_does_not_answer_the_question_is_a_failure_with_the_next_step(int status, string body, string code)
    {
        await using var server = new ScriptedWebPeer(request => request.AnswerAsync(status, body));
        await using Worklist worklist = Ask(server);

        WorklistAnswers answers = await worklist.AskAsync(ById, Cancellation);

        Assert.Equal(code, answers.Failure?.Code);
        Assert.StartsWith("The worklist WEB ", answers.Failure!.Words, StringComparison.Ordinal);
        Assert.DoesNotContain("P0001", answers.Failure.Words, StringComparison.Ordinal);
    }

    [Fact]
    public async Task A_server_that_is_not_there_is_asked_once_a_batch()
    {
        Uri gone;
        await using (var server = new ScriptedWebPeer(request => request.AnswerAsync(204)))
        {
            gone = server.Root;
        }

        await using var worklist = new Worklist(Site, Steps.WebWorklist(gone.Port, WorklistKind.MwlRs), TimeProvider.System);

        Reason first = (await worklist.AskAsync(ById, Cancellation)).Failure!;
        Reason second = (await worklist.AskAsync(new WorklistQuestion { PatientID = "P0002" }, Cancellation)).Failure!;

        Assert.Equal("worklist-down", first.Code);
        Assert.Same(first, second);
    }

    [Fact]
    public async Task A_secret_that_cannot_be_read_is_told_by_its_place()
    {
        WorklistConfiguration configuration = Steps.WebWorklist(1, WorklistKind.MwlRs);
        configuration = configuration with { Web = configuration.Web! with { Token = new SecretPlace("/nowhere/token", null), Authorities = "/nowhere/ca.pem" } };
        await using var worklist = new Worklist(Site, configuration, TimeProvider.System);

        Reason failure = (await worklist.AskAsync(ById, Cancellation)).Failure!;

        Assert.Equal("worklist-down", failure.Code);
        Assert.Contains("/nowhere/ca.pem", failure.Words, StringComparison.Ordinal);
    }

    [Fact]
    public async Task The_sites_proxy_is_that_of_every_server_of_the_web()
    {
        await using var proxy = new ScriptedWebPeer(request => request.AnswerAsync(200, Json(Steps.Answer())));
        await using var worklist = new Worklist(Site, Through(proxy), TimeProvider.System);

        Assert.Single((await worklist.AskAsync(ById, Cancellation)).Steps);

        // Through the proxy the address stands whole (RFC 9112 section 3.2.2).
        Assert.StartsWith("GET http://worklist.example/rs/modality-scheduled-procedure-steps?", Assert.Single(proxy.Heads), StringComparison.Ordinal);
    }

    [Fact]
    public async Task A_bearer_token_does_not_leave_where_the_way_is_open()
    {
        string secret = Path.GetTempFileName();
        try
        {
            await File.WriteAllTextAsync(secret, "hush\n", Cancellation);
            await using var proxy = new ScriptedWebPeer(request => request.AnswerAsync(200, Json(Steps.Answer())));
            WorklistConfiguration configuration = Through(proxy);
            await using var worklist = new Worklist(Site, configuration with { Web = configuration.Web! with { Token = new SecretPlace(secret, null) } }, TimeProvider.System);

            Reason failure = (await worklist.AskAsync(ById, Cancellation)).Failure!;

            Assert.Contains("https only", failure.Words, StringComparison.Ordinal);
            Assert.DoesNotContain("hush", failure.Words, StringComparison.Ordinal);
            Assert.Empty(proxy.Heads);
        }
        finally
        {
            File.Delete(secret);
        }
    }

    [Fact]
    public async Task A_token_is_fetched_from_the_sites_token_server_and_again_when_it_is_revoked()
    {
        string folder = Directory.CreateTempSubdirectory("camerabridge-worklist-token-").FullName;
        string secret = Path.Combine(folder, "secret");
        await File.WriteAllTextAsync(secret, TokenGate.Secret + "\n", Cancellation);
        await using var server = new ScriptedWebPeer(request => request.AnswerAsync(200, Json(Steps.Answer())));
        await using TokenGate gate = await TokenGate.StartAsync(server.Root, TokenGate.Revoking);
        WorklistConfiguration configuration = Steps.WebWorklist(80, WorklistKind.MwlRs);
        var oauth = new TokenConfiguration(gate.Endpoint, TokenGate.ClientId, new SecretPlace(secret, null), TokenGate.Scope, SecretInBody: false);
        await using var worklist = new Worklist(Site, configuration with { Web = configuration.Web! with { Url = gate.Root, OAuth = oauth } }, TimeProvider.System);

        // The gate takes a token twice; each of the questions is another, so none is answered from memory.
        for (int patient = 1; patient <= 3; patient++)
        {
            WorklistAnswers answers = await worklist.AskAsync(new WorklistQuestion { PatientID = $"P000{patient}" }, Cancellation);

            Assert.Null(answers.Failure);
            Assert.Single(answers.Steps);
        }

        Assert.Equal((2, 1), (gate.Tokens.Count, gate.Refusals));
        Directory.Delete(folder, recursive: true);
    }

    [Theory]
    [InlineData(true)]
    [InlineData(false)]
    public async Task A_client_certificate_opens_the_door_and_without_it_the_failure_says_so(bool shows)
    {
        string folder = Directory.CreateTempSubdirectory("camerabridge-worklist-tls-").FullName;
        using TestAuthority authority = new();
        using TestAuthority clients = new("Invented Authority of Clients");
        await using var server = new ScriptedWebPeer(request => request.AnswerAsync(200, Json(Steps.Answer())));
        await using TlsFrontPeer front = await TlsFrontPeer.StartAsync(Path.Combine(folder, "front"), server.Root, authority, clients);
        (string certificate, string key) = clients.Write(folder, "gateway");
        WorklistConfiguration configuration = Steps.WebWorklist(80, WorklistKind.MwlRs);
        WebConfiguration web = configuration.Web! with { Url = front.Root, Authorities = authority.Write(folder) };
        web = shows ? web with { ClientCertificate = certificate, ClientKey = key } : web;
        await using var worklist = new Worklist(Site, configuration with { Web = web }, TimeProvider.System);

        WorklistAnswers answers = await worklist.AskAsync(ById, Cancellation);

        if (shows)
        {
            Assert.Null(answers.Failure?.Words);
            Assert.Single(answers.Steps);
            Assert.EndsWith("SUCCESS CN=gateway", Assert.Single(front.Requests), StringComparison.Ordinal);
        }
        else
        {
            Assert.Contains("wants a client certificate", answers.Failure!.Words, StringComparison.Ordinal);
            Assert.Empty(answers.Steps);
        }

        Directory.Delete(folder, recursive: true);
    }

    [Fact]
    public async Task Workitems_know_no_step_ID_so_one_alone_asks_for_nothing()
    {
        await using var server = new ScriptedWebPeer(request => request.AnswerAsync(204));
        await using Worklist worklist = Ask(server, WorklistKind.UpsRs);

        WorklistAnswers answers = await worklist.AskAsync(new WorklistQuestion { ScheduledProcedureStepID = "S1" }, Cancellation);

        Assert.Empty(answers.Steps);
        Assert.Null(answers.Failure);
        Assert.Empty(server.Heads);
    }

    [Fact]
    public async Task Workitems_are_asked_by_station_and_days_in_the_words_of_unified_procedure_steps()
    {
        await using var server = new ScriptedWebPeer(request => request.AnswerAsync(204));
        await using Worklist worklist = Ask(server, WorklistKind.UpsRs);

        await worklist.AskAsync(new WorklistQuestion { StationAETitle = "CAM1", From = new DateOnly(2026, 11, 24), To = new DateOnly(2026, 11, 26) }, Cancellation);

        // Scheduled Procedure Step Start DateTime as a range of DT (PS3.4 section C.2.2.2.5), Scheduled Station Name Code Sequence by its code value (PS3.3 section C.30.2).
        string head = Assert.Single(server.Heads);
        Assert.StartsWith("GET /dicom-web/workitems?", head, StringComparison.Ordinal);
        Assert.Contains("00404005=20261124000000-20261126235959&", head, StringComparison.Ordinal);
        Assert.Contains("00404025.00080100=CAM1&", head, StringComparison.Ordinal);
    }

    private static SiteConfiguration Site => new() { SpoolFolder = "", StateFile = "", TimeZone = TimeZoneInfo.FindSystemTimeZoneById("Europe/Lisbon") };

    private static string Json(DataSet answer) => System.Text.Encoding.UTF8.GetString(DicomJson.WriteArray([answer]));

    private static Worklist Ask(ScriptedWebPeer server, WorklistKind kind = WorklistKind.MwlRs)
    {
        WorklistConfiguration configuration = Steps.WebWorklist(server.Root.Port, kind);
        return new Worklist(Site, configuration with { Web = configuration.Web! with { Url = server.Root } }, TimeProvider.System);
    }

    private static WorklistConfiguration Through(ScriptedWebPeer proxy)
    {
        WorklistConfiguration configuration = Steps.WebWorklist(80, WorklistKind.MwlRs);
        return configuration with { Web = configuration.Web! with { Url = new Uri("http://worklist.example/rs"), Proxy = new Uri(proxy.Root.GetLeftPart(UriPartial.Authority)) } };
    }
}
