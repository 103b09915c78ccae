using System.Net;
using CameraBridge.Configuration;
using CameraBridge.Persistence;
using CameraBridge.Pipeline;
using CameraBridge.Pipeline.Sittings.Cues;
using CameraBridge.Pipeline.Sittings.Cues.Cards;
using CameraBridge.Tests.Peers;
using CameraBridge.Tests.Persistence;
using CameraBridge.WebConsole;
using Microsoft.Extensions.Logging.Abstractions;
using Microsoft.Extensions.Time.Testing;
using SkiaSharp;
using Xunit;

namespace CameraBridge.Tests.WebConsole;

/// <summary>The page for a wall screen, asked for over HTTP: what it says of a stick, what it never shows, and what a browser may do with it.</summary>
public sealed class WallScreenTests : IDisposable
{
    private readonly DirectoryInfo _folder = Directory.CreateTempSubdirectory("wall-");

    private static CancellationToken Cancellation => TestContext.Current.CancellationToken;

    public void Dispose() => _folder.Delete(recursive: true);

    [Fact]
    public async Task It_says_of_each_stick_whether_it_may_be_wiped_and_runs_nothing()
    {
        string stick = Directory.CreateDirectory(Path.Combine(_folder.FullName, "stick", "0001")).Parent!.FullName;
        await File.WriteAllBytesAsync(Path.Combine(stick, "0001", "IMG_<1>.JPG"), [0xFF, 0xD8], Cancellation);
        SiteConfiguration site = new()
        {
            SpoolFolder = _folder.FullName,
            StateFile = Path.Combine(_folder.FullName, "state.db"),
            Sources =
            [
                new SourceConfiguration { Name = "ward-stick", Folder = stick, Kind = SourceKind.Stick },
                new SourceConfiguration { Name = "away", Folder = Path.Combine(_folder.FullName, "nothing"), Kind = SourceKind.Stick },
            ],
            Console = new ConsoleConfiguration { Port = PeerProcess.FreePort() },
        };
        await using IPipelineDatabase database = await PipelineDatabase.OpenAsync(site, TimeProvider.System, Cancellation);
        await using ConsoleHost console = await ConsoleHost.StartAsync(site, database, TimeProvider.System, NullLogger<ConsoleHost>.Instance, Cancellation);
        using HttpClient browser = new() { BaseAddress = console.Address };

        using HttpResponseMessage before = await browser.GetAsync(new Uri("/", UriKind.Relative), Cancellation);
        string page = await before.Content.ReadAsStringAsync(Cancellation);

        Assert.Equal(HttpStatusCode.OK, before.StatusCode);
        Assert.Contains("0 of 1 kept, 1 not taken", page, StringComparison.Ordinal);
        Assert.Contains("not there", page, StringComparison.Ordinal);
        Assert.Contains("no diagnostic device", page, StringComparison.Ordinal);
        Assert.DoesNotContain("IMG_", page, StringComparison.Ordinal);
        Assert.DoesNotContain("<script", page, StringComparison.OrdinalIgnoreCase);
        Assert.Contains("default-src 'none'", before.Headers.GetValues("Content-Security-Policy").Single(), StringComparison.Ordinal);
        Assert.Equal("no-store", before.Headers.CacheControl!.ToString());
        Assert.Contains(".safe", await browser.GetStringAsync(new Uri("/wall.css", UriKind.Relative), Cancellation), StringComparison.Ordinal);
        Assert.Equal(HttpStatusCode.NotFound, (await browser.GetAsync(new Uri("/state.db", UriKind.Relative), Cancellation)).StatusCode);
    }

