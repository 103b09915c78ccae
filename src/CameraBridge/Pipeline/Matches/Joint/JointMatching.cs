namespace CameraBridge.Pipeline.Matches.Joint;

/// <summary>
/// Finds for each sitting of a source the probability of each step and of none of them, from all sittings and all steps together. It sums over every
/// partial one-to-one assignment and over what the camera's clock may be. Pure: the same problem gives the same result, and the order of the input does not matter.
/// </summary>
internal static class JointMatching
{
    /// <summary>States of the clock that are less likely than the likeliest by this factor (as a logarithm) change nothing in the ninth digit.</summary>
    private const double Negligible = 30;

    /// <summary>Multiplications that all exact sums of a day may take together: some tenths of a second.</summary>
    public const double Budget = 8e7;

    /// <summary>States of the clock that are looked at closely where not all can be.</summary>
    private const int MostStates = 48;

    /// <summary>Rounds of belief propagation by which states are compared.</summary>
    private const int FewRounds = 2;

    /// <summary>Solves.</summary>
    /// <param name="problem">The problem.</param>
    /// <param name="budget">Multiplications that exact sums may take; more than that is approximated, so a measurement can have the same day both ways.</param>
    public static JointResult Solve(JointProblem problem, double budget = Budget)
    {
        PairWeights pairs = new(problem);
        List<Candidate> candidates = Screen(problem, pairs);
        double[] weights = new double[pairs.Rows.Count * pairs.Columns.Count];
        pairs.Fill(candidates[0].Clock, weights);
        double cost = AssignmentSum.CostOf(weights, pairs.Rows.Count, pairs.Columns.Count);
        List<Solved> states = cost * candidates.Count <= budget
            ? [.. candidates.Select(candidate => SumExactly(pairs, candidate.Clock, weights))]
            : SumNearly(problem, pairs, candidates, weights, budget);
        return Collect(problem, pairs, states);
    }

    /// <summary>
    /// The states of the clock that can matter. The sum is at most the product over rows of what each could be if columns could be shared, and at least that of
    /// one assignment and its parts; a state whose most is far below another's least is out.
    /// </summary>
    private static List<Candidate> Screen(JointProblem problem, PairWeights pairs)
    {
        int columns = pairs.Columns.Count;
        double[] weights = new double[pairs.Rows.Count * columns];
        LatenessTable table = new(problem.Parameters.Lateness);
        double[] favourites = new double[columns];
        var candidates = new List<Candidate>();
        double floor = double.NegativeInfinity;
        foreach (ClockState clock in ClockGrid.Of(problem))
        {
            double least = pairs.Fill(clock, weights, table) + Math.Log(clock.Weight);
            double most = least;
            Array.Clear(favourites);
            for (int start = 0; start < weights.Length; start += columns)
            {
                ReadOnlySpan<double> row = weights.AsSpan(start, columns);
                double sum = 1;
                int best = 0;
                for (int j = 0; j < row.Length; j++)
                {
                    sum += row[j];
                    best = row[j] > row[best] ? j : best;
                }

                most += Math.Log(sum);
                favourites[best] = Math.Max(favourites[best], row[best]);
            }

            least += favourites.Sum(weight => Math.Log(1 + weight));
            floor = Math.Max(floor, least - Negligible);
            candidates.Add(new Candidate(clock, most));
        }

        return [.. candidates.Where(candidate => candidate.Log >= floor)];
    }

    private static Solved SumExactly(PairWeights pairs, ClockState clock, double[] weights)
    {
        double fixedLog = pairs.Fill(clock, weights) + Math.Log(clock.Weight);
        AssignmentSum sum = AssignmentSum.Exactly(weights, pairs.Rows.Count, pairs.Columns.Count);
        return new Solved(clock, fixedLog + sum.Log, sum);
    }

    /// <summary>Too much for exact sums: states are compared roughly, some are chosen, and those are summed as exactly as can be afforded.</summary>
    private static List<Solved> SumNearly(JointProblem problem, PairWeights pairs, List<Candidate> candidates, double[] weights, double budget)
    {
        int rows = pairs.Rows.Count;
        int columns = pairs.Columns.Count;
        BetheSum rough = new(rows, columns);
        LatenessTable table = new(problem.Parameters.Lateness);
        Candidate[] compared =
        [
            .. candidates.Select(candidate => candidate with
            {
                Log = pairs.Fill(candidate.Clock, weights, table) + Math.Log(candidate.Clock.Weight) + rough.Solve(weights, FewRounds),
            }),
        ];
        IReadOnlyList<(Candidate Candidate, double Share)> chosen = Choose(compared);
        BetheSum bethe = new(rows, columns);
        var states = new List<Solved>();
        foreach ((Candidate candidate, double share) in chosen)
        {
            // What a chosen state stands for is the share by which it was chosen, corrected by how wrong the rough comparison was about it.
            double fixedLog = pairs.Fill(candidate.Clock, weights) + Math.Log(candidate.Clock.Weight);
            double betheLog = bethe.Solve(weights, BetheSum.MostRounds);
            AssignmentSum sum = AssignmentSum.Near(weights, rows, columns, bethe, betheLog, budget / chosen.Count);
            states.Add(new Solved(candidate.Clock, fixedLog + sum.Log - candidate.Log + Math.Log(share), sum));
        }

        return states;
    }

