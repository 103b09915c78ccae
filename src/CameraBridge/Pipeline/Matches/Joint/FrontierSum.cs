using System.Numerics;

namespace CameraBridge.Pipeline.Matches.Joint;

/// <summary>
/// The exact sum over all partial one-to-one assignments, by dynamic programming: columns are taken one by one, and the state is which of the rows that are
/// in play are used. A row is in play from its first column to its last, so days of sittings whose steps lie near in time have few at once, and small days
/// are summed whole.
/// </summary>
internal sealed class FrontierSum
{
    /// <summary>More rows at once would not fit into the memory that one day may have: 8 bytes times 2^16, for each column.</summary>
    private const int MostInPlay = 16;

    private readonly IReadOnlyList<PairTable.Pair>[] _pairsOfColumn;
    private readonly int[] _slotOfRow;
    private readonly int[] _active;
    private readonly int[] _leaving;

    private FrontierSum(IReadOnlyList<PairTable.Pair>[] pairsOfColumn, int[] slotOfRow, int[] active, int[] leaving, double cost)
    {
        _pairsOfColumn = pairsOfColumn;
        _slotOfRow = slotOfRow;
        _active = active;
        _leaving = leaving;
        Cost = cost;
    }

    /// <summary>Multiplications that the sum will take, about.</summary>
    public double Cost { get; }

    /// <summary>Plans the sum over pairs, column by column.</summary>
    /// <returns>Null where too many rows would be in play at once.</returns>
    public static FrontierSum? Plan(PairTable table)
    {
        IReadOnlyList<PairTable.Pair>[] pairsOfColumn = table.Pairs;
        int[] last = new int[table.Rows];
        Array.Fill(last, -1);
        for (int column = 0; column < pairsOfColumn.Length; column++)
        {
            foreach (PairTable.Pair pair in pairsOfColumn[column])
            {
                last[pair.Row] = column;
            }
        }

        int[] slots = new int[table.Rows];
        Array.Fill(slots, -1);
        int[] active = new int[pairsOfColumn.Length];
        int[] leaving = new int[pairsOfColumn.Length];
        int inPlay = 0;
        double cost = 0;
        for (int column = 0; column < pairsOfColumn.Length; column++)
        {
            foreach (PairTable.Pair pair in pairsOfColumn[column])
            {
                if (slots[pair.Row] < 0)
                {
                    slots[pair.Row] = BitOperations.TrailingZeroCount(~inPlay);
                    if (slots[pair.Row] >= MostInPlay)
                    {
                        return null;
                    }

                    inPlay |= 1 << slots[pair.Row];
                }

                leaving[column] |= last[pair.Row] == column ? 1 << slots[pair.Row] : 0;
            }

            active[column] = inPlay;
            cost += (1 << BitOperations.PopCount((uint)inPlay)) * (pairsOfColumn[column].Count + 2.0) * 2;
            inPlay &= ~leaving[column];
        }

        return new FrontierSum(pairsOfColumn, slots, active, leaving, cost);
    }

    /// <summary>Sums.</summary>
    /// <param name="marginals">Filled with the probability of each pair at its <see cref="PairTable.Pair.Index"/>.</param>
    /// <returns>The logarithm of the sum.</returns>
    public double Solve(double[] marginals)
    {
        double[][] before = new double[_pairsOfColumn.Length][];
        double[] states = new double[1 << (1 + _slotOfRow.DefaultIfEmpty(-1).Max())];
        double[] behind = new double[states.Length];
        states[0] = 1;
        double log = 0;
        for (int column = 0; column < before.Length; column++)
        {
            before[column] = StepOn(states, column);
            log += Math.Log(Fold(states, column));
        }

        behind[0] = 1;
        for (int column = before.Length - 1; column >= 0; column--)
        {
            Unfold(behind, column);
            StepBack(behind, before[column], column, marginals);
        }

        return log;
    }

    /// <summary>One column onwards.</summary>
    /// <returns>The states before it, from that in which all rows in play are used to that in which none is.</returns>
    private double[] StepOn(double[] states, int column)
    {
        (int Bit, double Weight)[] pairs = [.. _pairsOfColumn[column].Select(pair => (1 << _slotOfRow[pair.Row], pair.Weight))];
        int active = _active[column];
        double[] before = new double[1 << BitOperations.PopCount((uint)active)];
        int at = 0;

        // Downwards: a state's sum needs those with one row less, which must not have been changed.
        for (int state = active; ; state = (state - 1) & active)
        {
            double sum = states[state];
            before[at++] = sum;
            foreach ((int bit, double weight) in pairs)
            {
                sum += (state & bit) != 0 ? weight * states[state & ~bit] : 0;
            }

            states[state] = sum;
            if (state == 0)
            {
                return before;
            }
        }
    }

    /// <summary>Rows that leave count no more, used or not; the rest is scaled, so that no product grows too large.</summary>
    /// <returns>The scale.</returns>
    private double Fold(double[] states, int column)
    {
        int leaving = _leaving[column];
        int active = _active[column];
        for (int state = active; state > 0; state = (state - 1) & active)
        {
            if ((state & leaving) != 0)
            {
                states[state & ~leaving] += states[state];
                states[state] = 0;
            }
        }

        return Scale(states, active & ~leaving);
    }

    /// <summary>The sum of what comes after does not depend on whether a row that has left was used.</summary>
    private void Unfold(double[] behind, int column)
    {
        int active = _active[column];
        for (int state = active; state > 0; state = (state - 1) & active)
        {
            behind[state] = behind[state & ~_leaving[column]];
        }
    }

    /// <summary>One column backwards: the probability of each of its pairs, and the sums of what comes after it.</summary>
    private void StepBack(double[] behind, double[] before, int column, double[] marginals)
    {
        (int Bit, double Weight)[] pairs = [.. _pairsOfColumn[column].Select(pair => (1 << _slotOfRow[pair.Row], pair.Weight))];
        int active = _active[column];
        double[] joint = new double[pairs.Length];
        double all = 0;
        int at = before.Length - 1;

        // Upwards: a state's sum needs those with one row more, which must not have been changed.
        for (int state = 0; at >= 0; state = (state - active) & active)
        {
            double ahead = before[at--];
            double sum = behind[state];
            for (int pair = 0; pair < pairs.Length; pair++)
            {
                int bit = pairs[pair].Bit;
                if ((state & bit) == 0)
                {
                    double with = pairs[pair].Weight * behind[state | bit];
                    sum += with;
                    joint[pair] += ahead * with;
                }
            }

            all += ahead * sum;
            behind[state] = sum;
        }

        Scale(behind, active);
        for (int pair = 0; pair < pairs.Length; pair++)
        {
            marginals[_pairsOfColumn[column][pair].Index] = joint[pair] / all;
        }
    }

    /// <summary>Divides the states of these rows by the highest.</summary>
    private static double Scale(double[] states, int rows)
    {
        double most = states[0];
        for (int state = rows; state > 0; state = (state - 1) & rows)
        {
            most = Math.Max(most, states[state]);
        }

        states[0] /= most;
        for (int state = rows; state > 0; state = (state - 1) & rows)
        {
            states[state] /= most;
        }

        return most;
    }
}
