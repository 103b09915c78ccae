namespace CameraBridge.Pipeline.Matches.Joint;

/// <summary>
/// The likelihood of a day as weights of pairs. A step brings a sitting with some probability, as late as <see cref="Lateness"/> says; sittings without a
/// step come as a Poisson process. So the probability of an assignment of sittings to steps, each used once at most, is proportional to the product
/// of the weights of its pairs: density of the lateness, odds of the step's coming and ratios of the traits, over the rate of sittings without a step.
/// </summary>
internal sealed class PairWeights
{
    /// <summary>Hours of the day over which a step without a time is spread.</summary>
    private const double OpenMinutes = 12 * 60;

    /// <summary>Share of the steps of a day without time that are done on another day.</summary>
    private const double OffDay = 1e-3;

    /// <summary>How much less likely a clock is by which pictures lay here before they were taken: this machine's clock may be the wrong one.</summary>
    private const double BeforeArrival = 1e-4;

    private const double ArrivalTolerance = 2;

    private readonly JointProblem _problem;
    private readonly int[] _rows;
    private readonly int[] _columns;
    private readonly double[] _static;
    private readonly TraitRarity _rarity;
    private readonly double[] _sittingMinutes;
    private readonly double[] _stepMinutes;

    public PairWeights(JointProblem problem)
    {
        _problem = problem;
        var taken = problem.Sittings.Where(sitting => sitting.IsIdentified).Select(sitting => sitting.StepIndex).ToHashSet();

        // In the order of time, whatever the order of the input was: the exact sum is narrow only then, and equal days give equal sums.
        _rows = [.. Enumerable.Range(0, problem.Sittings.Count).Where(i => !problem.Sittings[i].IsIdentified).OrderBy(i => problem.Sittings[i].FirstPictureAt)];
        _columns = [.. Enumerable.Range(0, problem.Steps.Count).Where(j => !taken.Contains(j)).OrderBy(j => problem.Steps[j].ScheduledAt)];
        _sittingMinutes = [.. problem.Sittings.Select(sitting => Minutes(sitting.FirstPictureAt))];
        _stepMinutes = [.. problem.Steps.Select(step => Minutes(step.ScheduledAt))];
        _static = new double[_rows.Length * _columns.Length];
        _rarity = new TraitRarity(problem.Sittings);
        for (int j = 0; j < _columns.Length; j++)
        {
            double odds = Odds(_columns[j]) / (problem.Parameters.WalkInsAnHour / 60);
            for (int i = 0; i < _rows.Length; i++)
            {
                _static[(i * _columns.Length) + j] = odds * TraitsOf(_rows[i], _columns[j]);
            }
        }
    }

    /// <summary>Indices of the sittings that are not identified, by time.</summary>
    public IReadOnlyList<int> Rows => _rows;

    /// <summary>Indices of the steps that no identified sitting has, by time.</summary>
    public IReadOnlyList<int> Columns => _columns;

    /// <summary>How much the traits of a sitting speak for a step, without its time; 1 for -1, none of them.</summary>
    public double TraitsOf(int sitting, int step) => step < 0 ? 1 : _rarity.Ratio(_problem.Sittings[sitting], _problem.Steps[step], _problem.Parameters);

    /// <summary>The weights of all free pairs under a state of the clock.</summary>
    /// <param name="clock">The state.</param>
    /// <param name="weights">Filled row by row, <see cref="Rows"/> times <see cref="Columns"/>.</param>
    /// <param name="table">Densities to look up, where many states are only to be compared; null: each density is computed.</param>
    /// <returns>The logarithm of the factor of all that is fixed: identified pairs and arrivals.</returns>
    public double Fill(ClockState clock, double[] weights, LatenessTable? table = null)
    {
        for (int i = 0; i < _rows.Length; i++)
        {
            double at = TimeOf(_rows[i], clock);
            for (int j = 0; j < _columns.Length; j++)
            {
                int index = (i * _columns.Length) + j;
                weights[index] = _static[index] * Density(at, _columns[j], table);
            }
        }

        double fixedLog = 0;
        bool isEarly = false;
        for (int i = 0; i < _problem.Sittings.Count; i++)
        {
            JointSitting sitting = _problem.Sittings[i];
            isEarly |= sitting.ArrivedAt is { } arrived && TimeOf(i, clock) > Minutes(arrived) + ArrivalTolerance;
            fixedLog += sitting is { IsIdentified: true, StepIndex: >= 0 } ? Math.Log(Density(TimeOf(i, clock), sitting.StepIndex)) : 0;
        }

        return fixedLog + (isEarly ? Math.Log(BeforeArrival) : 0);
    }

    private double TimeOf(int sitting, ClockState clock) =>
        _sittingMinutes[sitting] - clock.Offset - (clock.Drift * _sittingMinutes[sitting] / 1440);

    private double Minutes(DateTime time) => (time - _problem.Clock.At).TotalMinutes;

    /// <summary>Probability per minute that the step's sitting begins at this time.</summary>
    private double Density(double at, int step, LatenessTable? table = null)
    {
        double late = at - _stepMinutes[step];
        if (_problem.Steps[step].HasTime)
        {
            return table?.Density(late) ?? _problem.Parameters.Lateness.Density(late);
        }

        double midnight = late + _problem.Steps[step].ScheduledAt.TimeOfDay.TotalMinutes;
        return midnight is >= 0 and < 1440 ? 1 / OpenMinutes : OffDay / OpenMinutes;
    }

    /// <summary>That the step brings a sitting to this source, against that it has brought none by now.</summary>
    private double Odds(int step)
    {
        JointParameters parameters = _problem.Parameters;
        JointStep planned = _problem.Steps[step];
        double comes = (1 - parameters.NoShow) * planned.Station switch
        {
            JointStation.Own => 1,
            JointStation.Other => parameters.OtherStation,
            _ => 0.5,
        };
        double due = _problem.ObservedUntil is { } until && planned.HasTime ? parameters.Lateness.Until(Minutes(until) - _stepMinutes[step]) : 1;
        return comes / (1 - (comes * due));
    }
}
