namespace CameraBridge.Pipeline.Matches.Joint;

/// <summary>How the sum of one state of the clock was found.</summary>
internal enum SumWay
{
    /// <summary>Exactly, over all pairs.</summary>
    Exact,

    /// <summary>Exactly over the pairs that matter; the others stand for themselves by the messages of belief propagation.</summary>
    Embedded,

    /// <summary>By belief propagation.</summary>
    Propagated,
}

/// <summary>The sum over all partial one-to-one assignments for one state of the clock.</summary>
/// <param name="Log">Its logarithm.</param>
/// <param name="Marginals">The probability of each pair, row by row.</param>
/// <param name="Way">How it was found.</param>
internal sealed record AssignmentSum(double Log, double[] Marginals, SumWay Way)
{
    /// <summary>Below which probability pairs are not summed exactly, tried one after the other until the sum is affordable.</summary>
    private static readonly double[] Thresholds = [1e-6, 1e-4, 1e-3, 3e-3, 1e-2, 2e-2, 4e-2];

    /// <summary>Multiplications that <see cref="Exactly"/> takes; infinite where it cannot be done.</summary>
    public static double CostOf(ReadOnlySpan<double> weights, int rows, int columns) => PairTable.Cheapest(PairTable.Of(weights, rows, columns))?.Cost ?? double.PositiveInfinity;

    /// <summary>Over all pairs.</summary>
    public static AssignmentSum Exactly(ReadOnlySpan<double> weights, int rows, int columns)
    {
        PairTable table = PairTable.Of(weights, rows, columns);
        double[] marginals = new double[weights.Length];
        double log = PairTable.Cheapest(table)!.Solve(marginals);
        return new AssignmentSum(log, marginals, SumWay.Exact);
    }

    /// <summary>Exactly over the pairs that matter, as far as that is affordable; else as belief propagation has it.</summary>
    /// <param name="weights">Weights of the pairs, row by row.</param>
    /// <param name="rows">Rows.</param>
    /// <param name="columns">Columns.</param>
    /// <param name="bethe">Belief propagation that has come to rest on these weights.</param>
    /// <param name="betheLog">Its sum.</param>
    /// <param name="budget">Multiplications that may be taken.</param>
    public static AssignmentSum Near(ReadOnlySpan<double> weights, int rows, int columns, BetheSum bethe, double betheLog, double budget)
    {
        double[] marginals = new double[weights.Length];
        for (int index = 0; index < marginals.Length; index++)
        {
            double pair = weights[index] * bethe.FromRow[index] * bethe.FromColumn[index];
            marginals[index] = pair / (1 + pair);
        }

        foreach (double threshold in Thresholds)
        {
            if (Embed(weights, rows, columns, bethe, marginals, threshold, budget) is { } sum)
            {
                return sum;
            }
        }

        return new AssignmentSum(betheLog, marginals, SumWay.Propagated);
    }

    /// <summary>
    /// A pair that is not summed makes its row and its column busy by itself, as likely as the messages say. So the weights of the pairs that are summed shrink
    /// by what their row and their column do elsewhere.
    /// </summary>
    /// <returns>Null where it is not affordable.</returns>
    private static AssignmentSum? Embed(
        ReadOnlySpan<double> weights, int rows, int columns, BetheSum bethe, double[] near, double threshold, double budget)
    {
        double[] rowElsewhere = new double[rows];
        double[] columnElsewhere = new double[columns];
        Array.Fill(rowElsewhere, 1);
        Array.Fill(columnElsewhere, 1);
        double log = 0;
        for (int index = 0; index < near.Length; index++)
        {
            if (near[index] < threshold)
            {
                rowElsewhere[index / columns] += weights[index] * bethe.FromColumn[index];
                columnElsewhere[index % columns] += weights[index] * bethe.FromRow[index];
                log += Math.Log(1 - near[index]);
            }
        }

        double[] kept = new double[near.Length];
        for (int index = 0; index < near.Length; index++)
        {
            kept[index] = near[index] < threshold ? 0 : weights[index] / (rowElsewhere[index / columns] * columnElsewhere[index % columns]);
        }

        if (PairTable.Cheapest(PairTable.Of(kept, rows, columns)) is not { } plan || plan.Cost > budget)
        {
            return null;
        }

        double[] marginals = new double[near.Length];
        log += plan.Solve(marginals) + rowElsewhere.Sum(Math.Log) + columnElsewhere.Sum(Math.Log);
        for (int i = 0; i < rows; i++)
        {
            double free = Math.Max(0, 1 - marginals.AsSpan(i * columns, columns).ToArray().Sum());
            for (int index = i * columns; index < (i + 1) * columns; index++)
            {
                if (near[index] < threshold)
                {
                    marginals[index] = free * weights[index] * bethe.FromColumn[index] / rowElsewhere[i];
                }
            }
        }

        return new AssignmentSum(log, marginals, SumWay.Embedded);
    }
}
