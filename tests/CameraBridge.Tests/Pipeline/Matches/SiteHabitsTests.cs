using CameraBridge.Configuration;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Persistence;
using CameraBridge.Pipeline;
using CameraBridge.Pipeline.Matches;
using CameraBridge.Pipeline.Matches.Clocks;
using CameraBridge.Pipeline.Matches.Joint;
using CameraBridge.Pipeline.Objects.Optics;
using Xunit;

namespace CameraBridge.Tests.Pipeline.Matches;

/// <summary>What a site's own decisions tell of its habits.</summary>
public sealed class SiteHabitsTests() : MatchesTests(FirstDay)
{
    private static readonly DateTimeOffset FirstDay = new(2026, 9, 1, 9, 0, 0, TimeSpan.Zero);

    private int _number;

    [Fact]
    public async Task Without_a_history_the_habits_are_those_of_any_clinic()
    {
        Habits habits = await LearnAsync();

        Assert.Equal(new JointParameters().NoShow, habits.Parameters.NoShow, 1e-9);
        Assert.Equal(new JointParameters().WalkInsAnHour, habits.Parameters.WalkInsAnHour, 1e-9);
        Assert.Empty(habits.Pictures);
    }

    /// <summary>
    /// By hand, of ten days: on each four steps are asked for, of which two bring a sitting (20 of 40, beside a prior of 0.12 that weighs 20 steps), and one sitting is never
    /// assigned in the two hours that are looked at (10 in 20 hours, beside a prior of 0.15 an hour that weighs 20 hours). Sittings are 12 minutes late.
    /// </summary>
    [Fact]
    public async Task Steps_that_bring_nothing_and_sittings_that_nobody_assigns_are_counted_once_they_are_two_weeks_old()
    {
        for (int day = 0; day < 10; day++)
        {
            DateTimeOffset nine = FirstDay.AddDays(day);
            Clock.SetUtcNow(nine.AddHours(2));
            DataSet[] asked = [.. Enumerable.Range(0, 4).Select(i => Answer(nine.AddMinutes(30 * i)))];
            await SittingAsync(nine.AddMinutes(12), asked[0], asked);
            await SittingAsync(nine.AddMinutes(30), null, asked);
            await SittingAsync(nine.AddMinutes(72), asked[2], asked);
        }

        Assert.Equal(0.12, (await LearnAsync()).Parameters.NoShow, 1e-9);

        Clock.Advance(TimeSpan.FromDays(20));
        Habits habits = await LearnAsync();

        Assert.Equal((20 + (0.12 * 20)) / (40 + 20), habits.Parameters.NoShow, 1e-9);
        Assert.Equal((10 + (0.15 * 20)) / (20 + 20), habits.Parameters.WalkInsAnHour, 1e-9);
        Assert.InRange(habits.Parameters.Lateness.Mode, 8, 14);
        Assert.Equal(1, habits.Pictures["Otoscopy"], 1e-9);
        Assert.InRange(habits.Parameters.Clocks.Right, 0.88, 0.9);
    }

    [Fact]
    public void What_was_asked_for_one_patient_tells_nothing_of_the_others_who_did_not_come()
    {
        DataSet answer = Answer(FirstDay);
        string broad = Inquiry.Write("RIS", [new WorklistAnswers(new WorklistQuestion { StationAETitle = "CAM1" }, [.. WorklistStep.Of(answer)]) { Total = 1 }], []);
        string narrow = Inquiry.Write("RIS", [new WorklistAnswers(new WorklistQuestion { PatientID = "P0001" }, [.. WorklistStep.Of(answer)]) { Total = 1 }], []);
        string cut = Inquiry.Write("RIS", [new WorklistAnswers(new WorklistQuestion(), [.. WorklistStep.Of(answer)]) { Total = 1, CutOff = true }], []);

        Assert.Single(Inquiry.ReadBroad(broad));
        Assert.Empty(Inquiry.ReadBroad(narrow));
        Assert.Empty(Inquiry.ReadBroad(cut));
    }

