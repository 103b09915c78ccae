using System.Globalization;
using System.Net;
using System.Net.Http.Headers;
using System.Text.RegularExpressions;
using CameraBridge.Configuration;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Part10;
using CameraBridge.Dicom.Web;
using CameraBridge.Pipeline.Deliveries;
using CameraBridge.Pipeline.Matches;

namespace CameraBridge.Conformance;

/// <summary>What the DICOMweb user agent sends and what each answer leads to, found by having its clients ask a server that exists in this process only.</summary>
internal static partial class WebSurvey
{
    private const string Study = "2.25.1", Series = "2.25.2";

    private static readonly string[] Instances = ["2.25.3", "2.25.4"];

    private static readonly WebPeer Peer = new("The server", new Uri("https://host/root"));

    /// <summary>Statuses that servers answer with and that are judged in their own way, or stand for others of their class (RFC 9110 section 15).</summary>
    private static readonly int[] Answers = [200, 202, 204, 301, 400, 401, 403, 404, 405, 408, 409, 411, 413, 415, 417, 422, 429, 500, 502, 503, 504, 507];

    /// <summary>The requests, with media types.</summary>
    public static string Requests()
    {
        using Server server = new(HttpStatusCode.OK);
        using HttpClient http = new(server);
        StowClient stow = new(http, Peer);
        Wait(stow.StoreAsync([Instance(0)]));
        Wait(stow.StoreMetadataAsync([new StowMetadata(ObjectOf(0), TransferSyntax.ExplicitLittleEndian)]));
        Wait(ListAsync(http));
        Wait(new WadoClient(http, Peer).HashAsync(Study, Series, Instances[0], 1000));
        WorklistQuestion asked = new() { PatientID = "{patient}", StationAETitle = "{station}", From = new DateOnly(2026, 1, 1), To = new DateOnly(2026, 1, 3) };
        Wait(new WorklistClient(http, Peer, WorklistService.ScheduledProcedureSteps).SearchAsync(asked.ToIdentifier(), 1000));
        Wait(new WorklistClient(http, Peer, WorklistService.Workitems).SearchAsync(Workitem.ToIdentifier(asked), 1000));
        string[] uses = ["STOW-RS store, `form: dicom`", "STOW-RS store, `form: metadata`", "QIDO-RS search, `confirm_by: query`", "WADO-RS retrieve, `confirm_by: retrieval`", "search of Modality Scheduled Procedure Steps, `kind: mwl-rs`", "UPS-RS search of Workitems, `kind: ups-rs`"];
        return Markdown.Table(["Transaction", "Request", "Content-Type", "Accept"], uses.Zip(server.Requests, (use, request) => (IReadOnlyList<string>)[use, .. request]));
    }

    /// <summary>What a status leads to where no account of the objects comes with it.</summary>
    public static string StoreAnswers() => Markdown.Table(
        ["HTTP status", "One object in the request", "Several", "Destination"],
        Answers.Select(status =>
        {
            StowJudgement one = Store(status, 1), several = Store(status, 2);
            return (IReadOnlyList<string>)[status.ToString(CultureInfo.InvariantCulture), Words(one), several.SendAlone ? "each is sent again alone" : Words(several), one.ConcernsPeer ? "paused" : "goes on"];
        }));

    /// <summary>What a status leads to where the server is asked whether it keeps objects.</summary>
    public static string QueryAnswers() => Markdown.Table(
        ["HTTP status", "QIDO-RS", "WADO-RS"],
        Answers.Select(status =>
        {
            using Server server = new((HttpStatusCode)status);
            using HttpClient http = new(server);
            string listed = Try(() => Wait(ListAsync(http)) == 0 ? "an empty list: what is asked for is not there" : "the list is judged");
            string given = Try(() => Wait(new WadoClient(http, Peer).HashAsync(Study, Series, Instances[0], 1000)) is null ? "it is not there" : "compared with what was sent");
            return (IReadOnlyList<string>)[status.ToString(CultureInfo.InvariantCulture), status == 200 ? "the list is judged" : listed, status == 200 ? "compared with what was sent" : given];
        }));

