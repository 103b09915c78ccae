using System.Text.Json;
using Xunit;

namespace CameraBridge.Tests.Commands;

/// <summary>What did not reach its archive: seen with the reason, and sent again under a person's name.</summary>
public sealed class DeliveriesCommandTests
{
    private static CancellationToken Cancellation => TestContext.Current.CancellationToken;

    [Fact]
    public async Task List_tells_what_is_undelivered_and_why_with_exit_code_4()
    {
        using DeliveriesSite site = await DeliveriesSite.CreateAsync(Cancellation);

        TestTerminal run = await RunAsync(site, "list");

        Assert.Equal("", run.Error);
        Assert.Equal(4, run.ExitCode);
        string[] lines = run.Out.Split('\n', StringSplitOptions.RemoveEmptyEntries);
        // Columns: sitting, source, folder, destination, objects, delivered, state, next attempt, why.
        Assert.Matches(@"^1 +stick +0001 +archive +1 +1 +given up +none +Given up after 7 days\.$", lines[2]);
        Assert.Matches(@"^1 +stick +0001 +archive +2 +1 +refused +none +It refused the first\. \(1 more reason\(s\): --json\)$", lines[3]);
        Assert.Matches(@"^1 +stick +0001 +archive +1 +1 +waiting +2126-07-01 09:30:00 \+00:00 +It is full\.$", lines[4]);
        Assert.Matches(@"^2 +stick +0002 +museum +1 +0 +waiting +now +not tried yet$", lines[5]);
        Assert.Contains("archive: 4 not delivered (1 waiting, 2 refused, 1 given up), of 1 sitting(s). Queue: 1 still, 0.0 MB, time not known: nothing went lately.", lines);
        Assert.Contains("museum: 1 not delivered (1 waiting), of 1 sitting(s). It is in the configuration no more, so nothing is sent to it; add it there again.", lines);
        Assert.Contains("camerabridge deliveries again --by", lines[^1], StringComparison.Ordinal);
    }

    [Fact]
    public async Task List_tells_programs_every_reason_and_the_counts_per_destination()
    {
        using DeliveriesSite site = await DeliveriesSite.CreateAsync(Cancellation);

        JsonElement json = (await RunAsync(site, "list", "--json")).Json();

        JsonElement archive = json.GetProperty("destinations")[0];
        Assert.Equal(
            ("archive", true, 4, 1, 2, 1, 1),
            (archive.GetProperty("destination").GetString(), archive.GetProperty("configured").GetBoolean(), Number(archive, "undelivered"), Number(archive, "waiting"),
                Number(archive, "refused"), Number(archive, "given_up"), Number(archive, "sittings")));
        Assert.False(json.GetProperty("destinations")[1].GetProperty("configured").GetBoolean());
        JsonElement[] reasons = [.. json.GetProperty("undelivered").EnumerateArray()];
        Assert.Equal(["given_up", "refused", "refused", "waiting", "waiting"], reasons.Select(one => one.GetProperty("state").GetString()));
        Assert.Equal("C000", reasons[2].GetProperty("status").GetString());
        Assert.Equal("It refused the second.", reasons[2].GetProperty("outcome").GetString());
        Assert.False(reasons[2].TryGetProperty("next_attempt_at", out _));
        Assert.Equal(new DateTimeOffset(2126, 7, 1, 9, 30, 0, TimeSpan.Zero), reasons[3].GetProperty("next_attempt_at").GetDateTimeOffset());
    }

    [Fact]
    public async Task List_of_one_destination_is_of_that_one()
    {
        using DeliveriesSite site = await DeliveriesSite.CreateAsync(Cancellation);
        TestTerminal museum = await RunAsync(site, "list", "--destination", "museum");
        Assert.Equal(4, museum.ExitCode);
        Assert.DoesNotContain("archive", museum.Out, StringComparison.Ordinal);

        await RunAsync(site, "again", "--by", "R. Example");
        await site.DeliverAsync(Cancellation);
        TestTerminal none = await RunAsync(site, "list", "--destination", "archive");
        Assert.Equal((0, "Nothing is undelivered."), (none.ExitCode, none.Out.Trim()));
        Assert.Empty((await RunAsync(site, "list", "--json")).Json().GetProperty("undelivered").EnumerateArray());
    }

