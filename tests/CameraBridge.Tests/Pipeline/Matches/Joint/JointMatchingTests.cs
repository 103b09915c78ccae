using CameraBridge.Pipeline.Matches.Joint;
using CameraBridge.Tests.Pipeline.Matches.Joint.Clinic;
using Xunit;

namespace CameraBridge.Tests.Pipeline.Matches.Joint;

/// <summary>All sittings of a source against all steps at once.</summary>
public sealed class JointMatchingTests
{
    private static readonly DateTime Morning = new(2026, 3, 2, 9, 0, 0);

    /// <summary>The clock is right, for sure.</summary>
    private static readonly ClockBelief Right = new(Morning, [new(1, 0, 1e-9)]) { DriftDeviation = 0 };

    /// <summary>
    /// A lateness of density 1 a minute at its mode 0 (Cauchy of scale 1/pi), as many steps that bring a sitting as not, and a sitting without a step a minute: so
    /// a pair that is on time has the weight 1, like anything else that is on time.
    /// </summary>
    private static readonly JointParameters Even = new()
    {
        Lateness = new Lateness(0, 1 / Math.PI, 1 / Math.PI, 1),
        NoShow = 0.5,
        WalkInsAnHour = 60,
        ChangedPlaces = 0,
        Unexplained = 0,
    };

    [Fact]
    public void One_sitting_on_time_and_one_step_are_as_likely_a_pair_as_none()
    {
        // By hand: assignments are nothing (weight 1) and the pair (weight 1).
        JointResult result = Solve([On()], [At()]);

        Assert.Equal(0.5, result.Pairs[0][0], 1e-9);
        Assert.Equal(0.5, result.None[0], 1e-9);
    }

    [Fact]
    public void Two_sittings_share_one_step()
    {
        // By hand: nothing, the first, the second: a third each.
        JointResult result = Solve([On(), On()], [At()]);

        Assert.Equal(1.0 / 3, result.Pairs[0][0], 1e-9);
        Assert.Equal(1.0 / 3, result.Pairs[1][0], 1e-9);
        Assert.Equal(2.0 / 3, result.None[1], 1e-9);
    }

    [Fact]
    public void Two_sittings_and_two_steps_have_seven_assignments()
    {
        // By hand: nothing, four single pairs, two double ones; each pair is in two of the seven.
        JointResult result = Solve([On(), On()], [At(), At()]);

        Assert.All(result.Pairs.SelectMany(row => row), pair => Assert.Equal(2.0 / 7, pair, 1e-9));
    }

    [Fact]
    public void Lateness_of_one_scale_halves_the_density()
    {
        // By hand: Cauchy's density at one scale from its mode is half of that at the mode, so the weights are 1 and 1/2 and the sum is 1 + 1 + 1/2.
        JointResult result = Solve([On()], [At(), At() with { ScheduledAt = Morning.AddMinutes(-1 / Math.PI) }]);

        Assert.Equal(1 / 2.5, result.Pairs[0][0], 1e-6);
        Assert.Equal(0.5 / 2.5, result.Pairs[0][1], 1e-6);
    }

    [Fact]
    public void What_no_model_explains_goes_to_any_step_or_none_alike()
    {
        // By hand: the pair has 1/2 as above, of which 9/10 are left; the tenth is shared by one step and none.
        JointResult result = JointMatching.Solve(new JointProblem([On()], [At()], Right, Even with { Unexplained = 0.1, NoShow = 0.25 }));

        Assert.Equal((0.9 * 0.75) + 0.05, result.Pairs[0][0], 1e-9);
        Assert.Equal((0.9 * 0.25) + 0.05, result.None[0], 1e-9);
    }

    [Fact]
    public void Clocks_are_wrong_as_often_as_they_were()
    {
        // By hand: of 20 days that the prior weighs and 20 that were seen, (16.8 + 10) / 40 and (1.6 + 5) / 40.
        ClockHabits learned = ClockHabits.Learn([.. Enumerable.Repeat(1.5, 10), .. Enumerable.Repeat(-58.0, 5), .. Enumerable.Repeat(300.0, 5)], new ClockHabits());

        Assert.Equal(0.67, learned.Right, 1e-9);
        Assert.Equal(0.165, learned.HourOff, 1e-9);
        Assert.Equal(0.165, learned.Anything, 1e-9);
    }

    [Fact]
    public void Neighbours_change_places_as_often_as_the_site_is_used_to()
    {
        // By hand: two sittings that are all but certain of their steps, and of whose traits nothing is known, have changed places in 4 of 100 cases.
        JointParameters parameters = Even with { WalkInsAnHour = 1e-7, NoShow = 1e-7, ChangedPlaces = 0.04 };

        JointResult result = Solve([On(), On(20)], [At(), At(20)], parameters);

        Assert.Equal(0.96, result.Pairs[0][0], 1e-3);
        Assert.Equal(0.04, result.Pairs[0][1], 1e-3);
        Assert.Equal(0.04, result.Pairs[1][0], 1e-3);
        Assert.Equal(1, result.Pairs[0].Sum() + result.None[0], 1e-9);
    }

