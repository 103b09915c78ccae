using CameraBridge.Dicom.Data;
using CameraBridge.Pipeline;
using CameraBridge.Pipeline.Matches;
using Xunit;

namespace CameraBridge.Tests.Pipeline.Matches;

/// <summary>The rules by themselves: evidence and answers in, a match or reasons out. Reasons and evidence never name a patient.</summary>
public sealed class MatchRulesTests
{
    private static readonly DateTimeOffset Now = new(2026, 11, 25, 12, 0, 0, TimeSpan.Zero);

    private static readonly Identity ByLabel = Steps.Identity(Steps.Label("P0001"));

    [Fact]
    public void Pictures_that_were_taken_more_than_a_day_apart_are_held_though_a_step_lies_between()
    {
        Match match = MatchRules.Decide(5, Steps.Circumstances(ByLabel) with { AreTimesApart = true }, [Steps.Answers(Steps.Answer())], Now);

        Assert.Null(match.StepJson);
        Assert.Equal("times-apart", Assert.Single(match.HeldReasons).Code);
    }

    [Fact]
    public void The_one_open_step_that_agrees_is_the_match()
    {
        Match match = Decide(ByLabel, Steps.Answer());

        Assert.Empty(match.HeldReasons);
        Assert.Equal("S0001", WorklistStep.FromJson(match.StepJson!).ScheduledProcedureStepID);
        Assert.Equal("rules", match.DecidedBy);
        Assert.Equal(["by-label", "patient", "station", "modality", "day", "only-step"], match.Evidence.Select(reason => reason.Code));
        Assert.DoesNotContain(match.Evidence, reason => reason.Words.Contains("P0001", StringComparison.Ordinal));
    }

    [Fact]
    public void A_cue_that_says_the_other_side_than_the_order_holds()
    {
        Match right = DecideSides(["R"], "24028007");
        Match left = DecideSides(["L"], "24028007");
        Match some = DecideSides(["L", "R"], "24028007");

        Assert.Contains(right.Evidence, reason => reason.Code == "side");
        Assert.All((Match[])[left, some], match =>
        {
            Assert.Null(match.StepJson);
            Assert.Equal("The one step that was found does not fit: it is for the right side, and a cue says another for some of the pictures.", Assert.Single(match.HeldReasons).Words);
        });
    }

    [Theory]
    [InlineData("51440002", "L", "R")]
    [InlineData(null, "L")]
    [InlineData("24028007")]
    public void An_order_for_both_sides_or_none_and_pictures_without_a_side_contradict_nothing(string? ordered, params string[] said) =>
        Assert.NotNull(DecideSides(said, ordered).StepJson);

    [Fact]
    public void Of_a_patients_two_steps_the_one_for_the_side_that_cues_say_is_the_match()
    {
        Match match = MatchRules.Decide(
            5,
            Steps.Circumstances(ByLabel) with { Sides = ["L"] },
            [Steps.Answers(Steps.ForSide(Steps.Answer(), "24028007"), Steps.ForSide(Steps.Answer(accession: "A0002", stepId: "S0002", study: "2.25.1002"), "7771000"))],
            Now);

        Assert.Equal("S0002", WorklistStep.FromJson(match.StepJson!).ScheduledProcedureStepID);
    }

    [Fact]
    public void Proposals_of_a_sitting_without_a_label_come_in_the_order_of_their_probability_and_nothing_is_filed()
    {
        Match match = Infer(null, [], (Steps.Answer(), 0.2), (Steps.Answer(stepId: "S2", patientID: "P0002", time: "1100"), 0.79));

        Assert.Null(match.StepJson);
        Assert.Equal([0.79, 0.2], match.Proposals.Select(proposal => proposal.Probability));
        Assert.Equal("S2", WorklistStep.FromJson(match.Proposals[0].StepJson).ScheduledProcedureStepID);
        Assert.Equal("by-inference", match.Proposals[0].For[0].Code);
        Assert.Equal("none-of-them", Assert.Single(match.Evidence).Code);
    }

    [Fact]
    public void Where_the_site_says_so_the_likeliest_step_is_filed_from_the_threshold_on()
    {
        Match match = Infer(0.9, [], (Steps.Answer(), 0.9), (Steps.Answer(stepId: "S2", patientID: "P0002"), 0.05));

        Assert.Equal("S0001", WorklistStep.FromJson(match.StepJson!).ScheduledProcedureStepID);
        Assert.Equal(["by-inference", "station", "modality", "day"], match.Evidence.Select(reason => reason.Code));
        Assert.Empty(match.HeldReasons);
        Assert.Null(Infer(0.9, [], (Steps.Answer(), 0.899)).StepJson);
    }

