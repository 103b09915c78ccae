using CameraBridge.Pipeline.Matches.Joint;

namespace CameraBridge.Tests.Pipeline.Matches.Joint;

/// <summary>
/// Joint matching by the definition of the model: every state of the clock, every assignment written out, one probability each. Shares with the program only
/// the density of a lateness and the grid of clock states.
/// </summary>
internal static class BruteForce
{
    /// <summary>[sitting][step], and at the end of each row the probability of none of them.</summary>
    public static double[][] Solve(JointProblem problem)
    {
        int sittings = problem.Sittings.Count;
        int steps = problem.Steps.Count;
        double[][] sums = [.. problem.Sittings.Select(_ => new double[steps + 1])];
        double all = 0;
        int[] assigned = new int[sittings];
        foreach (ClockState clock in ClockGrid.Of(problem))
        {
            Try(clock, 0, new bool[steps], clock.Weight);
        }

        return [.. sums.Select(row => row.Select(sum => sum / all).ToArray())];

        void Try(ClockState clock, int sitting, bool[] used, double weight)
        {
            if (sitting == sittings)
            {
                all += weight;
                for (int i = 0; i < sittings; i++)
                {
                    sums[i][assigned[i] < 0 ? steps : assigned[i]] += weight;
                }

                return;
            }

            JointSitting one = problem.Sittings[sitting];
            for (int step = -1; step < steps; step++)
            {
                bool isFixed = problem.Sittings.Any(other => other != one && other.IsIdentified && other.StepIndex == step);
                if ((one.IsIdentified && one.StepIndex != step) || (step >= 0 && (used[step] || isFixed)))
                {
                    continue;
                }

                assigned[sitting] = step;
                if (step < 0)
                {
                    Try(clock, sitting + 1, used, weight);
                    continue;
                }

                used[step] = true;
                Try(clock, sitting + 1, used, weight * Weight(problem, clock, one, problem.Steps[step]));
                used[step] = false;
            }
        }
    }

    /// <summary>The likelihood of the pair over that of a sitting without a step and a step without a sitting.</summary>
    private static double Weight(JointProblem problem, ClockState clock, JointSitting sitting, JointStep step)
    {
        JointParameters parameters = problem.Parameters;
        TimeSpan since = sitting.FirstPictureAt - problem.Clock.At;
        double late = (sitting.FirstPictureAt - step.ScheduledAt).TotalMinutes - clock.Offset - (clock.Drift * since.TotalDays);
        double density = parameters.Lateness.Density(late);
        double comes = (1 - parameters.NoShow) * (step.Station == JointStation.Own ? 1 : step.Station == JointStation.Other ? parameters.OtherStation : 0.5);
        double by = problem.ObservedUntil is { } until ? parameters.Lateness.Until((until - step.ScheduledAt).TotalMinutes) : 1;
        double prior = comes / (1 - (comes * by)) * density / (parameters.WalkInsAnHour / 60);

        // What is fixed has no alternative, and only its time says something of the clock.
        return sitting.IsIdentified
            ? density
            : prior * Trait(problem, traits => traits.Optic, sitting, step, parameters.OpticError)
                * (sitting.Traits.Optic is null || step.Traits.Optic is null ? Trait(problem, traits => traits.Modality, sitting, step, parameters.OpticError) : 1)
                * Trait(problem, traits => traits.BodyPart, sitting, step, parameters.TraitError)
                * (sitting.Traits.Side != step.Traits.Side && (sitting.Traits.Side == "B" || step.Traits.Side == "B") ? 1 : Trait(problem, traits => traits.Side, sitting, step, parameters.TraitError));
    }

    private static double Trait(JointProblem problem, Func<JointTraits, string?> trait, JointSitting sitting, JointStep step, double error)
    {
        if (trait(sitting.Traits) is not { } seen || trait(step.Traits) is not { } planned)
        {
            return 1;
        }

        string[] known = [.. problem.Sittings.Select(one => trait(one.Traits)).OfType<string>()];
        double share = (known.Count(value => value == seen) + 1.0) / (known.Length + 2.0);
        return (((1 - error) * (seen == planned ? 1 : 0)) + (error * share)) / share;
    }
}
