namespace CameraBridge.Tests.Pipeline.Matches.Joint.Clinic;

/// <summary>Draws days of a clinic with the truth: who was late, who did not come, who came without being planned, and whose clock was wrong.</summary>
/// <param name="habits">How the clinic works.</param>
/// <param name="seed">The same seed and habits draw the same days.</param>
internal sealed class ClinicSimulator(ClinicHabits habits, int seed)
{
    private static readonly string[] Optics = ["ear", "skin", "general"];

    private readonly Random _random = new(seed);
    private readonly double[] _drifts = [.. Enumerable.Range(0, habits.Rooms).Select(_ => 0.0)];

    /// <summary>Draws days, one after the other from the given one.</summary>
    public IReadOnlyList<ClinicDay> Draw(DateOnly from, int days) => [.. Enumerable.Range(0, days).Select(day => DrawDay(from.AddDays(day)))];

    private ClinicDay DrawDay(DateOnly date)
    {
        DateTime opens = date.ToDateTime(new TimeOnly(8, 30));
        ClinicStep[] steps =
        [
            .. Enumerable.Range(0, habits.Rooms).SelectMany(room => Enumerable.Range(0, habits.Steps).Select(number =>
            {
                string optic = Optics[_random.Next(Optics.Length)];
                return new ClinicStep(
                    room, opens.AddMinutes(number * habits.Interval), optic, optic == "ear" ? Any("R", "L", "B") : null, optic == "general" ? 3 : optic == "skin" ? 5 : 8);
            })),
        ];
        var sittings = new List<ClinicSitting>();
        double[] behind = new double[habits.Rooms];
        for (int step = 0; step < steps.Length; step++)
        {
            behind[steps[step].Room] = Math.Max(-3, behind[steps[step].Room] + (habits.Drag * Normal()));
            if (!Happens(habits.NoShow))
            {
                sittings.Add(Sitting(steps, step, behind[steps[step].Room]));
            }
        }

        for (int room = 0; room < habits.Rooms; room++)
        {
            for (double at = Exponential(habits.WalkIns / 60); at < ClinicDay.Hours * 60; at += Exponential(habits.WalkIns / 60))
            {
                string optic = Optics[_random.Next(Optics.Length)];
                sittings.Add(new ClinicSitting(
                    room, opens.AddMinutes(at - 15), -1, optic, optic == "ear" ? Any("R", "L", "B") : null, 1 + Poisson(4), Happens(habits.Labels)));
            }
        }

        return new ClinicDay(date, steps, Swap([.. sittings.OrderBy(sitting => sitting.At)]), [.. Enumerable.Range(0, habits.Rooms).Select(ClockOffset)]);
    }

    private ClinicSitting Sitting(ClinicStep[] steps, int index, double behind)
    {
        ClinicStep step = steps[index];
        int room = habits.Rooms > 1 && Happens(habits.OtherRoom) ? (step.Room + 1 + _random.Next(habits.Rooms - 1)) % habits.Rooms : step.Room;
        double late = Happens(habits.Strays) ? -60 + (_random.NextDouble() * 210) : habits.Late - 10 + (10 * Math.Exp(habits.Scatter * Normal())) + behind;
        string optic = Happens(habits.Careless) ? Optics[_random.Next(Optics.Length)] : step.Optic;
        string? side = Happens(habits.Careless) && step.Side is not null ? Any("R", "L", "B") : step.Side;
        return new ClinicSitting(room, step.ScheduledAt.AddMinutes(late), index, optic, side, 1 + Poisson(step.Pictures - 1), Happens(habits.Labels));
    }

    /// <summary>Some change places with the next one of their room: the times stay, the patients do not.</summary>
    private ClinicSitting[] Swap(ClinicSitting[] sittings)
    {
        for (int i = 0; i < sittings.Length; i++)
        {
            int next = Array.FindIndex(sittings, i + 1, sitting => sitting.Room == sittings[i].Room);
            if (next > 0 && Happens(habits.Swaps))
            {
                (sittings[i], sittings[next]) = (sittings[next] with { At = sittings[i].At }, sittings[i] with { At = sittings[next].At });
            }
        }

        return sittings;
    }

    private double ClockOffset(int room)
    {
        _drifts[room] += habits.Drift * Normal();
        double set = _drifts[room] + (habits.ClockError * Normal());
        return Happens(habits.WrongClock) ? (_random.NextDouble() * 1200) - 600
            : Happens(habits.SummerTime) ? set + (Happens(0.5) ? 60 : -60)
            : set;
    }

    private bool Happens(double share) => _random.NextDouble() < share;

    private string Any(params string[] words) => words[_random.Next(words.Length)];

    private double Normal() => Math.Sqrt(-2 * Math.Log(1 - _random.NextDouble())) * Math.Cos(2 * Math.PI * _random.NextDouble());

    private double Exponential(double rate) => rate > 0 ? -Math.Log(1 - _random.NextDouble()) / rate : double.PositiveInfinity;

    private int Poisson(double mean)
    {
        int count = 0;
        for (double left = Exponential(1); left < mean; left += Exponential(1))
        {
            count++;
        }

        return count;
    }
}