    /// <summary>
    /// All states that have a share worth counting, or, where they are too many, as many as are spread evenly over the probability (systematic sampling,
    /// without chance: the middle of each of equal parts).
    /// </summary>
    private static List<(Candidate Candidate, double Share)> Choose(Candidate[] compared)
    {
        double most = compared.Max(candidate => candidate.Log);
        double all = compared.Sum(candidate => Math.Exp(candidate.Log - most));
        (Candidate Candidate, double Share)[] shares =
        [
            .. compared.Select(candidate => (candidate, Math.Exp(candidate.Log - most) / all)).Where(pair => pair.Item2 > 1e-7).OrderBy(pair => pair.candidate.Clock.Offset),
        ];
        if (shares.Length <= MostStates)
        {
            return [.. shares];
        }

        var chosen = new List<(Candidate, double)>();
        double passed = 0;
        int taken = 0;
        double total = shares.Sum(pair => pair.Share);
        foreach ((Candidate candidate, double share) in shares)
        {
            passed += share / total;
            int until = (int)Math.Floor((passed * MostStates) + 0.5);
            if (until > taken)
            {
                chosen.Add((candidate, (double)(until - taken) / MostStates));
                taken = until;
            }
        }

        return chosen;
    }

    private static JointResult Collect(JointProblem problem, PairWeights pairs, List<Solved> states)
    {
        double most = states.Max(state => state.Log);
        double all = states.Sum(state => Math.Exp(state.Log - most));
        double[] shares = [.. states.Select(state => Math.Exp(state.Log - most) / all)];
        double[][] probabilities = [.. problem.Sittings.Select(_ => new double[problem.Steps.Count])];
        for (int s = 0; s < states.Count; s++)
        {
            double[] marginals = states[s].Sum.Marginals;
            for (int index = 0; index < marginals.Length; index++)
            {
                (int i, int j) = Math.DivRem(index, pairs.Columns.Count);
                probabilities[pairs.Rows[i]][pairs.Columns[j]] += shares[s] * marginals[index];
            }
        }

        ChangedPlaces.Apply(problem, pairs, probabilities);
        AddUnexplained(problem, pairs, probabilities);
        for (int i = 0; i < problem.Sittings.Count; i++)
        {
            if (problem.Sittings[i] is { IsIdentified: true, StepIndex: >= 0 and var step })
            {
                probabilities[i][step] = 1;
            }
        }

        double mean = shares.Zip(states, (share, state) => share * state.Clock.Offset).Sum();
        double variance = shares.Zip(states, (share, state) => share * Math.Pow(state.Clock.Offset - mean, 2)).Sum();
        return new JointResult
        {
            Pairs = probabilities,
            None = [.. probabilities.Select(row => Math.Max(0, 1 - row.Sum()))],
            Clock = new ClockReading(mean, Math.Sqrt(variance)),
            ExactShare = ShareOf(SumWay.Exact),
            PropagatedShare = ShareOf(SumWay.Propagated),
        };

        double ShareOf(SumWay way) => shares.Where((_, s) => states[s].Sum.Way == way).Sum();
    }

    /// <summary>A share of each row is spread evenly over all free steps and none of them.</summary>
    private static void AddUnexplained(JointProblem problem, PairWeights pairs, double[][] probabilities)
    {
        double share = problem.Parameters.Unexplained;
        foreach (int row in pairs.Rows)
        {
            foreach (int column in pairs.Columns)
            {
                probabilities[row][column] = ((1 - share) * probabilities[row][column]) + (share / (pairs.Columns.Count + 1));
            }
        }
    }

    /// <summary>A state of the clock and how likely it is at most, or roughly, as a logarithm.</summary>
    private sealed record Candidate(ClockState Clock, double Log);

    /// <summary>A state of the clock, its logarithm with all that is fixed, and its sum.</summary>
    private sealed record Solved(ClockState Clock, double Log, AssignmentSum Sum);
}