    /// <summary>Limits of a request.</summary>
    public static string Limits()
    {
        WebConfiguration web = new() { Name = "", Url = new Uri("https://host") };
        WebLimits limits = WebLimits.Default;
        StowOptions options = new();
        return Markdown.Table(["Parameter", "Value"],
        [
            ["HTTP versions", "2 where the server offers it over TLS, else 1.1 (`http: auto`); one of them alone where the site says so"],
            ["Objects in one request", $"up to {Number(web.BatchObjects)} (`batch_objects`) and {Number(web.BatchMegabytes)} MiB (`batch_megabytes`); a larger object goes alone"],
            ["Body", $"streamed, with Content-Length; announced by Expect: 100-continue from {Number(options.ExpectContinueFrom ?? 0)} bytes (`expect_continue`), until the server lets that pass without an answer"],
            ["Connections at a time", Number(Peer.MaxConnections)],
            ["Limit for connecting (name, TCP, TLS)", $"`connect_limit`, {Seconds(web.ConnectLimit)}"],
            ["Limit until the first byte may go", Seconds(limits.Start)],
            ["Limit for the head of the answer", $"`response_limit`, {Seconds(web.ResponseLimit)}"],
            ["Limit for each write and each read", Seconds(limits.Idle)],
            ["Limit for a whole request", Seconds(limits.Whole)],
            ["Longest answer that is read, retrieved objects aside", $"{Number(limits.MaxAnswerBytes)} bytes"],
            ["Retry-After", "kept to, up to a day"],
            ["Redirections", "never followed"],
        ]);
    }

    private static StowJudgement Store(int status, int count)
    {
        using Server server = new((HttpStatusCode)status);
        using HttpClient http = new(server);
        return Wait(new StowClient(http, Peer).StoreAsync([.. Enumerable.Range(0, count).Select(Instance)]))[Instances[0]];
    }

    private static string Words(StowJudgement judgement) => DeliveryOutcome.Of(judgement, isAsked: true) switch
    {
        DeliveryOutcome.Refused => "refused: not sent again by itself",
        DeliveryOutcome.Retry => "sent again",
        DeliveryOutcome.StoredWithWarning => "counts as received; the server is asked whether it has it before anything is sent again",
        DeliveryOutcome.Unknown => "not known: sent again, the same bytes under the same UID",
        _ => "stored",
    };

    private static string Try(Func<string> ask)
    {
        try
        {
            return ask();
        }
        catch (WebPeerException)
        {
            return "says nothing: asked again";
        }
    }

    private static async Task<int> ListAsync(HttpClient http)
    {
        int count = 0;
        await foreach (DataSet found in new QidoClient(http, Peer).ListAsync(Study, Series).ConfigureAwait(false))
        {
            count += found.Contains(Tags.SOPInstanceUID) ? 1 : 0;
        }

        return count;
    }

    private static StowInstance Instance(int number) => StowInstance.FromDataSet(
        SopClasses.VLPhotographicImageStorage, Instances[number], TransferSyntaxes.ExplicitVRLittleEndian, ElementWriter.Encode(ObjectOf(number), TransferSyntax.ExplicitLittleEndian));

    private static DataSet ObjectOf(int number)
    {
        DataSet made = new();
        made.Set(Tags.SOPClassUID, SopClasses.VLPhotographicImageStorage);
        made.Set(Tags.SOPInstanceUID, Instances[number]);
        return made;
    }

    /// <summary>The server answers at once, so nothing is waited for.</summary>
    private static T Wait<T>(Task<T> done) => done.GetAwaiter().GetResult();

    private static string Number(long number) => number.ToString("#,0", CultureInfo.InvariantCulture);

    private static string Seconds(TimeSpan span) => string.Create(CultureInfo.InvariantCulture, $"{span.TotalSeconds:0.###} s");

    [GeneratedRegex(@"boundary=""[0-9a-f]+""")]
    private static partial Regex Boundary();

    private sealed class Server(HttpStatusCode status) : HttpMessageHandler
    {
        public List<string[]> Requests { get; } = [];

        protected override Task<HttpResponseMessage> SendAsync(HttpRequestMessage request, CancellationToken cancellationToken)
        {
            string path = Uri.UnescapeDataString(request.RequestUri!.PathAndQuery).Replace("/root", "{url}", StringComparison.Ordinal)
                .Replace(Study, "{study}", StringComparison.Ordinal).Replace(Series, "{series}", StringComparison.Ordinal).Replace(Instances[0], "{instance}", StringComparison.Ordinal);
            Requests.Add(
            [
                $"{request.Method} {path}", Boundary().Replace(request.Content?.Headers.ContentType?.ToString() ?? "", "boundary=..."), request.Headers.TryGetValues("Accept", out IEnumerable<string>? accept) ? string.Join(", ", accept) : "",
            ]);
            return Task.FromResult(new HttpResponseMessage(status) { RequestMessage = request, Content = status == HttpStatusCode.OK ? AnswerTo(request) : new ByteArrayContent([]) });
        }

        /// <summary>A list of nothing, some object, or no account of what was stored.</summary>
        private static ByteArrayContent AnswerTo(HttpRequestMessage request)
        {
            string path = request.RequestUri!.AbsolutePath;
            if (path.EndsWith($"/instances/{Instances[0]}", StringComparison.Ordinal))
            {
                return new ByteArrayContent([0]) { Headers = { ContentType = new MediaTypeHeaderValue("application/dicom") } };
            }

            return new ByteArrayContent(request.Method == HttpMethod.Get ? "[]"u8.ToArray() : []);
        }
    }
}
