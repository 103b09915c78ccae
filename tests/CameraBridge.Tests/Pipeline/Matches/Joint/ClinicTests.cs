using CameraBridge.Pipeline.Matches.Joint;
using CameraBridge.Tests.Pipeline.Matches.Joint.Clinic;
using Xunit;

namespace CameraBridge.Tests.Pipeline.Matches.Joint;

/// <summary>Whether the probabilities are true, in a clinic that knows the truth and does not work as the model believes. More days: the verb clinic of the benchmarks.</summary>
public sealed class ClinicTests
{
    private const int HistoryDays = 60;
    private const int Days = 75;

    private static readonly Lazy<Calibration> Simulated = new(Simulate);

    [Fact]
    public void Probabilities_are_true_on_the_whole()
    {
        Assert.True(Calibration.Error(Simulated.Value.Pairs) < 0.02);
        Assert.True(Simulated.Value.Best.Count > 600);
    }

    [Fact]
    public void Of_pairings_given_ninety_to_ninety_five_percent_as_many_are_right()
    {
        (int count, double right) = Calibration.Between(Simulated.Value.Pairs, 0.9, 0.95);

        // As near as so few of them can tell: two standard deviations of their share.
        double deviation = Math.Sqrt(0.925 * 0.075 / count);
        Assert.True(count > 60);
        Assert.InRange(right, 0.9 - (2 * deviation), 0.95 + (2 * deviation));
    }

    [Theory]
    [InlineData(0.6)]
    [InlineData(0.8)]
    [InlineData(0.9)]
    [InlineData(0.95)]
    public void Fewer_are_filed_under_a_wrong_step_than_the_threshold_allows(double threshold)
    {
        ThresholdPoint point = Simulated.Value.At(threshold);

        Assert.True(point.FiledShare > 0.4);
        Assert.True(point.WrongShare < 1 - threshold);
    }

    [Fact]
    public void The_same_seed_draws_the_same_days()
    {
        ClinicDay[] days = [.. new ClinicSimulator(new ClinicHabits(), 3).Draw(new DateOnly(2026, 3, 2), 2)];
        ClinicDay[] again = [.. new ClinicSimulator(new ClinicHabits(), 3).Draw(new DateOnly(2026, 3, 2), 2)];

        Assert.Equal(days[1].Sittings, again[1].Sittings);
        Assert.Equal(days[1].Steps, again[1].Steps);
    }

    private static Calibration Simulate()
    {
        ClinicHabits habits = new() { Steps = 8, Interval = 25, Labels = 0.3 };
        IReadOnlyList<ClinicDay> days = new ClinicSimulator(habits, 11).Draw(new DateOnly(2026, 3, 2), HistoryDays + Days);
        JointParameters parameters = JointParameters.Learn(ClinicDay.HistoryOf([.. days.Take(HistoryDays)]));
        Calibration calibration = new();
        foreach (ClinicDay day in days.Skip(HistoryDays))
        {
            for (int room = 0; room < habits.Rooms; room++)
            {
                calibration.Add(day, room, JointMatching.Solve(day.ProblemOf(room, parameters)));
            }
        }

        return calibration;
    }
}
