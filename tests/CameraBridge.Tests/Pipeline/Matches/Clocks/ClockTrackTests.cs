using CameraBridge.Pipeline;
using CameraBridge.Pipeline.Matches.Clocks;
using CameraBridge.Pipeline.Matches.Joint;
using Xunit;

namespace CameraBridge.Tests.Pipeline.Matches.Clocks;

/// <summary>
/// How a camera's clock stands, from what tells it. The zone is that of Berlin: summer time from the last Sunday of March to the last Sunday of October, 01:00 UTC (directive
/// 2000/84/EC, articles 2 and 3), so from 2026-03-29 and to 2026-10-25.
/// </summary>
public sealed class ClockTrackTests
{
    private static readonly TimeZoneInfo Berlin = TimeZoneInfo.FindSystemTimeZoneById("Europe/Berlin");
    private static readonly DateTime Morning = new(2026, 2, 2, 8, 0, 0);

    [Fact]
    public void One_card_tells_the_clock_to_some_seconds()
    {
        ClockEstimate known = When(TrackOf(Card(Morning, 192)), Morning.AddHours(3), 192)!;

        Assert.InRange(known.OffsetSeconds, 190, 194);
        Assert.InRange(known.DeviationSeconds, 1, 5);
        Assert.True(known.CorrectsTimes);
        Assert.Matches("^clock \\+3 min 12 s \\+/- [1-5] s, by 1 clock card$", known.Words);
    }

    [Fact]
    public void Cards_of_several_days_tell_how_it_drifts()
    {
        ClockTrack track = TrackOf([.. Enumerable.Range(0, 6).Select(week => Card(Morning.AddDays(7 * week), 20 + (4 * 7 * week)))]);

        ClockEstimate later = When(track, Morning.AddDays(45), 200)!;

        Assert.InRange(later.DriftSecondsADay, 3.8, 4.2);
        Assert.InRange(later.OffsetSeconds, 20 + (4 * 45) - 4, 20 + (4 * 45) + 4);
        Assert.Single(track.Segments);
    }

    [Fact]
    public void What_is_known_fades_with_the_days_that_nobody_looked()
    {
        ClockTrack track = TrackOf(Card(Morning, 60));

        Assert.InRange(When(track, Morning.AddDays(20), 60)!.DeviationSeconds, 50, 75);
        Assert.False(When(track, Morning.AddDays(20), 60)!.CorrectsTimes);
    }

    [Fact]
    public void A_clock_that_was_set_has_two_pieces_and_between_them_nobody_knows()
    {
        ClockTrack track = TrackOf(Card(Morning, 900), Card(Morning.AddDays(1), 902), Card(Morning.AddDays(3), -5), Card(Morning.AddDays(4), -5));

        Assert.Equal(2, track.Segments.Count);
        Assert.InRange(When(track, Morning.AddHours(20), 900)!.OffsetSeconds, 896, 906);
        Assert.InRange(When(track, Morning.AddDays(5), -5)!.OffsetSeconds, -9, -1);
        Assert.Null(track.When(Morning.AddDays(2), Morning.AddDays(9)));
    }

    [Fact]
    public void A_card_that_was_photographed_late_changes_nothing()
    {
        ClockTrack track = TrackOf(Card(Morning, 10), Card(Morning.AddDays(1), 11), Card(Morning.AddDays(2), 640), Card(Morning.AddDays(3), 12), Card(Morning.AddDays(4), 13));

        Assert.InRange(When(track, Morning.AddDays(5), 13)!.OffsetSeconds, 9, 18);
    }

    [Fact]
    public void A_clock_that_did_not_follow_summer_time_is_an_hour_behind_and_said_to_be()
    {
        DateTime before = new(2026, 3, 27, 9, 0, 0);
        ClockTrack track = TrackOf(Card(before, 30), Card(before.AddDays(4), 30 - 3600));
        DateTime monday = new(2026, 3, 30, 10, 0, 0);

        Assert.Equal(-3600, track.Segments[1].DaylightSavingJump);
        Assert.InRange(When(track, monday, -3570)!.OffsetSeconds, -3580, -3560);
        Assert.Equal("the camera's clock was not put forward to summer time", track.DaylightSavingOf(monday.AddSeconds(-3570), monday.AddHours(1))!.Words);

        // Up to the very hour of the change the clock was right, though no card says so.
        Assert.InRange(When(track, new DateTime(2026, 3, 28, 22, 0, 0), 30)!.OffsetSeconds, 20, 40);
        Assert.Null(track.DaylightSavingOf(before.AddHours(2), before.AddHours(3)));
    }

    [Fact]
    public void A_clock_that_followed_winter_time_is_one_piece()
    {
        DateTime before = new(2026, 10, 24, 9, 0, 0);
        ClockTrack track = TrackOf(Card(before, 30), Card(before.AddDays(4), 31));

        Assert.Single(track.Segments);
        Assert.Null(track.DaylightSavingOf(before.AddDays(5), before.AddDays(5).AddHours(1)));
    }

    [Fact]
    public void A_clock_that_was_reset_to_another_century_is_told_by_a_card_after_that_and_by_nothing_else()
    {
        double years = (new DateTime(2000, 1, 1) - Morning).TotalSeconds;

        Assert.InRange(When(TrackOf(Card(Morning, years)), Morning.AddMinutes(9), years)!.OffsetSeconds, years - 4, years + 4);
        Assert.Null(When(TrackOf(Card(Morning.AddDays(-3), 5)), Morning, years));
    }

