using CameraBridge.Pipeline.Matches.Joint;

namespace CameraBridge.Pipeline.Matches.Clocks;

/// <summary>
/// How a camera's clock went over weeks: pieces of even drift, between which somebody set it, it was reset, or the hospital's time changed and it did not. The
/// pieces are the likeliest explanation of all witnesses together (Viterbi's algorithm over the offsets that some witness speaks for), so one that is wrong, a late
/// patient or a card that was photographed late, makes no piece of its own. Pure.
/// </summary>
internal sealed class ClockTrack
{
    /// <summary>Witnesses and offsets that are looked at; the latest ones.</summary>
    private const int MostWitnesses = 150, MostOffsets = 200;

    /// <summary>How often a clock is set anew, in a day, and how likely at least between two witnesses (common practice, no source).</summary>
    private const double SettingsADay = 0.003, LeastSetting = 1e-4;

    /// <summary>How likely a clock is not to follow a change of the hospital's time (common practice, no source).</summary>
    private const double DoesNotFollow = 0.5;

    private const double Hour = 3600;

    /// <summary>What was known so long ago, or will be known so much later, says nothing any more.</summary>
    private static readonly TimeSpan LongestSilence = TimeSpan.FromDays(60);

    /// <summary>This machine's clock and a file server's may differ by so much.</summary>
    private static readonly TimeSpan ArrivalTolerance = TimeSpan.FromMinutes(5);

    private readonly TimeZoneInfo _zone;
    private readonly string? _camera;

    private ClockTrack(IReadOnlyList<ClockSegment> segments, TimeZoneInfo zone, string? camera)
    {
        Segments = segments;
        _zone = zone;
        _camera = camera;
    }

    /// <summary>In the order of time; none without witnesses.</summary>
    public IReadOnlyList<ClockSegment> Segments { get; }

    /// <summary>Finds the pieces.</summary>
    /// <param name="witnesses">Of one camera, in any order.</param>
    /// <param name="lateness">How late the site's sittings begin.</param>
    /// <param name="zone">The zone of all local times.</param>
    /// <param name="camera">For the record.</param>
    public static ClockTrack Of(IEnumerable<ClockWitness> witnesses, Lateness lateness, TimeZoneInfo zone, string? camera)
    {
        ClockWitness[] inOrder = [.. witnesses.OrderBy(witness => witness.At).TakeLast(MostWitnesses)];
        return new ClockTrack(inOrder.Length == 0 ? [] : new LikeliestPath(inOrder, lateness, zone).Segments(), zone, camera);
    }

    /// <summary>How the clock stood when it showed this.</summary>
    /// <param name="shown">What it showed.</param>
    /// <param name="arrived">When the picture lay here, in the hospital's local time: it was taken no later.</param>
    /// <returns>Null where too little tells it, or it was set between what tells it before and after.</returns>
    public ClockEstimate? When(DateTime shown, DateTime arrived) => Find(shown, arrived) is var (segment, at) ? segment.At(at, _camera) : null;

    /// <summary>Whether the clock is an hour off since a change of the hospital's time that it did not follow; in words, or null.</summary>
    public Reason? DaylightSavingOf(DateTime shown, DateTime arrived)
    {
        if (Find(shown, arrived) is not var (segment, at) || segment.At(at, _camera) is not { } known)
        {
            return null;
        }

        // Behind in summer, or fast in winter: it still shows the other half of the year.
        bool isSummer = _zone.SupportsDaylightSavingTime && _zone.IsDaylightSavingTime(at);
        double expected = isSummer ? -Hour : Hour;
        bool isAnHourOff = _zone.SupportsDaylightSavingTime && Math.Abs(known.OffsetSeconds - expected) <= Math.Max(300, 3 * known.DeviationSeconds);
        return !isAnHourOff && segment.DaylightSavingJump == 0 ? null : new Reason(
            CameraClock.DaylightSaving,
            isSummer ? "the camera's clock was not put forward to summer time" : "the camera's clock was not put back from summer time");
    }

    private (ClockSegment Segment, DateTime At)? Find(DateTime shown, DateTime arrived)
    {
        for (int k = Segments.Count - 1; k >= 0; k--)
        {
            ClockSegment segment = Segments[k];
            DateTime at = Plus(shown, -segment.OffsetAt(Plus(shown, -segment.OffsetAt(segment.Last))));
            if (at > arrived + ArrivalTolerance || at < segment.First - LongestSilence || at > segment.Last + LongestSilence)
            {
                continue;
            }

            bool afterBegin = k == 0 || at >= BeginOf(k);
            bool beforeEnd = k == Segments.Count - 1 || at <= segment.Last || (Segments[k + 1].DaylightSavingJump != 0 && at < BeginOf(k + 1));
            if (afterBegin && beforeEnd)
            {
                return (segment, at);
            }
        }

        return null;
    }

    /// <summary>From when on a piece holds: from the change of the hospital's time on, or else from its first witness.</summary>
    private DateTime BeginOf(int piece) => Segments[piece].DaylightSavingJump == 0
        ? Segments[piece].First
        : ChangeBetween(Segments[piece - 1].Last, Segments[piece].First);