    [Fact]
    public async Task Again_queues_what_has_ended_brings_forward_what_waits_and_records_who_asked()
    {
        using DeliveriesSite site = await DeliveriesSite.CreateAsync(Cancellation);

        TestTerminal dry = await RunAsync(site, "again", "--by", "R. Example", "--dry-run");
        Assert.Equal(0, await site.DueAsync(Cancellation));
        TestTerminal run = await RunAsync(site, "again", "--by", " R. Example ");

        Assert.Contains("Nothing was changed", dry.Out, StringComparison.Ordinal);
        Assert.Contains("3 would be put into the queue again and 1 brought forward to now", dry.Out, StringComparison.Ordinal);
        Assert.Equal((0, ""), (run.ExitCode, run.Error));
        Assert.Contains("Sitting 1, source stick, folder 0001, to archive: 1 waiting, 2 refused, 1 given up", run.Out, StringComparison.Ordinal);
        Assert.Contains("3 are put into the queue again and 1 brought forward to now, asked for by R. Example.", run.Out, StringComparison.Ordinal);
        Assert.Contains("Left as it is, since museum is in the configuration no more: 1 waiting", run.Out, StringComparison.Ordinal);
        Assert.Equal(4, await site.DueAsync(Cancellation));
        TestTerminal list = await RunAsync(site, "list", "--destination", "archive");
        Assert.Contains("A person had it put into the queue again; it was not tried since.", list.Out, StringComparison.Ordinal);
        Assert.Contains("last asked for by R. Example, ", list.Out, StringComparison.Ordinal);
    }

    [Fact]
    public async Task Again_asked_twice_tells_that_nothing_is_left_to_ask_for()
    {
        using DeliveriesSite site = await DeliveriesSite.CreateAsync(Cancellation);
        JsonElement first = (await RunAsync(site, "again", "--by", "R. Example", "--destination", "archive", "--sitting", "1", "--json")).Json();
        JsonElement second = (await RunAsync(site, "again", "--by", "S. Example", "--json")).Json();
        TestTerminal third = await RunAsync(site, "again", "--by", "S. Example");

        Assert.Equal((3, 1), (Number(first, "queued_again"), Number(first, "brought_forward")));
        Assert.Equal("R. Example", first.GetProperty("decided_by").GetString());
        Assert.Equal((1, "archive"), (Number(first.GetProperty("sittings")[0], "sitting"), first.GetProperty("sittings")[0].GetProperty("destination").GetString()));
        Assert.Equal((0, 0, 1), (Number(second, "queued_again"), Number(second, "brought_forward"), Number(second, "not_configured")));
        Assert.Contains("There is nothing to send again", third.Out, StringComparison.Ordinal);
        Assert.Equal(0, third.ExitCode);
        Assert.Equal(4, await site.DueAsync(Cancellation));
    }

    [Theory]
    [InlineData("usage", "again")]
    [InlineData("usage", "again", "--by", "rules")]
    [InlineData("usage", "again", "--by", "R. Example", "--sitting", "first")]
    [InlineData("no-such-sitting", "again", "--by", "R. Example", "--sitting", "99")]
    [InlineData("no-such-destination", "again", "--by", "R. Example", "--destination", "archiv")]
    [InlineData("no-such-destination", "again", "--by", "R. Example", "--destination", "museum")]
    [InlineData("no-such-destination", "list", "--destination", "archiv")]
    public async Task A_wrong_command_is_refused_and_changes_nothing(string code, params string[] args)
    {
        using DeliveriesSite site = await DeliveriesSite.CreateAsync(Cancellation);

        TestTerminal run = await RunAsync(site, [.. args, "--json"]);

        Assert.Equal(2, run.ExitCode);
        Assert.Equal(code, run.Json().GetProperty("error").GetProperty("code").GetString());
        Assert.Equal(args.Contains("archiv"), run.Out.Contains("Did you mean archive?", StringComparison.Ordinal));
        Assert.Equal(0, await site.DueAsync(Cancellation));
    }

    [Fact]
    public async Task Without_a_state_none_is_made()
    {
        using DeliveriesSite site = await DeliveriesSite.CreateAsync(Cancellation);
        File.Delete(site.State);
        Assert.Equal(2, (await RunAsync(site, "list")).ExitCode);
        Assert.Equal(2, (await RunAsync(site, "again", "--by", "R. Example")).ExitCode);
        Assert.False(File.Exists(site.State));
    }

    [Theory]
    [InlineData("list")]
    [InlineData("again")]
    public async Task The_help_tells_the_exit_codes(string verb)
    {
        TestTerminal run = await TestTerminal.RunAsync(Cancellation, "deliveries", verb, "--help");
        Assert.Equal(0, run.ExitCode);
        Assert.Contains("4  something is undelivered", run.Out, StringComparison.Ordinal);
    }

    private static int Number(JsonElement element, string name) => element.GetProperty(name).GetInt32();

    private static Task<TestTerminal> RunAsync(DeliveriesSite site, params string[] args) =>
        TestTerminal.RunAsync(Cancellation, ["deliveries", .. args, "--config", site.Config]);
}