    [Theory]
    [InlineData("CAM2", "20261125", null)]
    [InlineData("CAM1", "20261128", null)]
    [InlineData("CAM1", "20261125", "COMPLETED")]
    public void A_likely_step_that_a_rule_speaks_against_is_not_filed(string station, string date, string? status)
    {
        Match match = Infer(0.6, [], (Steps.Answer(station: station, date: date, status: status), 0.99));

        Assert.Null(match.StepJson);
        Assert.Equal("no-label", Assert.Single(match.HeldReasons).Code);
    }

    [Fact]
    public void A_sitting_with_something_else_the_matter_is_never_filed_by_inference()
    {
        Cue unreadable = new() { CaptureId = 1, Kind = CueKind.Unreadable };

        Assert.Null(Infer(0.6, [unreadable], (Steps.Answer(), 0.99)).StepJson);
        Assert.Null(MatchRules.Decide(
            5,
            Steps.Circumstances(Steps.Identity()),
            [Steps.Answers(Steps.Answer()) with { CutOff = true }],
            Now,
            new Inferred(Likelihoods((Steps.Answer(), 0.99)), new Reason("none-of-them", ""), 0.6)).StepJson);
    }

    private static Match Infer(double? fileFrom, Cue[] cues, params (DataSet Answer, double Probability)[] steps) => MatchRules.Decide(
        5,
        Steps.Circumstances(Steps.Identity(cues)),
        [Steps.Answers([.. steps.Select(step => step.Answer)])],
        Now,
        new Inferred(Likelihoods(steps), new Reason("none-of-them", "that they belong to no step"), fileFrom));

    private static Dictionary<(string?, string?, string?, string?, string?), Likelihood> Likelihoods(params (DataSet Answer, double Probability)[] steps) =>
        steps.ToDictionary(step => WorklistStep.Of(step.Answer).Single().Key, step => new Likelihood(step.Probability, new Reason("by-inference", "in words")));

    [Fact]
    public void Other_steps_of_the_patient_that_do_not_fit_change_nothing()
    {
        Match match = Decide(
            ByLabel,
            Steps.Answer(stepId: "S2", date: "20261124", station: "CT1"),
            Steps.Answer(),
            Steps.Answer(stepId: "S3", status: "COMPLETED"),
            Steps.Answer(stepId: "S4", date: "20270103"));

        Assert.Equal("S0001", WorklistStep.FromJson(match.StepJson!).ScheduledProcedureStepID);
    }

    [Theory]
    // A server that ignores the Patient ID answers with everybody; nobody else is taken.
    [InlineData("P0002", "A0001", "TESTVALE", "CAM1", "ES", "20261125", null, "patient-unknown")]
    // PS3.5 section 6.2: spaces around an LO mean nothing; leading zeros and case do.
    [InlineData("00P0001", "A0001", "TESTVALE", "CAM1", "ES", "20261125", null, "patient-unknown")]
    [InlineData("p0001", "A0001", "TESTVALE", "CAM1", "ES", "20261125", null, "patient-unknown")]
    [InlineData(null, "A0001", "TESTVALE", "CAM1", "ES", "20261125", null, "patient-unknown")]
    [InlineData("P0001", "A0001", "TESTVALE", "CAM2", "ES", "20261125", null, "other-station")]
    [InlineData("P0001", "A0001", "TESTVALE", "cam1", "ES", "20261125", null, "other-station")]
    [InlineData("P0001", "A0001", "TESTVALE", null, "ES", "20261125", null, "other-station")]
    [InlineData("P0001", "A0001", "TESTVALE", "CAM1", "ES", "20261127", null, "other-day")]
    [InlineData("P0001", "A0001", "TESTVALE", "CAM1", "ES", "20261123", null, "other-day")]
    [InlineData("P0001", "A0001", "TESTVALE", "CAM1", "ES", null, null, "other-day")]
    [InlineData("P0001", "A0001", "TESTVALE", "CAM1", "ES", "20261125", "COMPLETED", "step-closed")]
    [InlineData("P0001", "A0001", "TESTVALE", "CAM1", "ES", "20261125", "DISCONTINUED", "step-closed")]
    [InlineData("P0001", "A0001", "TESTVALE", "CAM1", "ES", "20261125", "FERTIG", "step-status-unknown")]
    public void A_step_that_does_not_agree_is_a_proposal(
        string? patientID, string accession, string issuer, string? station, string modality, string? date, string? status, string code)
    {
        Match match = Decide(
            ByLabel,
            Steps.Answer(patientID: patientID, accession: accession, issuer: issuer, station: station, modality: modality, date: date, status: status));

        Assert.Null(match.StepJson);
        Assert.Equal(code, Assert.Single(match.HeldReasons).Code);
        Assert.DoesNotContain(match.HeldReasons, reason => reason.Words.Contains("P0001", StringComparison.Ordinal));
        Assert.Single(match.Proposals);
    }

