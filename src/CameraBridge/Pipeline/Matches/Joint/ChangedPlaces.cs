namespace CameraBridge.Pipeline.Matches.Joint;

/// <summary>
/// Neighbours who changed places: somebody goes first who was planned second. Both then are late in ways that belong together, which no lateness of
/// single sittings tells; so what was found is mixed with what it would be if two that follow each other had changed, as likely as the site's habit and
/// the traits of both make that. To first order: no sitting changes twice, and the steps of two neighbours are taken as independent.
/// </summary>
internal static class ChangedPlaces
{
    /// <summary>Steps of a lower probability are not looked at.</summary>
    private const double Smallest = 1e-4;

    private const double LongestGap = 120;

    /// <summary>Mixes.</summary>
    /// <param name="problem">The problem.</param>
    /// <param name="pairs">Its pairs.</param>
    /// <param name="probabilities">[sitting][step], as if nobody changed places; changed.</param>
    public static void Apply(JointProblem problem, PairWeights pairs, double[][] probabilities)
    {
        double habit = problem.Parameters.ChangedPlaces;
        double[][] found = [.. probabilities.Select(row => (double[])row.Clone())];
        for (int row = 0; habit > 0 && row + 1 < pairs.Rows.Count; row++)
        {
            (int first, int second) = (pairs.Rows[row], pairs.Rows[row + 1]);
            if ((problem.Sittings[second].FirstPictureAt - problem.Sittings[first].FirstPictureAt).TotalMinutes <= LongestGap)
            {
                Mix(habit, pairs, first, second, found, probabilities);
            }
        }
    }

    private static void Mix(double habit, PairWeights pairs, int first, int second, double[][] found, double[][] probabilities)
    {
        (int Step, double Probability)[] ofFirst = Options(found[first]);
        (int Step, double Probability)[] ofSecond = Options(found[second]);
        double stayed = 0;
        double changed = 0;
        double[] firstIfChanged = new double[found[first].Length];
        double[] secondIfChanged = new double[found[second].Length];
        foreach ((int a, double probabilityOfA) in ofFirst)
        {
            foreach ((int b, double probabilityOfB) in ofSecond)
            {
                if (a == b && a >= 0)
                {
                    continue;
                }

                double both = probabilityOfA * probabilityOfB;
                double turned = both * pairs.TraitsOf(first, b) * pairs.TraitsOf(second, a) / (pairs.TraitsOf(first, a) * pairs.TraitsOf(second, b));
                stayed += both;
                changed += turned;
                Add(firstIfChanged, b, turned);
                Add(secondIfChanged, a, turned);
            }
        }

        if (changed > 0)
        {
            // Each has two neighbours: half of the probability is left to either, so that no more than all is given away.
            double share = Math.Min(0.5, habit * changed / ((habit * changed) + ((1 - habit) * stayed)));
            Move(probabilities[first], found[first], firstIfChanged, share, changed);
            Move(probabilities[second], found[second], secondIfChanged, share, changed);
        }
    }

    private static void Add(double[] row, int step, double probability)
    {
        if (step >= 0)
        {
            row[step] += probability;
        }
    }

    private static void Move(double[] row, double[] found, double[] ifChanged, double share, double all)
    {
        for (int step = 0; step < row.Length; step++)
        {
            row[step] += share * ((ifChanged[step] / all) - found[step]);
        }
    }

    /// <summary>The steps that matter, and -1 for none of them.</summary>
    private static (int Step, double Probability)[] Options(double[] row) =>
    [
        .. row.Select((probability, step) => (step, probability)).Where(option => option.probability >= Smallest),
        (-1, Math.Max(0, 1 - row.Sum())),
    ];
}
