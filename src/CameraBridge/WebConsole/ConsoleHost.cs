using System.Globalization;
using CameraBridge.Commands;
using CameraBridge.Commands.Cards;
using CameraBridge.Configuration;
using CameraBridge.Persistence;

namespace CameraBridge.WebConsole;

/// <summary>Serves the pages of the console, as long as the service runs. Each page is a line in <see cref="Map"/>.</summary>
internal sealed class ConsoleHost : IAsyncDisposable
{
    /// <summary>Nothing is loaded from elsewhere, nothing runs, nobody frames it.</summary>
    private const string ContentPolicy = "default-src 'none'; style-src 'self'; img-src 'self'; frame-ancestors 'none'; base-uri 'none'; form-action 'none'";

    private readonly WebApplication? _application;

    private ConsoleHost(WebApplication? application) => _application = application;

    /// <summary>Where it listens; null when it does not.</summary>
    public Uri? Address => _application is null ? null : new Uri(_application.Urls.First());

    /// <summary>Begins to serve, if the site has named a port.</summary>
    /// <returns>One that does not serve when the site names none.</returns>
    /// <exception cref="IOException">The port is taken.</exception>
    public static async Task<ConsoleHost> StartAsync(
        SiteConfiguration site, IPipelineDatabase database, TimeProvider clock, ILogger<ConsoleHost> logger, CancellationToken cancellation)
    {
        if (site.Console is not { } console)
        {
            return new ConsoleHost(null);
        }

        WebApplicationBuilder builder = WebApplication.CreateSlimBuilder();
        builder.Logging.ClearProviders();
        builder.WebHost.ConfigureKestrel(options =>
        {
            options.AddServerHeader = false;
            options.Listen(console.Address, console.Port);
        });
        WebApplication application = builder.Build();
        Map(application, site, database, clock);
        await application.StartAsync(cancellation).ConfigureAwait(false);
        logger.Serving(string.Create(CultureInfo.InvariantCulture, $"http://{console.Address}:{console.Port}/"));
        return new ConsoleHost(application);
    }

    public ValueTask DisposeAsync() => _application?.DisposeAsync() ?? ValueTask.CompletedTask;

    private static void Map(WebApplication application, SiteConfiguration site, IPipelineDatabase database, TimeProvider clock)
    {
        application.Use((context, next) =>
        {
            IHeaderDictionary headers = context.Response.Headers;
            headers.ContentSecurityPolicy = ContentPolicy;
            headers.XContentTypeOptions = "nosniff";
            headers["Referrer-Policy"] = "no-referrer";
            headers.CacheControl = "no-store";
            return next(context);
        });
        application.MapGet("/", async (HttpContext context) =>
        {
            StatusReply status = await StatusReply.ReadAsync(site, site.Sources, database, thorough: false, clock, context.RequestAborted).ConfigureAwait(false);
            context.Response.ContentType = "text/html; charset=utf-8";
            await context.Response.WriteAsync(WallScreen.Write(status), context.RequestAborted).ConfigureAwait(false);
        });
        application.MapGet("/wall.css", async (HttpContext context) =>
        {
            context.Response.ContentType = "text/css; charset=utf-8";
            await context.Response.WriteAsync(WallScreen.Style, context.RequestAborted).ConfigureAwait(false);
        });
        MapClock(application, clock);
    }

    /// <summary>In the language that the browser asks for, if the program has it.</summary>
    private static void MapClock(WebApplication application, TimeProvider clock)
    {
        application.MapGet("/clock", async (HttpContext context) =>
        {
            string asked = context.Request.GetTypedHeaders().AcceptLanguage.OrderByDescending(language => language.Quality ?? 1)
                .Select(language => language.Value.ToString().Split('-')[0].ToLowerInvariant()).FirstOrDefault(CardTexts.Languages.Contains) ?? "en";
            context.Response.ContentType = "text/html; charset=utf-8";
            await context.Response.WriteAsync(ClockPage.Write(clock.GetUtcNow(), CardTexts.Of(asked)), context.RequestAborted).ConfigureAwait(false);
        });
        application.MapGet("/clock.png", async (HttpContext context) =>
        {
            context.Response.ContentType = "image/png";
            await context.Response.Body.WriteAsync(ClockCode.InPicture(clock.GetUtcNow()), context.RequestAborted).ConfigureAwait(false);
        });
        application.MapGet("/clock.css", async (HttpContext context) =>
        {
            context.Response.ContentType = "text/css; charset=utf-8";
            await context.Response.WriteAsync(ClockPage.Style, context.RequestAborted).ConfigureAwait(false);
        });
    }
}
