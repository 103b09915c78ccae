using System.Globalization;
using System.Text.Json;
using CameraBridge.Commands;
using CameraBridge.Persistence.Sqlite;
using CameraBridge.Pipeline;
using Xunit;

namespace CameraBridge.Tests.Commands;

/// <summary>What waits for a person: seen, understood, and decided under the person's name.</summary>
public sealed class HeldCommandTests
{
    private static CancellationToken Cancellation => TestContext.Current.CancellationToken;

    [Fact]
    public async Task List_tells_what_is_held_and_why_with_exit_code_3()
    {
        using HeldSite site = await HeldSite.CreateAsync(Cancellation);
        TestTerminal run = await RunAsync(site, "list");
        Assert.Equal(3, run.ExitCode);
        Assert.Contains("no picture shows a label", run.Out, StringComparison.Ordinal);
        Assert.Contains("0005", run.Out, StringComparison.Ordinal);

        JsonElement held = (await RunAsync(site, "list", "--json")).Json().GetProperty("held")[0];
        Assert.Equal(site.Sitting, held.GetProperty("sitting").GetInt64());
        Assert.Equal("no-label", held.GetProperty("held")[0].GetProperty("code").GetString());
    }

    [Fact]
    public async Task Show_numbers_the_proposals_with_what_speaks_for_and_against_each()
    {
        using HeldSite site = await HeldSite.CreateAsync(Cancellation);
        TestTerminal run = await RunAsync(site, "show", Number(site));
        Assert.Equal(0, run.ExitCode);
        Assert.Contains("Proposal 1: A0001 Teeth, overview, 2026-03-17 09:00 at CAM1 (XC)", run.Out, StringComparison.Ordinal);
        Assert.Contains("patient  Marrowdown, Hettie, 4100045", run.Out, StringComparison.Ordinal);
        Assert.Contains("against  planned for another day", run.Out, StringComparison.Ordinal);

        JsonElement json = (await RunAsync(site, "show", Number(site), "--json")).Json();
        Assert.Equal("SPS2", json.GetProperty("proposals")[1].GetProperty("step").GetProperty("step_id").GetString());
        Assert.Equal(JsonValueKind.Object, json.GetProperty("inquiry").ValueKind);
    }

    [Fact]
    public async Task Show_tells_what_was_read_in_the_order_of_the_pictures_however_it_was_read()
    {
        using HeldSite site = await HeldSite.CreateAsync(Cancellation, labels: true);

        string[] read = [.. (await RunAsync(site, "show", Number(site))).Out.Split('\n').Where(line => line.Contains(": label (wristband)", StringComparison.Ordinal))];

        Assert.Equal(["  0005/IMG_0001.JPG: label (wristband): patient 4100045", "  0005/IMG_0002.JPG: label (wristband): patient 4100045"], read.Select(line => line.TrimEnd()));
    }

    [Fact]
    public async Task Show_tells_of_a_proposal_that_another_sitting_was_filed_under_it_since()
    {
        using HeldSite site = await HeldSite.CreateAsync(Cancellation);
        Assert.DoesNotContain("has been filed under it", (await RunAsync(site, "show", Number(site))).Out, StringComparison.Ordinal);

        long other = await site.FileAnotherAsync(Cancellation);

        string said = string.Create(CultureInfo.InvariantCulture, $"sitting {other} has been filed under it");
        Assert.Contains(said, (await RunAsync(site, "show", Number(site))).Out, StringComparison.Ordinal);
        JsonElement proposals = (await RunAsync(site, "show", Number(site), "--json")).Json().GetProperty("proposals");
        Assert.DoesNotContain(proposals[0].GetProperty("against").EnumerateArray(), reason => reason.GetProperty("code").GetString() == "filed-already");
        Assert.Contains(proposals[1].GetProperty("against").EnumerateArray(), reason => reason.GetProperty("code").GetString() == "filed-already");
    }

    [Theory]
    [InlineData("--step", "SPS1")]
    [InlineData("--accession", "A0001")]
    [InlineData("--proposal", "1")]
    public async Task Assign_files_the_sitting_and_records_who_decided(string option, string value)
    {
        using HeldSite site = await HeldSite.CreateAsync(Cancellation);
        TestTerminal run = await RunAsync(site, "assign", Number(site), option, value, "--by", "R. Example");
        Assert.Equal("", run.Error);
        Assert.Equal(0, run.ExitCode);
        Assert.Contains("A0001", run.Out, StringComparison.Ordinal);
        Assert.Contains("Marrowdown, Hettie", run.Out, StringComparison.Ordinal);

        Match match = (await site.MatchAsync(Cancellation))!;
        Assert.Equal("R. Example", match.DecidedBy);
        Assert.Contains("A0001", match.StepJson, StringComparison.Ordinal);
        Assert.Empty(match.HeldReasons);
        Assert.Equal(0, (await RunAsync(site, "list")).ExitCode);
    }

