using CameraBridge.Commands;
using CameraBridge.Pipeline;
using Xunit;

namespace CameraBridge.Tests.Commands;

public sealed class OnceReplyTests
{
    [Fact]
    public void What_keeps_every_sitting_of_a_stick_is_told_once()
    {
        SittingReply[] sittings = [.. Enumerable.Range(1, 12).Select(number => Sitting(number) with
        {
            Held = number <= 2 ? [new Reason("worklist-down", "The worklist does not answer.")] : number == 3 ? [new Reason("no-label", "No label.")] : [],
            Deliveries = number > 1 ? [new DeliveryReply("archive", 0, 4, "Nothing listens there.")] : [],
        })];

        string said = Said(sittings);

        Assert.Contains("Sittings 1, 2 are held: The worklist does not answer.", said, StringComparison.Ordinal);
        Assert.Contains("Sitting 3 (folder 0003) is held: No label.", said, StringComparison.Ordinal);
        Assert.Contains("44 of sittings 2, 3, 4, 5, 6, 7, 8, 9, 10, 11 and 1 more not delivered to archive: Nothing listens there.", said, StringComparison.Ordinal);
        Assert.Single(said.Split('\n'), line => line.Contains("Nothing listens there.", StringComparison.Ordinal));
    }

    [Fact]
    public void A_pass_that_was_cut_off_says_that_nothing_may_be_wiped_and_what_to_do()
    {
        using StringWriter writer = new();

        new OnceReply { Source = "stick", Folder = "/media/stick", Taken = 30, Trouble = "The spool's disk is full.", ExitCode = ExitCodes.Undelivered }.WriteTable(writer);

        Assert.Contains("The spool's disk is full.", writer.ToString(), StringComparison.Ordinal);
        Assert.Contains("30 files taken, 0 known from before, 0 not taken, the rest not reached: nothing may be wiped.", writer.ToString(), StringComparison.Ordinal);
        Assert.Contains("Run 'once' again when that is mended: it carries on where it stopped.", writer.ToString(), StringComparison.Ordinal);
    }

    [Fact]
    public void A_whole_pass_tells_no_one_to_run_again_what_is_done()
    {
        string said = Said([Sitting(1)]);

        Assert.DoesNotContain("not reached", said, StringComparison.Ordinal);
        Assert.DoesNotContain("carries on", said, StringComparison.Ordinal);
    }

    private static string Said(IReadOnlyList<SittingReply> sittings)
    {
        using StringWriter writer = new();
        new OnceReply { Source = "stick", Folder = "/media/stick", Sittings = sittings, ExitCode = ExitCodes.Undelivered }.WriteTable(writer);
        return writer.ToString();
    }

    private static SittingReply Sitting(int number) => new()
    {
        Sitting = number,
        Source = "stick",
        Folder = FormattableString.Invariant($"{number:0000}"),
        Begins = "folder",
    };
}