    [Theory]
    [InlineData("SCHEDULED")]
    [InlineData("ARRIVED")]
    [InlineData("READY")]
    [InlineData("STARTED")]
    [InlineData("DEPARTED")]
    public void An_open_status_fits(string status) => Assert.NotNull(Decide(ByLabel, Steps.Answer(status: status)).StepJson);

    [Theory]
    // Within a day on either side, over midnight too: the sitting is at 09:00.
    [InlineData("20261124")]
    [InlineData("20261126")]
    public void A_neighbouring_day_fits(string date) => Assert.NotNull(Decide(ByLabel, Steps.Answer(date: date)).StepJson);

    [Fact]
    public void A_sitting_over_midnight_fits_the_days_of_its_first_and_last_picture()
    {
        MatchCircumstances circumstances = Steps.Circumstances(ByLabel) with
        {
            First = new DateTimeOffset(2026, 11, 25, 23, 58, 0, TimeSpan.FromHours(1)),
            Last = new DateTimeOffset(2026, 11, 26, 0, 3, 0, TimeSpan.FromHours(1)),
            DaysAround = 0,
        };

        Assert.NotNull(MatchRules.Decide(5, circumstances, [Steps.Answers(Steps.Answer(date: "20261125"))], Now).StepJson);
        Assert.NotNull(MatchRules.Decide(5, circumstances, [Steps.Answers(Steps.Answer(date: "20261126"))], Now).StepJson);
        Assert.Null(MatchRules.Decide(5, circumstances, [Steps.Answers(Steps.Answer(date: "20261127"))], Now).StepJson);
    }

    [Fact]
    public void One_of_several_stations_of_a_step_is_enough() =>
        Assert.NotNull(Decide(ByLabel, Steps.Answer(station: "CAM3\\CAM1")).StepJson);

    [Fact]
    public void Where_station_and_modality_are_not_required_they_are_only_noted()
    {
        MatchCircumstances circumstances = Steps.Circumstances(ByLabel) with { RequireStation = false };
        Match match = MatchRules.Decide(5, circumstances, [Steps.Answers(Steps.Answer(station: "CAM2", modality: "XC"))], Now);

        Assert.NotNull(match.StepJson);
        Assert.Contains(match.Evidence, reason => reason.Code == "other-station" && reason.Words.StartsWith("note:", StringComparison.Ordinal));
        Assert.Contains(match.Evidence, reason => reason.Code == "other-modality");

        circumstances = circumstances with { RequireModality = true };
        Assert.Equal("other-modality", Assert.Single(MatchRules.Decide(5, circumstances, [Steps.Answers(Steps.Answer(modality: "XC"))], Now).HeldReasons).Code);
    }

    [Fact]
    public void Several_steps_that_fit_are_not_chosen_between()
    {
        Match match = Decide(ByLabel, Steps.Answer(stepId: "S1", time: "1500"), Steps.Answer(stepId: "S2", time: "0915"));

        Assert.Equal("several-steps", Assert.Single(match.HeldReasons).Code);
        Assert.Equal(["S2", "S1"], match.Proposals.Select(proposal => WorklistStep.FromJson(proposal.StepJson).ScheduledProcedureStepID));
    }

    [Fact]
    public void The_same_step_answered_twice_is_one() => Assert.NotNull(Decide(ByLabel, Steps.Answer(), Steps.Answer()).StepJson);

