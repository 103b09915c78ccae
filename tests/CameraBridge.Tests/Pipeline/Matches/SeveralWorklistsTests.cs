using CameraBridge.Configuration;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Pipeline;
using CameraBridge.Pipeline.Matches;
using Xunit;

namespace CameraBridge.Tests.Pipeline.Matches;

/// <summary>What several worklists say of the same steps. The rules are the program's own; no outside source.</summary>
public sealed class SeveralWorklistsTests
{
    private static readonly DateTimeOffset Now = new(2026, 11, 25, 12, 0, 0, TimeSpan.Zero);

    [Fact]
    public void The_same_step_of_two_worklists_is_one_and_files()
    {
        Match match = Decide(From("RIS", Steps.Answer()), From("CLINIC", Steps.Answer()));

        Assert.Empty(match.HeldReasons);
        Assert.NotNull(match.StepJson);
        Assert.Contains(match.Evidence, reason => reason.Words == "the worklist CLINIC has it too");
    }

    [Fact]
    public void A_workitem_without_a_step_ID_is_the_step_of_the_same_study()
    {
        DataSet workitem = Steps.Answer(stepId: null);
        workitem.Set(Tags.SOPInstanceUID, "2.25.9");

        Assert.Single(StepUnion.Of([From("RIS", Steps.Answer()), From("UPS", workitem)]));
        Assert.Single(StepUnion.Of([From("UPS", workitem), From("RIS", Steps.Answer())]));

        // With two steps of that study it may be either: it stands for itself.
        Assert.Equal(3, StepUnion.Of([From("RIS", Steps.Answer(), Steps.Answer(stepId: "S0002")), From("UPS", workitem)]).Count);
    }

    [Theory]
    [InlineData(nameof(Tags.PatientID), "patient ID")]
    [InlineData(nameof(Tags.IssuerOfPatientID), "issuer of the patient ID")]
    [InlineData(nameof(Tags.AccessionNumber), "accession number")]
    [InlineData(nameof(Tags.PatientBirthDate), "birth date")]
    public void A_step_of_which_two_worklists_tell_different_patients_is_held(string keyword, string name)
    {
        DataSet one = Steps.Answer();
        one.Set(Tags.PatientBirthDate, "19700101");
        DataSet other = Steps.Answer();
        other.Set(Tags.PatientBirthDate, "19700101");
        other.Set(TagDictionary.Find(keyword)!.Tag, keyword == nameof(Tags.PatientBirthDate) ? "19700102" : "OTHER");

        Match match = Decide(From("RIS", one), From("CLINIC", other));

        Assert.Null(match.StepJson);
        Reason reason = Assert.Single(match.HeldReasons, reason => reason.Code == "worklists-differ");
        Assert.Contains($"the worklists RIS and CLINIC tell it with different values of {name};", reason.Words, StringComparison.Ordinal);
        Assert.DoesNotContain("OTHER", reason.Words, StringComparison.Ordinal);
    }

    [Fact]
    public void A_step_that_is_for_the_right_side_in_one_worklist_and_for_the_left_in_another_is_held()
    {
        Match match = Decide(From("RIS", Steps.ForSide(Steps.Answer(), "24028007")), From("CLINIC", Steps.ForSide(Steps.Answer(), "7771000")));

        Assert.Null(match.StepJson);
        Assert.Contains("different values of side;", Assert.Single(match.HeldReasons, reason => reason.Code == "worklists-differ").Words, StringComparison.Ordinal);
        Assert.NotNull(Decide(From("RIS", Steps.ForSide(Steps.Answer(), "24028007")), From("CLINIC", Steps.Answer())).StepJson);
    }

    [Fact]
    public void What_one_worklist_has_closed_is_closed()
    {
        Match match = Decide(From("RIS", Steps.Answer()), From("CLINIC", Steps.Answer(status: "COMPLETED")));

        Assert.Equal("step-closed", Assert.Single(match.HeldReasons).Code);
    }

    [Fact]
    public void Other_times_and_spellings_are_told_and_the_first_worklist_counts()
    {
        Match match = Decide(From("RIS", Steps.Answer()), From("CLINIC", Steps.Answer(time: "1000", name: "Sample^Ida^Maria")));

        Assert.Empty(match.HeldReasons);
        Assert.Contains(match.Evidence, reason => reason.Code == "times-differ");
        Assert.Contains(match.Evidence, reason => reason.Code == "names-differ");
        Assert.Equal(new TimeOnly(9, 30), WorklistStep.FromJson(match.StepJson!).StartTime);
    }

    [Fact]
    public void Two_steps_of_two_worklists_are_two_and_held()
    {
        Match match = Decide(From("RIS", Steps.Answer()), From("CLINIC", Steps.Answer(study: "2.25.1002", stepId: "S0002", accession: "A0002")));

        Assert.Equal("several-steps", Assert.Single(match.HeldReasons).Code);
        Assert.Equal(2, match.Proposals.Count);
    }

    [Fact]
    public void While_one_worklist_is_down_nothing_is_filed_and_what_the_other_has_is_proposed()
    {
        WorklistAnswers down = From("CLINIC") with { Failure = new Reason("worklist-down", "The worklist CLINIC cannot be reached.") };

        Match match = Decide(From("RIS", Steps.Answer()), down);

        Assert.Null(match.StepJson);
        Assert.Equal("worklist-down", Assert.Single(match.HeldReasons).Code);
        Assert.Single(match.Proposals);
    }

    [Fact]
    public void Where_none_has_a_step_the_sentence_speaks_of_all()
    {
        Match match = Decide(From("RIS"), From("CLINIC"));

        Assert.StartsWith("None of the worklists RIS and CLINIC has a step for the patient ID", Assert.Single(match.HeldReasons).Words, StringComparison.Ordinal);
    }

    [Theory]
    [InlineData("RIS", false)]
    [InlineData("CLINIC", true)]
    public void Each_worklists_own_demands_count_for_its_steps(string worklist, bool fits)
    {
        // A step of another station three days later: too strict for the one, allowed by the other.
        StepCheck check = StepCheck.Of(From(worklist, Steps.Answer(station: "CAM9", date: "20261128")).Steps[0], Circumstances());

        Assert.Equal(fits, check.Fits);
    }

    [Fact]
    public void What_is_kept_with_a_held_sitting_tells_which_worklist_said_what()
    {
        DataSet other = Steps.Answer(patientID: "P0002");
        Match match = Decide(From("RIS", Steps.Answer()), From("CLINIC", other));

        WorklistStep kept = Assert.Single(Inquiry.ReadSteps(match.Inquiry));

        Assert.Equal(("RIS", "CLINIC"), (kept.Worklist, Assert.Single(kept.Twins).Worklist));
        Assert.Contains(StepCheck.Of(kept, Circumstances()).Against, reason => reason.Code == "worklists-differ");
    }

    private static Match Decide(params WorklistAnswers[] answers) => MatchRules.Decide(5, Circumstances(), answers, Now);

    private static MatchCircumstances Circumstances() => Steps.Circumstances(Steps.Identity(Steps.Label("P0001"))) with
    {
        Worklist = "the worklists RIS and CLINIC",
        Worklists = new Dictionary<string, WorklistConfiguration>
        {
            ["RIS"] = Steps.Worklist(1),
            ["CLINIC"] = Steps.Worklist(2) with { RequireStation = false, DaysAround = 7 },
        },
    };

    private static WorklistAnswers From(string worklist, params DataSet[] answers)
    {
        WorklistAnswers told = Steps.Answers(answers);
        return told with { Worklist = worklist, Steps = [.. told.Steps.Select(step => step.From(worklist))] };
    }
}