    [Fact]
    public void Identified_sittings_tell_an_hour_and_one_that_came_hours_late_does_not_spoil_it()
    {
        Random random = new(5);
        ClockWitness[] steps = [.. Enumerable.Range(0, 12).Select(i => Step(Morning.AddMinutes(25 * i), 3600 + (60 * (3 + (6 * random.NextDouble())))))];
        steps[5] = Step(steps[5].True, 3600 + (4 * 3600));

        ClockEstimate known = When(TrackOf(steps), Morning.AddHours(6), 3600)!;

        Assert.InRange(known.OffsetSeconds, 3600 - 240, 3600 + 240);

        // A site that is late by habit would look the same, so no time is corrected by steps alone.
        Assert.InRange(known.DeviationSeconds, ClockEstimate.MostForTimes, ClockEstimate.MostForDays);
        Assert.False(known.CorrectsTimes);
    }

    [Fact]
    public void Two_late_patients_tell_nothing() => Assert.Null(When(TrackOf(Step(Morning, 3000), Step(Morning.AddMinutes(20), 3100)), Morning.AddHours(1), 3000));

    [Fact]
    public void Files_that_come_to_a_share_at_once_tell_the_clock()
    {
        ClockWitness[] arrivals =
        [
            .. Enumerable.Range(0, 6).Select(i => new ClockWitness(WitnessKind.Arrival, Morning.AddHours(i).AddSeconds(-720), Morning.AddHours(i).AddSeconds(8 + (5 * (i % 3))))),
        ];

        ClockEstimate known = When(TrackOf(arrivals), Morning.AddHours(7), -720)!;

        Assert.InRange(known.OffsetSeconds, -780, -700);
    }

    [Fact]
    public void Files_that_are_copied_once_a_day_tell_no_wrong_clock()
    {
        ClockWitness[] arrivals =
        [
            .. Enumerable.Range(0, 6).Select(day => new ClockWitness(WitnessKind.Arrival, Morning.AddDays(day).AddMinutes(17 * day), Morning.AddDays(day).AddHours(9).AddMinutes(31 * day % 50))),
        ];

        Assert.InRange(When(TrackOf(arrivals), Morning.AddDays(6), 0)?.OffsetSeconds ?? 0, -300, 300);
    }

    [Fact]
    public void No_picture_is_put_behind_its_arrival()
    {
        ClockTrack track = TrackOf(Card(Morning, -1800));

        Assert.Null(track.When(Morning.AddHours(1), Morning.AddHours(1).AddMinutes(10)));
    }

    /// <summary>Clocks of all kinds, drawn by what the estimator takes for granted and a little worse: of what it says, as much is true as it says.</summary>
    [Fact]
    public void Uncertainties_are_true()
    {
        Random random = new(7);
        int within = 0;
        int within3 = 0;
        const int Clocks = 200;
        for (int i = 0; i < Clocks; i++)
        {
            double offset = random.Next(4) == 0 ? (random.NextDouble() * 20_000) - 10_000 : 100 * Normal(random);
            double drift = 3 * Normal(random);
            ClockWitness[] witnesses =
            [
                .. Enumerable.Range(0, 1 + random.Next(4)).Select(_ => random.NextDouble() * 20).Select(day => Card(Morning.AddDays(day), offset + (drift * day) + (1.2 * Normal(random)))),
                .. Enumerable.Range(0, random.Next(8)).Select(_ => random.NextDouble() * 20)
                    .Select(day => Step(Morning.AddDays(day), offset + (drift * day) + 300 + (500 * Normal(random)))),
            ];
            DateTime at = Morning.AddDays(22);
            double truth = offset + (drift * 22);
            ClockEstimate known = When(TrackOf(witnesses), at, truth)!;
            double apart = Math.Abs(known.OffsetSeconds - truth) / known.DeviationSeconds;
            within += apart < 1 ? 1 : 0;
            within3 += apart < 3 ? 1 : 0;
        }

        // Of a normal distribution 68 % lie within one deviation and 99.7 % within three; as near as 200 tell.
        Assert.InRange(within, 0.6 * Clocks, 0.85 * Clocks);
        Assert.InRange(within3, 0.97 * Clocks, Clocks);
    }

    private static double Normal(Random random) => Math.Sqrt(-2 * Math.Log(1 - random.NextDouble())) * Math.Cos(2 * Math.PI * random.NextDouble());

    private static ClockTrack TrackOf(params ClockWitness[] witnesses) => ClockTrack.Of(witnesses, LatenessFit.Prior, Berlin, null);

    private static ClockWitness Card(DateTime at, double fast) => new(WitnessKind.Card, at.AddSeconds(fast), at);

    private static ClockWitness Step(DateTime at, double after) => new(WitnessKind.Step, at.AddSeconds(after), at);

    /// <summary>How the clock stands in a picture that is taken at a time, lies here an hour later, and bears the time that a clock so many seconds fast shows.</summary>
    private static ClockEstimate? When(ClockTrack track, DateTime at, double fast) => track.When(at.AddSeconds(fast), at.AddHours(1));
}