    [Fact]
    public void Neighbours_whose_optics_tell_them_apart_have_not_changed_places()
    {
        JointParameters parameters = Even with { WalkInsAnHour = 1e-7, NoShow = 1e-7, ChangedPlaces = 0.04 };
        JointTraits ear = new("ear");
        JointTraits skin = new("skin");

        JointResult result = Solve([On() with { Traits = ear }, On(20) with { Traits = skin }], [At() with { Traits = ear }, At(20) with { Traits = skin }], parameters);

        Assert.True(result.Pairs[0][0] > 0.999);
    }

    [Fact]
    public void A_label_on_one_sitting_tells_the_clock_of_all()
    {
        // The label says that the first sitting is an hour behind by its clock; so is the second one, which lies between two steps.
        ClockBelief doubtful = new(Morning, [new(0.5, 0, 1), new(0.5, 60, 1)]);
        JointSitting labelled = On(60) with { IsIdentified = true, StepIndex = 0 };

        JointResult result = JointMatching.Solve(new JointProblem([labelled, On(120)], [At(), At(60), At(120)], doubtful, new JointParameters()));

        Assert.Equal(60, result.Clock.MeanMinutes, 5.0);
        Assert.True(result.Pairs[1][1] > 0.8);
        Assert.Equal(1, result.Pairs[0][0]);
    }

    [Fact]
    public void A_clock_by_which_pictures_come_before_they_were_taken_is_wrong()
    {
        ClockBelief doubtful = new(Morning, [new(0.5, 0, 1), new(0.5, 60, 1)]);
        JointSitting early = On(60) with { ArrivedAt = Morning.AddMinutes(15) };

        JointResult result = JointMatching.Solve(new JointProblem([early], [At(), At(60)], doubtful, new JointParameters()));

        Assert.True(result.Pairs[0][0] > 0.9);
        Assert.Equal(60, result.Clock.MeanMinutes, 5.0);
    }

    [Theory]
    [MemberData(nameof(Sizes))]
    public void Small_days_come_out_as_by_writing_down_every_assignment(int sittings, int steps)
    {
        for (int seed = 0; seed < (sittings + steps > 11 ? 1 : 3); seed++)
        {
            JointProblem problem = Any(sittings, steps, seed);

            JointResult result = JointMatching.Solve(problem);

            double[][] expected = BruteForce.Solve(problem);
            Assert.Equal(1, result.ExactShare, 1e-12);
            for (int i = 0; i < sittings; i++)
            {
                Assert.All(result.Pairs[i].Append(result.None[i]).Zip(expected[i]), pair => Assert.Equal(pair.Second, pair.First, 1e-9));
            }
        }
    }

    public static TheoryData<int, int> Sizes()
    {
        TheoryData<int, int> sizes = [];
        for (int sittings = 0; sittings <= 7; sittings++)
        {
            for (int steps = 0; steps <= 7; steps++)
            {
                sizes.Add(sittings, steps);
            }
        }

        return sizes;
    }

    [Theory]
    [InlineData(6, 9)]
    [InlineData(14, 20)]
    public void The_order_of_the_input_does_not_matter(int sittings, int steps)
    {
        JointProblem problem = Any(sittings, steps, 3);
        int[] rows = [.. Enumerable.Range(0, sittings).Reverse()];
        int[] columns = [.. Enumerable.Range(0, steps).OrderBy(step => step * 7 % steps)];
        JointProblem shuffled = problem with
        {
            Sittings = [.. rows.Select(row => problem.Sittings[row] with { StepIndex = Array.IndexOf(columns, problem.Sittings[row].StepIndex) })],
            Steps = [.. columns.Select(column => problem.Steps[column])],
        };

        JointResult result = JointMatching.Solve(problem);
        JointResult again = JointMatching.Solve(shuffled);

        for (int i = 0; i < sittings; i++)
        {
            for (int j = 0; j < steps; j++)
            {
                Assert.Equal(result.Pairs[rows[i]][columns[j]], again.Pairs[i][j], 1e-9);
            }
        }
    }

    [Fact]
    public void Identified_sittings_stay_where_they_are_and_their_steps_are_nobody_elses()
    {
        JointProblem problem = Any(7, 9, 8);
        JointSitting[] sittings = [.. problem.Sittings];
        sittings[2] = sittings[2] with { IsIdentified = true, StepIndex = 4 };
        sittings[5] = sittings[5] with { IsIdentified = true, StepIndex = -1 };

        JointResult result = JointMatching.Solve(problem with { Sittings = sittings });

        Assert.Equal(1, result.Pairs[2][4]);
        Assert.Equal(1, result.None[5]);
        Assert.All(Enumerable.Range(0, 7).Except([2]), i => Assert.Equal(0, result.Pairs[i][4]));
    }