    [Fact]
    public void Cards_and_codes_of_the_order_tell_a_side_in_the_same_words()
    {
        DataSet answer = Steps.ForSide(Answer(FirstDay), "7771000");
        SourceConfiguration source = new() { Name = "van", Folder = "", Optic = "ear" };
        Optic? ear = SittingTraits.OpticOf(OpticsTable.Own, source, []);

        JointTraits sitting = SittingTraits.Of(OpticsTable.Own, source, [new Cue { Kind = CueKind.Sidecar, Side = "L" }]);
        JointTraits step = SittingTraits.Of(WorklistStep.Of(answer).First(), ear);

        Assert.Equal(("ES", "L"), (sitting.Modality, sitting.Side));
        Assert.Equal(("ES", "L"), (step.Modality, step.Side));
        Assert.Equal("B", SittingTraits.Of(OpticsTable.Own, source, [new Cue { Side = "L" }, new Cue { Side = "R" }]).Side);
        Assert.Null(SittingTraits.Of(OpticsTable.Own, source, [new Cue { Optic = "ear" }, new Cue { Optic = "skin" }]).Modality);
    }

    private DataSet Answer(DateTimeOffset at)
    {
        _number++;
        DataSet answer = Steps.Answer(
            $"P{_number:0000}", $"A{_number:0000}", date: at.ToString("yyyyMMdd", System.Globalization.CultureInfo.InvariantCulture), time: at.ToString("HHmm", System.Globalization.CultureInfo.InvariantCulture),
            stepId: $"S{_number:0000}", study: $"2.25.{1000 + _number}");
        answer.GetItem(Tags.ScheduledProcedureStepSequence)!.Set(Tags.ScheduledProcedureStepDescription, "Otoscopy");
        return answer;
    }

    private async Task<Habits> LearnAsync()
    {
        SiteConfiguration site = new() { SpoolFolder = Folder, StateFile = "" };
        CameraTracks tracks = await new SourceClocks(site, Database, Clock).OfAsync("van", null, mustKnow: 0, Cancellation);
        return await new SiteHabits(site, Database, Clock).OfAsync("van", Steps.Circumstances(Steps.Identity()), tracks, Cancellation);
    }

    /// <summary>A sitting of one picture, filed by a label under a step, or held for lack of one, after the worklist was asked for the station's steps of the day.</summary>
    private async Task SittingAsync(DateTimeOffset takenAt, DataSet? step, DataSet[] asked)
    {
        string folder = $"{++_number:0000}";
        Capture capture = Steps.Picture(0, $"{folder}/IMG_0001.JPG") with
        {
            Folder = folder,
            Sha256 = Convert.ToHexStringLower(System.Security.Cryptography.SHA256.HashData(System.Text.Encoding.UTF8.GetBytes(folder))),
            SettledAt = Clock.GetUtcNow(),
            TakenAt = null,
            TakenAtOrigin = null,
            State = CaptureState.Taken,
        };
        IReadOnlyList<long> ids = await Database.AddCapturesAsync([capture], TimeSpan.FromMinutes(1), Cancellation);
        Work look = Assert.Single(await Database.LeaseAsync(Stage.Cues, "", 10, TimeSpan.FromMinutes(5), Cancellation));
        await Database.CompleteCuesAsync([new CaptureReading(look, takenAt, "exif", [])], Cancellation);
        await Database.CloseSoonAsync("van", null, Cancellation);
        Work closing = Assert.Single(await Database.LeaseAsync(Stage.Sittings, "", 10, TimeSpan.FromMinutes(5), Cancellation));
        Assert.True(await Database.CompleteSittingAsync(closing, [new SittingPart(ids, "folder", false)], Cancellation));
        Work matching = Assert.Single(await Database.LeaseAsync(Stage.Matches, "", 10, TimeSpan.FromMinutes(5), Cancellation));
        WorklistAnswers answers = new(new WorklistQuestion { StationAETitle = "CAM1" }, [.. asked.SelectMany(WorklistStep.Of)]) { Total = asked.Length };
        await Database.CompleteMatchAsync(
            matching,
            new Match
            {
                SittingId = matching.SubjectId,
                StepJson = step is null ? null : WorklistStep.Of(step).First().ToJson(),
                HeldReasons = step is null ? [new Reason("no-label", "no label")] : [],
                Inquiry = Inquiry.Write("RIS", [answers], []),
                DecidedAt = Clock.GetUtcNow(),
            },
            Cancellation);
    }
}