    [Fact]
    public void An_id_that_two_issuers_use_is_not_enough()
    {
        Match match = Decide(ByLabel, Steps.Answer(issuer: "EAST", stepId: "S1"), Steps.Answer(issuer: "WEST", stepId: "S2"));

        Assert.Equal("several-patients", Assert.Single(match.HeldReasons).Code);
    }

    [Fact]
    public void The_issuer_that_was_read_must_be_the_steps()
    {
        Identity identity = Steps.Identity(Steps.Label("P0001", "WEST"));

        Assert.Equal("issuer-differs", Assert.Single(Decide(identity, Steps.Answer(issuer: "EAST")).HeldReasons).Code);
        Assert.NotNull(Decide(identity, Steps.Answer(issuer: "EAST", stepId: "S1"), Steps.Answer(issuer: "WEST", stepId: "S2")).StepJson);
        Assert.NotNull(Decide(identity, Steps.Answer(issuer: null)).StepJson);
    }

    [Fact]
    public void An_accession_number_alone_is_enough_and_must_agree()
    {
        Identity identity = Steps.Identity(Steps.Label(null, accession: "A0001"));

        Assert.NotNull(Decide(identity, Steps.Answer()).StepJson);
        Assert.Equal("order-unknown", Assert.Single(Decide(identity, Steps.Answer(accession: "A0002")).HeldReasons).Code);
    }

    [Fact]
    public void A_patient_and_the_order_of_another_are_held()
    {
        Identity identity = Steps.Identity(Steps.Label("P0001", accession: "A0001"));

        Assert.Equal(
            "order-of-another",
            Assert.Single(Decide(identity, Steps.Answer(accession: "A7"), Steps.Answer(patientID: "P0007", stepId: "S7")).HeldReasons).Code);
    }

    [Theory]
    [InlineData(null, "P0001", "answer-incomplete")]
    [InlineData("", "P0001", "answer-incomplete")]
    public void An_answer_without_a_study_cannot_be_used_and_the_worklist_is_named(string? study, string patientID, string code)
    {
        Match match = Decide(ByLabel, Steps.Answer(study: study, patientID: patientID));

        Reason reason = Assert.Single(match.HeldReasons);
        Assert.Equal(code, reason.Code);
        Assert.Contains("the worklist RIS", reason.Words, StringComparison.Ordinal);
    }

    [Fact]
    public void An_accession_number_whose_step_has_no_patient_id_is_held() =>
        Assert.Equal("answer-incomplete", Assert.Single(Decide(Steps.Identity(Steps.Label(null, accession: "A0001")), Steps.Answer(patientID: null)).HeldReasons).Code);

    [Fact]
    public void Answers_that_were_cut_off_hold_even_the_one_that_fits()
    {
        Match match = MatchRules.Decide(5, Steps.Circumstances(ByLabel), [Steps.Answers(Steps.Answer()) with { CutOff = true }], Now);

        Assert.Null(match.StepJson);
        Assert.Equal("answers-cut-off", Assert.Single(match.HeldReasons).Code);
    }

    [Fact]
    public void A_worklist_that_is_down_decides_nothing_and_accuses_nobody()
    {
        var down = new WorklistAnswers(new WorklistQuestion { PatientID = "P0001" }, []) { Failure = new Reason("worklist-down", "The worklist is down.") };
        Match match = MatchRules.Decide(5, Steps.Circumstances(ByLabel), [down], Now);

        Assert.Equal(new Reason("worklist-down", "The worklist is down. It is asked again by itself."), Assert.Single(match.HeldReasons));
    }

    [Fact]
    public void Without_a_label_nothing_is_matched_and_the_stations_steps_are_proposed_nearest_first()
    {
        Match match = Decide(
            Steps.Identity(),
            Steps.Answer(patientID: "P3", stepId: "S3", date: "20261126", time: "0900"),
            Steps.Answer(patientID: "P2", stepId: "S2", time: "1400"),
            Steps.Answer(patientID: "P4", stepId: "S4", station: "CAM2", time: "0905"),
            Steps.Answer(patientID: "P1", stepId: "S1", time: "0855"),
            Steps.Answer(patientID: "P5", stepId: "S5", time: "0900", status: "COMPLETED"));

        Assert.Null(match.StepJson);
        Assert.Equal("no-label", Assert.Single(match.HeldReasons).Code);
        Assert.Equal(["S1", "S2", "S3", "S4", "S5"], match.Proposals.Select(proposal => WorklistStep.FromJson(proposal.StepJson).ScheduledProcedureStepID));
        Assert.Equal("step-closed", Assert.Single(match.Proposals[4].Against).Code);
    }

