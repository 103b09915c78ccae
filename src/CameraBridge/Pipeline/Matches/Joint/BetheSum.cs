namespace CameraBridge.Pipeline.Matches.Joint;

/// <summary>
/// Belief propagation for the sum over all partial one-to-one assignments (the monomer-dimer model on a bipartite graph). Its fixed point is unique and
/// is reached from anywhere (Bayati, Gamarnik, Katz, Nair and Tetali 2007). Exact where the pairs that matter form no cycle, else near.
/// </summary>
internal sealed class BetheSum(int rows, int columns)
{
    /// <summary>Rounds after which it is left as near as it is.</summary>
    public const int MostRounds = 300;

    private const double Converged = 1e-7;

    private readonly double[] _fromRow = new double[rows * columns];
    private readonly double[] _fromColumn = Ones(rows * columns);

    /// <summary>
    /// Messages of the rows, row by row: how likely a row would be free for the pair if the pair were away. Those of the last call, from which the next one
    /// goes on.
    /// </summary>
    public ReadOnlySpan<double> FromRow => _fromRow;

    /// <summary>Messages of the columns, row by row.</summary>
    public ReadOnlySpan<double> FromColumn => _fromColumn;

    /// <summary>Finds the sum.</summary>
    /// <param name="weights">Weights of the pairs, row by row; at least 0.</param>
    /// <param name="rounds">Rounds at most.</param>
    /// <returns>The logarithm of the sum as Bethe's approximation has it.</returns>
    public double Solve(ReadOnlySpan<double> weights, int rounds)
    {
        double[] columnSums = new double[columns];
        for (int round = 0; round < rounds; round++)
        {
            Array.Fill(columnSums, 1);
            for (int i = 0; i < rows; i++)
            {
                SendFromRow(weights.Slice(i * columns, columns), i * columns, columnSums);
            }

            double change = 0;
            for (int i = 0; i < rows; i++)
            {
                change = Math.Max(change, SendFromColumns(weights.Slice(i * columns, columns), i * columns, columnSums));
            }

            if (change < Converged)
            {
                break;
            }
        }

        return Sum(weights);
    }

    private static double[] Ones(int length)
    {
        double[] ones = new double[length];
        Array.Fill(ones, 1);
        return ones;
    }

    private void SendFromRow(ReadOnlySpan<double> weights, int start, double[] columnSums)
    {
        Span<double> into = _fromRow.AsSpan(start, columns);
        ReadOnlySpan<double> from = _fromColumn.AsSpan(start, columns);
        double sum = 1;
        for (int j = 0; j < weights.Length; j++)
        {
            sum += weights[j] * from[j];
        }

        for (int j = 0; j < weights.Length; j++)
        {
            double message = 1 / Math.Max(1, sum - (weights[j] * from[j]));
            into[j] = message;
            columnSums[j] += weights[j] * message;
        }
    }

    /// <returns>The largest change of a message.</returns>
    private double SendFromColumns(ReadOnlySpan<double> weights, int start, double[] columnSums)
    {
        Span<double> into = _fromColumn.AsSpan(start, columns);
        ReadOnlySpan<double> from = _fromRow.AsSpan(start, columns);
        double change = 0;
        for (int j = 0; j < weights.Length; j++)
        {
            double message = 1 / Math.Max(1, columnSums[j] - (weights[j] * from[j]));
            change = Math.Max(change, Math.Abs(message - into[j]));
            into[j] = message;
        }

        return change;
    }

    private double Sum(ReadOnlySpan<double> weights)
    {
        double log = 0;
        double[] columnSums = Ones(columns);
        for (int i = 0; i < rows; i++)
        {
            double sum = 1;
            double pairs = 1;
            for (int j = 0; j < columns; j++)
            {
                int index = (i * columns) + j;
                double fromColumn = weights[index] * _fromColumn[index];
                sum += fromColumn;
                columnSums[j] += weights[index] * _fromRow[index];
                pairs *= 1 + (fromColumn * _fromRow[index]);

                // One logarithm for many factors, each of which is far from the largest number.
                if (pairs > 1e200)
                {
                    log -= Math.Log(pairs);
                    pairs = 1;
                }
            }

            log += Math.Log(sum) - Math.Log(pairs);
        }

        return log + columnSums.Sum(Math.Log);
    }
}
