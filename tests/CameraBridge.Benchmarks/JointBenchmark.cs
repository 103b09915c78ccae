using System.Diagnostics;
using CameraBridge.Pipeline.Matches.Joint;
using CameraBridge.Tests.Pipeline.Matches.Joint.Clinic;

namespace CameraBridge.Benchmarks;

/// <summary>
/// Joint matching of 60 sittings against 120 steps: its time, beside a Monte Carlo chain over assignments that shares nothing with it but the weights; and the
/// error of its approximations on days that can be summed exactly.
/// </summary>
internal static class JointBenchmark
{
    public static Task<int> RunAsync(string[] args)
    {
        int days = args is ["--days", var text] ? int.Parse(text, System.Globalization.CultureInfo.InvariantCulture) : 5;
        Large(days);
        Errors(Math.Max(6, days));
        return Task.FromResult(0);
    }

    private static void Large(int days)
    {
        Console.WriteLine("size       clock    wall ms  processor ms   chain: moves   processor ms   times ours   largest difference");
        foreach (ClinicDay day in new ClinicSimulator(new ClinicHabits { Steps = 60, Interval = 9, Labels = 0, NoShow = 0.05 }, 1).Draw(new DateOnly(2026, 3, 2), days))
        {
            JointProblem open = Sixty(day.ProblemOf(0, new JointParameters { ChangedPlaces = 0, Unexplained = 0 }));
            JointMatching.Solve(open);
            (double wall, double processor) = Time(() => JointMatching.Solve(open));
            Print($"{open.Sittings.Count} x {open.Steps.Count}   open  {wall,9:0}{processor,14:0}");

            JointProblem known = open with { Clock = new ClockBelief(open.Clock.At, [new ClockGuess(1, day.ClockOffsets[0], 1e-9)]) { DriftDeviation = 0 } };
            JointResult ours = JointMatching.Solve(known);
            (wall, processor) = Time(() => JointMatching.Solve(known));
            foreach (int moves in (int[])[2_000_000, 20_000_000, 200_000_000])
            {
                double[][] chain = [];
                (_, double chained) = Time(() => chain = Chain(known, moves));
                double worst = ours.Pairs.Zip(chain).Max(row => row.First.Zip(row.Second).Max(pair => Math.Abs(pair.First - pair.Second)));
                Print($"{open.Sittings.Count} x {open.Steps.Count}   known {wall,9:0}{processor,14:0}{moves,15:N0}{chained,15:0}{chained / Math.Max(1, processor),13:0.0}{worst,21:0.0000}");
            }
        }
    }

    private static void Errors(int days)
    {
        Console.WriteLine("days of 12 steps a room, every    budget   largest error   root mean square");
        foreach (double interval in (double[])[20, 10, 5])
        {
            JointProblem[] problems =
            [
                .. new ClinicSimulator(new ClinicHabits { Steps = 12, Interval = interval }, 5).Draw(new DateOnly(2026, 3, 2), days).Select(day => day.ProblemOf(0, new JointParameters())),
            ];
            double[][] exact = [.. problems.Select(problem => JointMatching.Solve(problem, double.PositiveInfinity).Pairs.SelectMany(row => row).ToArray())];
            foreach ((double budget, string name) in ((double, string)[])[(0, "none: Bethe"), (1e5, "1e5"), (1e6, "1e6"), (1e7, "1e7")])
            {
                double[] errors = [.. problems.SelectMany((problem, i) => JointMatching.Solve(problem, budget).Pairs.SelectMany(row => row).Zip(exact[i], (near, right) => Math.Abs(near - right)))];
                Print($"{interval,22:0} min {name,15}{errors.Max(),16:0.00000}{Math.Sqrt(errors.Average(error => error * error)),19:0.00000}");
            }
        }
    }

    private static JointProblem Sixty(JointProblem problem) => problem with { Sittings = [.. problem.Sittings.Take(60)] };

    private static (double Wall, double Processor) Time(Action run)
    {
        TimeSpan before = Process.GetCurrentProcess().TotalProcessorTime;
        Stopwatch watch = Stopwatch.StartNew();
        run();
        return (watch.Elapsed.TotalMilliseconds, (Process.GetCurrentProcess().TotalProcessorTime - before).TotalMilliseconds);
    }

    /// <summary>Metropolis over partial assignments: a pair is made, undone, moved to a free step, or two sittings exchange their steps.</summary>
    private static double[][] Chain(JointProblem problem, int moves)
    {
        PairWeights pairs = new(problem);
        (int rows, int columns) = (pairs.Rows.Count, pairs.Columns.Count);
        double[] weights = new double[rows * columns];
        pairs.Fill(ClockGrid.Of(problem)[0], weights);
        Random random = new(7);
        int[] stepOf = Filled(rows);
        int[] rowOf = Filled(columns);
        long[] counts = new long[rows * columns];
        for (int move = 0; move < moves; move++)
        {
            int row = random.Next(rows);
            int column = random.Next(columns);
            int other = rowOf[column];
            int old = stepOf[row];

            // The sitting takes the step; who had it takes the one that becomes free, or none. The way back is as likely, so the ratio of the weights decides.
            int into = other == row ? -1 : column;
            double ratio = Weight(row, into) / Weight(row, old);
            if (other >= 0 && other != row)
            {
                ratio *= Weight(other, old) / Weight(other, column);
            }

            if (ratio >= 1 || random.NextDouble() < ratio)
            {
                stepOf[row] = into;
                if (old >= 0)
                {
                    rowOf[old] = other == row ? -1 : other;
                }

                if (other >= 0 && other != row)
                {
                    stepOf[other] = old;
                }

                if (into >= 0)
                {
                    rowOf[into] = row;
                }
            }

            if (move % rows == 0 && move > moves / 20)
            {
                for (int i = 0; i < rows; i++)
                {
                    counts[(i * columns) + Math.Max(0, stepOf[i])] += stepOf[i] >= 0 ? 1 : 0;
                }
            }
        }

        double samples = Enumerable.Range(0, moves).Count(move => move % rows == 0 && move > moves / 20);
        double[][] result = [.. problem.Sittings.Select(_ => new double[problem.Steps.Count])];
        for (int index = 0; index < counts.Length; index++)
        {
            result[pairs.Rows[index / columns]][pairs.Columns[index % columns]] = counts[index] / samples;
        }

        return result;

        double Weight(int row, int column) => column < 0 ? 1 : weights[(row * columns) + column];
    }

    private static int[] Filled(int length)
    {
        int[] none = new int[length];
        Array.Fill(none, -1);
        return none;
    }

    private static void Print(FormattableString line) => Console.WriteLine(FormattableString.Invariant(line));
}
