using CameraBridge.Pipeline;
using CameraBridge.Pipeline.Matches;
using Xunit;

namespace CameraBridge.Tests.Pipeline.Matches;

public sealed class EvidenceSentenceTests
{
    private static readonly Capture[] Captures = [Steps.Picture(1), Steps.Picture(2)];

    [Fact]
    public void What_was_filed_by_a_label_is_told_with_its_numbers()
    {
        MatchCircumstances circumstances = Steps.Circumstances(Steps.Identity(Steps.Label("P0001"))) with
        {
            Clock = new CameraClock(new ClockEstimate { OffsetSeconds = 192, DeviationSeconds = 4, Cards = 2 }, []),
        };
        Match match = MatchRules.Decide(5, circumstances, [Steps.Answers(Steps.Answer(time: "1020"))], Steps.Taken);

        Assert.Equal("label read in picture 1, station agrees, modality agrees, clock +3 min 12 s +/- 4 s, one open step for it at 10:20", EvidenceSentence.Of(match, Captures, [Steps.Label("P0001")]));
    }

    [Fact]
    public void What_is_held_says_why()
    {
        Match match = new() { HeldReasons = [new Reason("no-label", "Nothing says whose pictures these are.")], Evidence = [new Reason(CameraClock.Reset, "the camera's clock was reset: it shows 2000")] };

        Assert.Equal("Nothing says whose pictures these are; the camera's clock was reset: it shows 2000", EvidenceSentence.Of(match, Captures, []));
    }

    [Fact]
    public void Where_nothing_is_decided_nothing_is_said() => Assert.Equal("", EvidenceSentence.Of(null, Captures, []));
}