    [Theory]
    [InlineData("fr-CA, en;q=0.5", "Photographiez ce code")]
    [InlineData("xx, *", "Photograph this code")]
    public async Task The_clock_page_shows_a_code_that_tells_the_time_in_the_browsers_language_and_runs_nothing(string language, string words)
    {
        SiteConfiguration site = new()
        {
            SpoolFolder = _folder.FullName,
            StateFile = Path.Combine(_folder.FullName, "state.db"),
            Sources = [],
            Console = new ConsoleConfiguration { Port = PeerProcess.FreePort() },
        };
        FakeTimeProvider clock = new(new DateTimeOffset(2026, 11, 25, 9, 30, 15, TimeSpan.Zero));
        await using IPipelineDatabase database = await PipelineDatabase.OpenAsync(site, clock, Cancellation);
        await using ConsoleHost console = await ConsoleHost.StartAsync(site, database, clock, NullLogger<ConsoleHost>.Instance, Cancellation);
        using HttpClient browser = new() { BaseAddress = console.Address };
        browser.DefaultRequestHeaders.Add("Accept-Language", language);

        using HttpResponseMessage answer = await browser.GetAsync(new Uri("/clock", UriKind.Relative), Cancellation);
        string page = await answer.Content.ReadAsStringAsync(Cancellation);
        using SKData picture = SKData.CreateCopy(await browser.GetByteArrayAsync(new Uri("/clock.png", UriKind.Relative), Cancellation));

        Assert.Contains(words, page, StringComparison.Ordinal);
        Assert.Contains("<img src=\"/clock.png\" alt=\"2026-11-25 09:30:15 UTC\">", page, StringComparison.Ordinal);
        Assert.DoesNotContain("<script", page, StringComparison.OrdinalIgnoreCase);
        Assert.Contains("default-src 'none'; style-src 'self'; img-src 'self';", answer.Headers.GetValues("Content-Security-Policy").Single(), StringComparison.Ordinal);
        Assert.Equal("no-store", answer.Headers.CacheControl!.ToString());
        Assert.Equal(clock.GetUtcNow(), CardText.Read(Assert.Single(new LabelReader().Read(picture).Texts))!.Value.Card!.Clock);
        Assert.Contains("img", await browser.GetStringAsync(new Uri("/clock.css", UriKind.Relative), Cancellation), StringComparison.Ordinal);
    }

    [Fact]
    public async Task A_stick_of_which_everything_is_kept_is_safe()
    {
        string stick = Directory.CreateDirectory(Path.Combine(_folder.FullName, "stick", "1")).Parent!.FullName;
        string picture = Path.Combine(stick, "1", "a.jpg");
        await File.WriteAllBytesAsync(picture, new byte[1000], Cancellation);
        File.SetLastWriteTimeUtc(picture, DateTime.UnixEpoch);
        SiteConfiguration site = new()
        {
            SpoolFolder = _folder.FullName,
            StateFile = Path.Combine(_folder.FullName, "state.db"),
            Sources = [new SourceConfiguration { Name = "stick", Folder = stick, Kind = SourceKind.Stick }],
        };
        await using IPipelineDatabase database = await PipelineDatabase.OpenAsync(site, TimeProvider.System, Cancellation);
        await FlowSteps.QueueAsync(database, ["1/a.jpg"], _ => [], "archive", "second");
        foreach (string destination in (string[])["archive", "second"])
        {
            Work sending = Assert.Single(await database.LeaseAsync(Stage.Deliveries, destination, 1, TimeSpan.FromMinutes(1), Cancellation));
            await database.CompleteDeliveriesAsync([new DeliveryResult(sending, DeliveryState.Stored, 0, "stored", null) { ConfirmAt = DateTimeOffset.UnixEpoch }], Cancellation);
            Assert.DoesNotContain("SAFE TO WIPE", await PageAsync(site, database), StringComparison.Ordinal);
            Work asking = Assert.Single(await database.LeaseAsync(Stage.Confirmations, destination, 1, TimeSpan.FromMinutes(1), Cancellation));
            await database.CompleteConfirmationsAsync([new ConfirmationResult(asking, ConfirmationOutcome.Kept, ConfirmationWay.Query, "listed", null, 3)], Cancellation);
        }

        Assert.Contains("SAFE TO WIPE", await PageAsync(site, database), StringComparison.Ordinal);

        // Another picture comes: it is not.
        await File.WriteAllBytesAsync(Path.Combine(stick, "1", "b.jpg"), new byte[10], Cancellation);
        Assert.Contains("1 of 2 kept, 1 not taken", await PageAsync(site, database), StringComparison.Ordinal);
    }

    private static async Task<string> PageAsync(SiteConfiguration site, IPipelineDatabase database) =>
        WallScreen.Write(await CameraBridge.Commands.StatusReply.ReadAsync(site, site.Sources, database, thorough: false, TimeProvider.System, Cancellation));
}