    [Fact]
    public async Task A_dry_run_tells_what_would_happen_and_changes_nothing()
    {
        using HeldSite site = await HeldSite.CreateAsync(Cancellation);
        TestTerminal run = await RunAsync(site, "assign", Number(site), "--step", "SPS1", "--by", "R. Example", "--dry-run");
        Assert.Equal(0, run.ExitCode);
        Assert.Contains("Nothing was changed", run.Out, StringComparison.Ordinal);
        Assert.Null((await site.MatchAsync(Cancellation))!.StepJson);
    }

    [Fact]
    public async Task Evidence_against_a_step_must_be_overruled_in_words_which_are_recorded()
    {
        using HeldSite site = await HeldSite.CreateAsync(Cancellation);
        TestTerminal refused = await RunAsync(site, "assign", Number(site), "--proposal", "2", "--by", "R. Example", "--json");
        Assert.Equal(3, refused.ExitCode);
        Assert.Equal("against-evidence", refused.Json().GetProperty("error").GetProperty("code").GetString());
        Assert.Contains("planned for another day", refused.Json().GetProperty("error").GetProperty("message").GetString(), StringComparison.Ordinal);
        Assert.Null((await site.MatchAsync(Cancellation))!.StepJson);

        TestTerminal run = await RunAsync(site, "assign", Number(site), "--proposal", "2", "--by", "R. Example", "--against-evidence", "came a day late");
        Assert.Equal(0, run.ExitCode);
        Match match = (await site.MatchAsync(Cancellation))!;
        Assert.Contains(match.Evidence, reason => reason is { Code: "overruled", Words: "came a day late" });
        Assert.Contains(match.Evidence, reason => reason is { Code: "overruled-day", Words: "planned for another day" });
    }

    [Fact]
    public async Task What_a_person_says_of_pictures_is_kept_as_cues_with_the_decision()
    {
        using HeldSite site = await HeldSite.CreateAsync(Cancellation);
        await site.FileAsync(withObject: true, Cancellation);

        TestTerminal refused = await RunAsync(site, "assign", Number(site), "--step", "SPS1", "--by", "R. Example", "--say", "side=up");
        TestTerminal made = await RunAsync(site, "assign", Number(site), "--step", "SPS1", "--by", "R. Example", "--say", "side=L", "--for", "IMG_0001.JPG");
        TestTerminal run = await RunAsync(
            site, "assign", Number(site), "--step", "SPS1", "--by", "R. Example",
            "--say", "side=L", "--say", "optic=retina", "--say", "with=dilated", "--say", "with=red-free", "--say", "lens_power=-3", "--for", "IMG_0002.JPG");

        Assert.Equal(ExitCodes.UsageOrConfiguration, refused.ExitCode);
        Assert.Contains("--say side: is none of the choices. Write one of R, L, B.", refused.Error, StringComparison.Ordinal);
        Assert.Contains("has no picture 'IMG_0001.JPG' that is no object yet", made.Error, StringComparison.Ordinal);
        Assert.Equal(ExitCodes.AllWell, run.ExitCode);
        await using SqlitePipelineDatabase database = await SqlitePipelineDatabase.OpenAsync(site.State, TimeProvider.System, Cancellation);
        Cue cue = Assert.Single(await database.GetCuesOfSittingAsync(site.Sitting, Cancellation));
        Assert.Equal((CueKind.Decision, "L", "retina", "-3"), (cue.Kind, cue.Side, cue.Optic, cue.Values.One("lens_power")));
        Assert.Equal(["dilated", "red-free"], cue.Values.All("with"));
        Assert.Contains((await site.MatchAsync(Cancellation))!.Evidence, reason => reason.Code == "said");
    }

    [Theory]
    [InlineData(2, "usage", "--step", "SPS1")]
    [InlineData(2, "usage", "--by", "R. Example")]
    [InlineData(2, "usage", "--step", "SPS1", "--accession", "A0001", "--by", "R. Example")]
    [InlineData(2, "usage", "--step", "SPS1", "--by", " ")]
    [InlineData(2, "usage", "--step", "SPS1", "--by", "rules")]
    [InlineData(2, "no-such-step", "--proposal", "3", "--by", "R. Example")]
    public async Task A_wrong_assignment_is_refused_and_changes_nothing(int exitCode, string code, params string[] args)
    {
        using HeldSite site = await HeldSite.CreateAsync(Cancellation);
        TestTerminal run = await RunAsync(site, ["assign", Number(site), "--json", .. args]);
        Assert.Equal(exitCode, run.ExitCode);
        Assert.Equal(code, run.Json().GetProperty("error").GetProperty("code").GetString());
        Assert.Null((await site.MatchAsync(Cancellation))!.StepJson);
    }

