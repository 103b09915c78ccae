using System.Collections.Concurrent;
using System.IO.Pipelines;
using System.Net;
using Microsoft.AspNetCore.Builder;
using Microsoft.AspNetCore.Hosting;
using Microsoft.AspNetCore.Http;
using Microsoft.Extensions.Logging;

namespace CameraBridge.Benchmarks;

/// <summary>A server that reads what is stored, throws it away, and says that it stored the objects that it was told to expect.</summary>
internal sealed class WebSink : IAsyncDisposable
{
    private readonly WebApplication application;
    private readonly ConcurrentQueue<string[]> expected = [];

    private WebSink(WebApplication application) => this.application = application;

    /// <summary>Where its services begin.</summary>
    public Uri Root => new(new Uri(application.Urls.Single()), "dicom-web");

    public static async Task<WebSink> StartAsync()
    {
        WebApplicationBuilder builder = WebApplication.CreateSlimBuilder();
        builder.WebHost.ConfigureKestrel(options =>
        {
            options.Listen(IPAddress.Loopback, 0);
            options.Limits.MaxRequestBodySize = null;
        });
        builder.Logging.ClearProviders();
        WebSink sink = new(builder.Build());
        sink.application.MapPost("/dicom-web/studies", sink.TakeAsync);
        await sink.application.StartAsync();
        return sink;
    }

    /// <summary>The SOP Instance UIDs of the requests to come, in their order.</summary>
    public void Expect(IEnumerable<string[]> requests)
    {
        expected.Clear();
        foreach (string[] request in requests)
        {
            expected.Enqueue(request);
        }
    }

    public ValueTask DisposeAsync() => application.DisposeAsync();

    private async Task TakeAsync(HttpContext context)
    {
        while (true)
        {
            ReadResult read = await context.Request.BodyReader.ReadAsync(context.RequestAborted);
            context.Request.BodyReader.AdvanceTo(read.Buffer.End);
            if (read.IsCompleted)
            {
                break;
            }
        }

        // The Store Instances Response Module of PS3.18 Annex I, each object in the Referenced SOP Sequence.
        string[] stored = expected.TryDequeue(out string[]? uids) ? uids : [];
        context.Response.ContentType = "application/dicom+json";
        await context.Response.WriteAsync($$"""
            { "00081199": { "vr": "SQ", "Value": [ {{string.Join(", ", stored.Select(uid => $$"""{ "00081155": { "vr": "UI", "Value": [ "{{uid}}" ] } }"""))}} ] } }
            """);
    }
}