    [Fact]
    public void A_single_step_of_the_station_is_still_not_guessed() => Assert.Null(Decide(Steps.Identity(), Steps.Answer()).StepJson);

    [Fact]
    public void Late_pictures_get_the_step_of_the_sitting_before_as_their_first_proposal()
    {
        DataSet before = Steps.Answer(patientID: "P2", stepId: "S2", time: "0700");
        MatchCircumstances circumstances = Steps.Circumstances(Identity.Of(Steps.Sitting("late"), [Steps.Picture(1)], [])) with
        {
            StepBefore = WorklistStep.Of(before).First(),
        };
        Match match = MatchRules.Decide(5, circumstances, [Steps.Answers(Steps.Answer(time: "0900"), before)], Now);

        Assert.Equal("S2", WorklistStep.FromJson(match.Proposals[0].StepJson).ScheduledProcedureStepID);
        Assert.Contains(match.Proposals[0].For, reason => reason.Code == "same-as-before");
    }

    [Fact]
    public void Two_patients_in_one_sitting_are_held_with_the_steps_of_both()
    {
        Match match = Decide(Steps.Identity(Steps.Label("P0001"), Steps.Label("P0002", capture: 2)), Steps.Answer(), Steps.Answer(patientID: "P0002", stepId: "S2"));

        Assert.Equal("two-patients", Assert.Single(match.HeldReasons, reason => reason.Code == "two-patients").Code);
        Assert.Equal(2, match.Proposals.Count);
        Assert.Null(match.StepJson);
    }

    [Fact]
    public void What_was_asked_and_answered_is_kept_and_can_be_read_again()
    {
        DataSet[] answers = [.. Enumerable.Range(0, 200).Select(i => Steps.Answer(patientID: $"Q{i}", stepId: $"T{i}")), Steps.Answer()];
        Match match = Decide(ByLabel, answers);

        IReadOnlyList<WorklistStep> kept = Inquiry.ReadSteps(match.Inquiry);
        Assert.Equal(Inquiry.MostAnswers, kept.Count);
        Assert.Contains(kept, step => step.ScheduledProcedureStepID == "S0001");
        Assert.Contains("\"answers_total\":201", match.Inquiry, StringComparison.Ordinal);
        Assert.Contains("\"00400100\"", match.Inquiry, StringComparison.Ordinal);
        Assert.Empty(Inquiry.ReadSteps("{}"));
        Assert.Empty(Inquiry.ReadSteps(null));
    }

    [Fact]
    public void Questions_are_broad_without_a_name_and_by_id_with_one()
    {
        var broad = new WorklistQuestion { StationAETitle = "CAM1" };

        Assert.Equal([broad], MatchRules.FirstQuestions(Steps.Identity(), broad));
        Assert.Equal([new WorklistQuestion { PatientID = "P0001" }], MatchRules.FirstQuestions(Steps.Identity(Steps.Label("P0001", accession: "A1")), broad));
        Assert.Equal([new WorklistQuestion { AccessionNumber = "A1" }], MatchRules.FirstQuestions(Steps.Identity(Steps.Label(null, accession: "A1")), broad));
        Assert.Equal([broad], MatchRules.FirstQuestions(Steps.Identity(Steps.Label("P*")), broad));
    }

    [Fact]
    public void An_unknown_id_is_followed_by_the_order_and_the_broad_question_for_proposals()
    {
        var broad = new WorklistQuestion { StationAETitle = "CAM1" };
        Identity identity = Steps.Identity(Steps.Label("P0001", accession: "A1"));

        Assert.Equal(
            [new WorklistQuestion { AccessionNumber = "A1" }, broad],
            MatchRules.FurtherQuestions(identity, broad, [Steps.Answers()]));
        Assert.Empty(MatchRules.FurtherQuestions(identity, broad, [Steps.Answers(Steps.Answer())]));
    }

    private static Match DecideSides(string[] said, string? ordered) =>
        MatchRules.Decide(5, Steps.Circumstances(ByLabel) with { Sides = said }, [Steps.Answers(Steps.ForSide(Steps.Answer(), ordered))], Now);

    private static Match Decide(Identity identity, params DataSet[] answers) =>
        MatchRules.Decide(5, Steps.Circumstances(identity), [Steps.Answers(answers)], Now);
}
