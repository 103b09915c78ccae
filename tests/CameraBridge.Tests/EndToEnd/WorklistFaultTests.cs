using System.Globalization;
using System.Text;
using CameraBridge.Commands;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Dimse;
using CameraBridge.Pipeline;
using CameraBridge.Tests.Peers;
using Xunit;

namespace CameraBridge.Tests.EndToEnd;

/// <summary>Worklists that misbehave, against the program as it is run: nothing is filed by guesswork meanwhile, and the sitting is filed when they behave again.</summary>
public sealed class WorklistFaultTests
{
    [Fact]
    public async Task A_worklist_that_rejects_is_told_with_the_setting_to_change()
    {
        await using FaultyWorklist worklist = new();
        await using FaultyArchive archive = new();
        using FaultSite site = new FaultSite().Use(worklist.Port, archive.Port, worklistAETitle: "NOBODY");

        AssertWaits(await site.OnceAsync(), "worklist-down", "worklist NOBODY", "does not answer to the called AE title", "change called_ae_title here", "asked again by itself");

        Assert.Equal(0, archive.Requests);
        site.Use(worklist.Port, archive.Port);
        await site.AssertMendedAsync(archive);
    }

    [Fact]
    public async Task A_worklist_that_is_not_there_is_told_and_asked_again()
    {
        await using FaultyWorklist worklist = new();
        await using FaultyArchive archive = new();
        using FaultSite site = new FaultSite().Use(PeerProcess.FreePort(), archive.Port);

        AssertWaits(await site.OnceAsync(), "worklist-down", "worklist FAULTWORKLIST", "nothing listens there", "asked again by itself");

        site.Use(worklist.Port, archive.Port);
        await site.AssertMendedAsync(archive);
    }

    [Fact]
    public async Task A_slow_worklist_is_waited_for_up_to_the_limit_and_then_asked_again()
    {
        await using FaultyWorklist worklist = new();
        await using FaultyArchive archive = new();
        using FaultSite site = new FaultSite().Use(worklist.Port, archive.Port);
        worklist.Slowness = TimeSpan.FromSeconds(30);

        AssertWaits(await site.OnceAsync(), "worklist-down", "worklist FAULTWORKLIST", "did not answer a request", "a longer response limit may be needed", "limit Response, 1 s");

        worklist.Slowness = TimeSpan.FromMilliseconds(500);
        await site.AssertMendedAsync(archive);
    }

    [Fact]
    public async Task An_answer_before_a_failure_is_not_taken_for_all_of_them()
    {
        await using FaultyWorklist worklist = new();
        await using FaultyArchive archive = new();
        using FaultSite site = new FaultSite().Use(worklist.Port, archive.Port);
        // The right step, and then C001 "unable to process" (PS3.4 Table K.4-1): a second step of the patient may be among what did not come.
        worklist.Answers = RightOneThenFailure;

        AssertWaits(await site.OnceAsync(), "worklist-refused", "worklist FAULTWORKLIST", "C001", "unable to process", "look at its log", "asked again by itself");

        worklist.Answers = () => [new FindMatch(FaultSite.Item())];
        await site.AssertMendedAsync(archive);
    }

    [Fact]
    public async Task Answers_with_FF01_are_answers_and_the_log_says_that_keys_were_not_looked_at()
    {
        await using FaultyWorklist worklist = new();
        await using FaultyArchive archive = new();
        using FaultSite site = new FaultSite().Use(worklist.Port, archive.Port);
        worklist.Answers = () => [new FindMatch(FaultSite.Item(), Statuses.PendingWithUnsupportedKeys)];

        Run run = await site.OnceAsync();

        FaultSite.AssertDelivered(run);
        FaultSite.AssertSentence(run.Errors, "FAULTWORKLIST", "FF01");
        await site.AssertMendedAsync(archive);
    }