    /// <summary>To the quarter of an hour.</summary>
    private DateTime ChangeBetween(DateTime from, DateTime until)
    {
        TimeSpan before = _zone.GetUtcOffset(from);
        while (until - from > TimeSpan.FromMinutes(15))
        {
            DateTime middle = from + ((until - from) / 2);
            (from, until) = _zone.GetUtcOffset(middle) == before ? (middle, until) : (from, middle);
        }

        return until;
    }

    private static DateTime Plus(DateTime at, double seconds)
    {
        double ticks = at.Ticks + (seconds * TimeSpan.TicksPerSecond);
        return ticks <= 0 ? DateTime.MinValue : ticks >= DateTime.MaxValue.Ticks ? DateTime.MaxValue : new DateTime((long)ticks);
    }

    /// <summary>The likeliest path through the offsets.</summary>
    private sealed class LikeliestPath(ClockWitness[] witnesses, Lateness lateness, TimeZoneInfo zone)
    {
        private readonly double[] _offsets = Offsets(witnesses, lateness);

        public List<ClockSegment> Segments()
        {
            (int[] states, double[] jumps) = Walk();
            var segments = new List<ClockSegment>();
            int begin = 0;
            for (int i = 1; i <= witnesses.Length; i++)
            {
                if (i == witnesses.Length || !double.IsNaN(jumps[i]))
                {
                    double[] near = [.. states[begin..i].Select(state => _offsets[state])];
                    segments.Add(new ClockSegment(witnesses[begin..i], near[near.Length / 2], lateness) { DaylightSavingJump = begin == 0 ? 0 : jumps[begin] });
                    begin = i;
                }
            }

            return segments;
        }

        /// <returns>For each witness its offset, and how the clock jumped before it: not a number where it did not, 0 where it was set.</returns>
        private (int[] States, double[] Jumps) Walk()
        {
            int count = _offsets.Length;
            double[] score = [.. _offsets.Select(offset => ClockPrior.Log(offset) + witnesses[0].LogLikelihood(offset, lateness))];
            var from = new int[witnesses.Length][];
            var jump = new double[witnesses.Length][];
            for (int i = 1; i < witnesses.Length; i++)
            {
                double days = Math.Max(0, (witnesses[i].At - witnesses[i - 1].At).TotalDays);
                double drift = Math.Max(0.5, ClockSegment.DriftDeviation * days);
                double change = (zone.GetUtcOffset(witnesses[i].At) - zone.GetUtcOffset(witnesses[i - 1].At)).TotalSeconds;
                int best = Array.IndexOf(score, score.Max());
                double set = score[best] + Math.Log(Math.Clamp(SettingsADay * days, LeastSetting, 0.05));
                double[] next = new double[count];
                (from[i], jump[i]) = (new int[count], new double[count]);
                for (int c = 0; c < count; c++)
                {
                    (double reached, int source, double jumped) = (set + ClockPrior.Log(_offsets[c]), best, 0);
                    for (int b = 0; b < count; b++)
                    {
                        double moved = (_offsets[c] - _offsets[b]) / drift;
                        double stays = Math.Abs(moved) > 5 ? double.NegativeInfinity : score[b] - (moved * moved / 2) + (change == 0 ? 0 : Math.Log(1 - DoesNotFollow));
                        if (stays > reached)
                        {
                            (reached, source, jumped) = (stays, b, double.NaN);
                        }

                        double left = (_offsets[c] - _offsets[b] + change) / drift;
                        double leaves = change == 0 || Math.Abs(left) > 5 ? double.NegativeInfinity : score[b] - (left * left / 2) + Math.Log(DoesNotFollow);
                        if (leaves > reached)
                        {
                            (reached, source, jumped) = (leaves, b, -change);
                        }
                    }

                    next[c] = reached + witnesses[i].LogLikelihood(_offsets[c], lateness);
                    (from[i][c], jump[i][c]) = (source, jumped);
                }

                score = next;
            }

            int[] states = new int[witnesses.Length];
            double[] jumps = new double[witnesses.Length];
            states[^1] = Array.IndexOf(score, score.Max());
            for (int i = witnesses.Length - 1; i > 0; i--)
            {
                jumps[i] = jump[i][states[i]];
                states[i - 1] = from[i][states[i]];
            }

            return (states, jumps);
        }

        /// <summary>Offsets that some witness speaks for, right or an hour beside, and none; each once.</summary>
        private static double[] Offsets(ClockWitness[] witnesses, Lateness lateness)
        {
            double[] spoken =
            [
                .. witnesses.Where(witness => witness.Kind == WitnessKind.Card).Reverse().Select(witness => witness.Likeliest(lateness)),
                0,
                .. witnesses.Where(witness => witness.Kind is WitnessKind.Step or WitnessKind.Arrival || (witness.Kind == WitnessKind.Stick && witness.Difference > 0))
                    .Reverse().Select(witness => witness.Likeliest(lateness)),
            ];
            return [.. spoken.SelectMany(offset => new[] { offset, offset + Hour, offset - Hour }).DistinctBy(Math.Round).Take(MostOffsets)];
        }
    }
}