    [Theory]
    [InlineData(true, "--step", "SPS1")]
    [InlineData(false, "--accession", "A0001")]
    public async Task Held_captures_of_a_filed_sitting_are_tried_again_under_the_same_order(bool withObject, string option, string value)
    {
        using HeldSite site = await HeldSite.CreateAsync(Cancellation);
        await site.FileAsync(withObject, Cancellation);
        int held = withObject ? 1 : 2;
        Assert.Contains("this same order tries the held captures again", (await RunAsync(site, "show", Number(site))).Out, StringComparison.Ordinal);

        TestTerminal dry = await RunAsync(site, "assign", Number(site), option, value, "--by", "R. Example", "--dry-run");
        Assert.Equal(3, (await RunAsync(site, "list")).ExitCode);
        TestTerminal run = await RunAsync(site, "assign", Number(site), option, value, "--by", "R. Example");

        Assert.Equal(0, dry.ExitCode);
        Assert.Equal("", run.Error);
        Assert.Equal(0, run.ExitCode);
        Assert.Contains($"{held} held captures will be tried again under", run.Out, StringComparison.Ordinal);
        Match match = (await site.MatchAsync(Cancellation))!;
        Assert.Equal("R. Example", match.DecidedBy);
        Assert.Equal(["by-label", "again"], match.Evidence.Select(reason => reason.Code));
        Assert.Equal(0, (await RunAsync(site, "list")).ExitCode);
        Assert.Equal(held, await site.MakeAsync(Cancellation));
    }

    [Theory]
    [InlineData(true, "--step", "SPS2")]
    [InlineData(false, "--accession", "A0002")]
    [InlineData(true, "--proposal", "1")]
    public async Task A_filed_sitting_is_filed_under_no_other_order(bool withObject, string option, string value)
    {
        using HeldSite site = await HeldSite.CreateAsync(Cancellation);
        await site.FileAsync(withObject, Cancellation);

        TestTerminal run = await RunAsync(site, "assign", Number(site), option, value, "--by", "R. Example", "--json");

        JsonElement error = run.Json().GetProperty("error");
        Assert.Equal(3, run.ExitCode);
        Assert.Equal("filed-already", error.GetProperty("code").GetString());
        Assert.Contains("already filed under accession number A0001, step SPS1", error.GetProperty("message").GetString(), StringComparison.Ordinal);
        Assert.Contains("correct it in the archive by your site's policy", error.GetProperty("message").GetString(), StringComparison.Ordinal);
        Assert.DoesNotContain("Marrowdown", run.Out, StringComparison.Ordinal);
        Assert.Equal(3, (await RunAsync(site, "list")).ExitCode);
    }

    [Fact]
    public async Task A_sitting_of_which_nothing_is_held_tells_where_it_is_filed()
    {
        using HeldSite site = await HeldSite.CreateAsync(Cancellation);
        await RunAsync(site, "assign", Number(site), "--step", "SPS1", "--by", "R. Example");
        TestTerminal run = await RunAsync(site, "assign", Number(site), "--step", "SPS2", "--by", "R. Example");
        Assert.Equal(2, run.ExitCode);
        Assert.Contains("is already filed under accession number A0001, step SPS1", run.Error, StringComparison.Ordinal);
    }

    [Fact]
    public async Task A_sitting_that_is_not_held_is_told_apart()
    {
        using HeldSite site = await HeldSite.CreateAsync(Cancellation);
        long filed = await site.FileAnotherAsync(Cancellation);
        TestTerminal told = await RunAsync(site, "show", filed.ToString(CultureInfo.InvariantCulture));
        Assert.Equal(0, told.ExitCode);
        Assert.Contains("A0002", told.Out, StringComparison.Ordinal);
        Assert.DoesNotContain("held assign", told.Out, StringComparison.Ordinal);
        Assert.Equal("", (await RunAsync(site, "show", filed.ToString(CultureInfo.InvariantCulture), "--json")).Json().GetProperty("why").GetString());

        TestTerminal run = await RunAsync(site, "show", "999");
        Assert.Equal(2, run.ExitCode);
        Assert.Contains("Sitting 999 is not held", run.Error, StringComparison.Ordinal);
    }

    [Fact]
    public async Task Without_a_state_none_is_made()
    {
        using HeldSite site = await HeldSite.CreateAsync(Cancellation);
        File.Delete(site.State);
        TestTerminal run = await RunAsync(site, "list");
        Assert.Equal(2, run.ExitCode);
        Assert.Contains("There is no state", run.Error, StringComparison.Ordinal);
        Assert.False(File.Exists(site.State));
    }

    private static string Number(HeldSite site) => site.Sitting.ToString(CultureInfo.InvariantCulture);

    private static Task<TestTerminal> RunAsync(HeldSite site, params string[] args) =>
        TestTerminal.RunAsync(Cancellation, ["held", .. args, "--config", site.Config]);
}