    /// <summary>Bytes beyond ASCII and no (0008,0005): what is right UTF-8 is read so, other bytes by the peer's setting, and without one they stay to be seen.</summary>
    [Theory]
    [InlineData("UTF-8", "", "Müller^Änne")]
    [InlineData("UTF-8", "ISO_IR 192", "Müller^Änne")]
    [InlineData("ISO-8859-1", "ISO_IR 100", "Müller^Änne")]
    [InlineData("ISO-8859-1", "", "M‹FC›ller^‹C4›nne")]
    public async Task Text_without_its_character_set_is_never_a_question_mark(string encoding, string fallback, string name)
    {
        await using FaultyWorklist worklist = new();
        await using FaultyArchive archive = new();
        using FaultSite site = new FaultSite().Use(worklist.Port, archive.Port, worklistLines: fallback.Length > 0 ? $"  fallback_character_set: {fallback}\n" : "");
        worklist.Answers = () =>
        {
            DataSet item = FaultSite.Item();
            item.SetBytes(Tags.PatientName, Encoding.GetEncoding(encoding).GetBytes("Müller^Änne "));
            return [new FindMatch(item)];
        };

        Run run = await site.OnceAsync();

        FaultSite.AssertDelivered(run);
        Assert.DoesNotContain("ller", run.Errors, StringComparison.Ordinal);
        Assert.All(archive.Kept, kept => Assert.True(kept.DataSet.AsSpan().IndexOf(Encoding.UTF8.GetBytes(name)) >= 0));
        Assert.All(archive.Kept, kept => Assert.True(kept.DataSet.AsSpan().IndexOf("ISO_IR 192"u8) >= 0));
        await site.AssertMendedAsync(archive);
    }

    [Fact]
    public async Task Five_thousand_answers_above_the_limit_hold_the_sitting_and_a_person_files_it()
    {
        await using FaultyWorklist worklist = new();
        await using FaultyArchive archive = new();
        using FaultSite site = new FaultSite().Use(worklist.Port, archive.Port);
        worklist.Answers = () => FaultyWorklist.Many(5_000);

        Run run = await site.OnceAsync();

        Assert.True(run.ExitCode == ExitCodes.Held, run.Output + run.Errors);
        SittingReply held = FaultSite.Sitting(run);
        Assert.Equal(SittingState.Held, held.State);
        Reason reason = Assert.Single(held.Held);
        Assert.Equal("answers-cut-off", reason.Code);
        FaultSite.AssertSentence(reason.Words, "worklist FAULTWORKLIST", "more than 1000 answers", "raise the answer limit");
        Assert.Equal(0, archive.Requests);

        worklist.Answers = () => [new FindMatch(FaultSite.Item())];
        Run assigned = await TestSite.RunAsync(
            ["held", "assign", held.Sitting.ToString(CultureInfo.InvariantCulture), "--accession", FaultSite.AccessionNumber, "--by", "R. Example", "--config", site.Site.ConfigurationFile]);
        Assert.True(assigned.ExitCode == ExitCodes.AllWell, assigned.Output + assigned.Errors);
        await site.AssertMendedAsync(archive);
    }

    [Fact]
    public async Task Five_thousand_answers_within_the_limit_are_searched_for_the_one_that_fits()
    {
        await using FaultyWorklist worklist = new();
        await using FaultyArchive archive = new();
        using FaultSite site = new FaultSite().Use(worklist.Port, archive.Port, worklistLines: "  answer_limit: 6000\n");
        worklist.Answers = () => FaultyWorklist.Many(5_000);

        FaultSite.AssertDelivered(await site.OnceAsync());

        Assert.Equal(1, worklist.Queries);
        await site.AssertMendedAsync(archive);
    }

    private static IEnumerable<FindMatch> RightOneThenFailure()
    {
        yield return new FindMatch(FaultSite.Item());
        throw new RequestFailedException(new HandlerAnswer(0xC001, FaultSite.PatientName));
    }

    /// <summary>The sitting is not filed and not given up: it waits for the worklist, and says so.</summary>
    private static void AssertWaits(Run run, string code, params IReadOnlyList<string> words)
    {
        Assert.True(run.ExitCode == ExitCodes.Held, $"exit code {run.ExitCode}: {run.Output} {run.Errors}");
        SittingReply sitting = FaultSite.Sitting(run);
        Assert.Equal((SittingState.Closed, 0), (sitting.State, sitting.Pictures));
        Reason reason = Assert.Single(sitting.Held);
        Assert.Equal(code, reason.Code);
        FaultSite.AssertSentence(reason.Words, words);
    }
}
