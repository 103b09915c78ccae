namespace CameraBridge.Pipeline.Matches.Joint;

/// <summary>The pairs of an assignment problem that have a weight, in rows and columns that are in the order of time.</summary>
/// <param name="Rows">Rows.</param>
/// <param name="Pairs">For each column its pairs: the row, the weight, and the index in a table that is kept row by row.</param>
internal sealed record PairTable(int Rows, IReadOnlyList<PairTable.Pair>[] Pairs)
{
    /// <summary>A pair of the column.</summary>
    internal readonly record struct Pair(int Row, double Weight, int Index);

    /// <summary>The pairs above 0 of a table that is kept row by row.</summary>
    public static PairTable Of(ReadOnlySpan<double> weights, int rows, int columns)
    {
        var pairs = new List<Pair>[columns];
        for (int j = 0; j < columns; j++)
        {
            pairs[j] = [];
            for (int index = j; index < weights.Length; index += columns)
            {
                if (weights[index] > 0)
                {
                    pairs[j].Add(new Pair(index / columns, weights[index], index));
                }
            }
        }

        return new PairTable(rows, pairs);
    }

    /// <summary>The cheaper of the two ways to sum it: along its columns or along its rows.</summary>
    /// <returns>Null where neither can be done.</returns>
    public static FrontierSum? Cheapest(PairTable table)
    {
        FrontierSum? along = FrontierSum.Plan(table);
        FrontierSum? across = FrontierSum.Plan(table.Transpose());
        return along is null || across?.Cost < along.Cost ? across : along;
    }

    private PairTable Transpose()
    {
        var turned = new List<Pair>[Rows];
        for (int i = 0; i < Rows; i++)
        {
            turned[i] = [];
        }

        for (int j = 0; j < Pairs.Length; j++)
        {
            foreach (Pair pair in Pairs[j])
            {
                turned[pair.Row].Add(pair with { Row = j });
            }
        }

        return new PairTable(Pairs.Length, turned);
    }
}