    [Fact]
    public void Sixty_sittings_against_a_hundred_and_twenty_steps_give_probabilities()
    {
        ClinicDay day = new ClinicSimulator(new ClinicHabits { Steps = 60, Interval = 9, Labels = 0.2, NoShow = 0.05 }, 4).Draw(new DateOnly(2026, 3, 2), 1)[0];
        JointProblem problem = day.ProblemOf(0, new JointParameters());

        JointResult result = JointMatching.Solve(problem);

        Assert.Equal(120, problem.Steps.Count);
        Assert.InRange(problem.Sittings.Count, 55, 75);
        Assert.All(result.Pairs.Zip(result.None), row => Assert.Equal(1, row.First.Sum() + row.Second, 1e-9));
        Assert.All(result.Pairs.SelectMany(row => row), pair => Assert.InRange(pair, 0, 1));
        for (int step = 0; step < 120; step++)
        {
            Assert.InRange(result.Pairs.Sum(row => row[step]), 0, 1.02);
        }
    }

    [Fact]
    public void What_is_approximated_is_near_what_is_exact()
    {
        int approximated = 0;
        foreach (ClinicDay day in new ClinicSimulator(new ClinicHabits { Steps = 10, Interval = 12 }, 6).Draw(new DateOnly(2026, 3, 2), 6))
        {
            JointProblem problem = day.ProblemOf(0, new JointParameters());

            JointResult exact = JointMatching.Solve(problem, budget: 1e12);
            JointResult near = JointMatching.Solve(problem, budget: 3e5);

            Assert.Equal(1, exact.ExactShare, 1e-9);
            approximated += near.ExactShare == 0 ? 1 : 0;
            Assert.All(exact.Pairs.SelectMany(row => row).Zip(near.Pairs.SelectMany(row => row)), pair => Assert.Equal(pair.First, pair.Second, 1e-2));
        }

        Assert.True(approximated >= 3);
    }

    [Fact]
    public void A_step_of_the_afternoon_has_not_failed_to_come_by_noon()
    {
        JointStep[] steps = [At(), At(60)];
        JointProblem problem = new([On(50)], steps, Right, new JointParameters());

        double late = JointMatching.Solve(problem).Pairs[0][1];
        double now = JointMatching.Solve(problem with { ObservedUntil = Morning.AddMinutes(51) }).Pairs[0][1];

        // Whether it was early for the second step or has none: until the second step is over, less speaks for early.
        Assert.True(now < late);
    }

    private static JointResult Solve(JointSitting[] sittings, JointStep[] steps, JointParameters? parameters = null) =>
        JointMatching.Solve(new JointProblem(sittings, steps, Right, parameters ?? Even));

    private static JointSitting On(double minutes = 0) => new() { FirstPictureAt = Morning.AddMinutes(minutes) };

    private static JointStep At(double minutes = 0) => new() { ScheduledAt = Morning.AddMinutes(minutes) };

    /// <summary>A day without any rule in it: everything that a problem may have comes with some probability.</summary>
    private static JointProblem Any(int sittings, int steps, int seed)
    {
        Random random = new((seed * 1000) + (sittings * 20) + steps);
        string?[] optics = ["ear", "skin", null];
        string?[] sides = ["R", "L", "B", null];
        string?[] modalities = ["ES", "XC", null];
        ClockBelief clock = (sittings + steps) switch
        {
            < 7 => ClockBelief.Unknown(Morning),
            < 12 => ClockBelief.Estimated(Morning.AddDays(-20), 3, 1),
            _ => new ClockBelief(Morning.AddDays(-2), [new(0.7, -2, 1), new(0.3, 58, 0.1)]),
        };
        int[] free = [.. Enumerable.Range(0, steps).OrderBy(_ => random.Next())];
        return new JointProblem(
            [.. Enumerable.Range(0, sittings).Select(i => new JointSitting
            {
                FirstPictureAt = Morning.AddMinutes(random.NextDouble() * 60),
                Traits = Traits(),
                IsIdentified = random.Next(5) == 0,
                StepIndex = i < steps && random.Next(4) > 0 ? free[i] : -1,
            })],
            [.. Enumerable.Range(0, steps).Select(_ => new JointStep
            {
                ScheduledAt = Morning.AddMinutes(5 * random.Next(12)),
                Station = (JointStation)random.Next(3),
                Traits = Traits(),
            })],
            clock,
            new JointParameters { ChangedPlaces = 0, Unexplained = 0, WalkInsAnHour = 2, OtherStation = 0.2 })
        {
            ObservedUntil = random.Next(2) == 0 ? null : Morning.AddMinutes(45),
        };

        JointTraits Traits() => new(optics[random.Next(3)], modalities[random.Next(3)], random.Next(2) == 0 ? "arm" : null, sides[random.Next(4)]);
    }
}
