using CameraBridge.Configuration;
using CameraBridge.Persistence;
using CameraBridge.Pipeline;
using CameraBridge.Pipeline.Matches;
using CameraBridge.Pipeline.Matches.Clocks;
using CameraBridge.Pipeline.Sittings.Cues;
using CameraBridge.Pipeline.Sittings.Cues.Cards;
using Xunit;

namespace CameraBridge.Tests.Pipeline.Matches.Clocks;

/// <summary>What is said of the clock of a sitting's camera, from the state of a site in Berlin: 2026-11-25, an hour ahead of UTC.</summary>
public sealed class SourceClocksTests() : MatchesTests(Nine.ToUniversalTime().AddHours(3))
{
    private static readonly TimeZoneInfo Berlin = TimeZoneInfo.FindSystemTimeZoneById("Europe/Berlin");

    /// <summary>09:00 in Berlin.</summary>
    private static readonly DateTimeOffset Nine = new(2026, 11, 25, 9, 0, 0, TimeSpan.FromHours(1));

    [Fact]
    public async Task A_clock_card_in_one_folder_tells_the_time_of_the_pictures_in_the_next()
    {
        await SittingAsync("0001", new Shot(Nine.AddSeconds(192), Card: Nine));
        MatchCircumstances next = await GatherAsync(await SittingAsync("0002", new Shot(Nine.AddMinutes(40).AddSeconds(192))));

        Assert.InRange(next.Clock.Estimate!.OffsetSeconds, 189, 195);
        Assert.Equal(1, next.Clock.Estimate.Cards);
        Assert.InRange((next.FirstAt!.Value - Nine.AddMinutes(40).DateTime).TotalSeconds, -3, 3);
        Assert.Matches("^clock \\+3 min 1[0-4] s \\+/- [1-4] s, by 1 clock card$", Assert.Single(next.Clock.Evidence).Words);
    }

    [Fact]
    public async Task A_card_in_the_sitting_itself_counts_at_once()
    {
        await GatherAsync(await SittingAsync("0001", new Shot(Nine)));
        var clocks = new SourceClocks(BerlinSite(), Database, Clock);
        Assert.Null((await GatherAsync(await SittingAsync("0002", new Shot(Nine.AddMinutes(1))), clocks)).Clock.Estimate);

        MatchCircumstances own = await GatherAsync(await SittingAsync("0003", new Shot(Nine.AddHours(5), Card: Nine.AddHours(1)), new Shot(Nine.AddHours(5).AddMinutes(2))), clocks);

        Assert.InRange(own.Clock.Estimate!.OffsetSeconds, (4 * 3600) - 4, (4 * 3600) + 4);
    }

    [Fact]
    public async Task Two_cameras_of_a_source_have_two_clocks()
    {
        await SittingAsync("0001", new Shot(Nine.AddMinutes(10), "Beispiel A 1", Nine));
        Sitting other = await SittingAsync("0002", new Shot(Nine.AddMinutes(30), "Beispiel B 2"));
        Sitting same = await SittingAsync("0003", new Shot(Nine.AddMinutes(50), "Beispiel A 1"));

        Assert.Null((await GatherAsync(other)).Clock.Estimate);
        Assert.InRange((await GatherAsync(same)).Clock.Estimate!.OffsetSeconds, 597, 603);
    }

    [Fact]
    public async Task A_clock_that_was_reset_tells_no_time_and_that_is_said()
    {
        MatchCircumstances circumstances = await GatherAsync(await SittingAsync("0001", new Shot(new DateTimeOffset(2000, 1, 1, 0, 12, 0, TimeSpan.FromHours(1)))));

        Assert.True(circumstances.Clock.IsReset);
        Assert.Null(circumstances.FirstAt);
        Assert.Equal("the camera's clock was reset: it shows 2000", Assert.Single(circumstances.Clock.Findings).Words);
    }

    [Fact]
    public async Task A_clock_that_was_reset_is_good_again_by_a_card_since()
    {
        DateTimeOffset reset = new(2000, 1, 1, 0, 12, 0, TimeSpan.FromHours(1));
        await SittingAsync("0001", new Shot(reset, Card: Nine));

        MatchCircumstances next = await GatherAsync(await SittingAsync("0002", new Shot(reset.AddMinutes(30))));

        Assert.True(next.Clock.IsReset);
        Assert.InRange((next.FirstAt!.Value - Nine.AddMinutes(30).DateTime).TotalSeconds, -4, 4);
    }

    [Fact]
    public async Task A_time_that_has_not_come_yet_is_a_wrong_clock()
    {
        MatchCircumstances circumstances = await GatherAsync(await SittingAsync("0001", new Shot(Nine.AddDays(40))));

        Assert.Contains("had not come yet", Assert.Single(circumstances.Clock.Findings).Words, StringComparison.Ordinal);
        Assert.Null(circumstances.FirstAt);
    }

    [Fact]
    public async Task A_camera_that_shows_earlier_times_than_it_did_was_set_back()
    {
        await SittingAsync("0001", new Shot(Nine, "Beispiel A 1"));

        MatchCircumstances next = await GatherAsync(await SittingAsync("0002", new Shot(Nine.AddDays(-20), "Beispiel A 1")));

        Assert.Equal(CameraClock.Reset, Assert.Single(next.Clock.Findings).Code);
        Assert.Null(next.FirstAt);
    }

    [Fact]
    public async Task Times_of_files_on_a_stick_are_said_to_be_coarse_and_no_zone_of_theirs_is_held_against_them()
    {
        MatchCircumstances circumstances = await GatherAsync(await SittingAsync("0001", new Shot(Nine, Origin: CaptureTime.FileOrigin)));

        Assert.Equal([CameraClock.Coarse], circumstances.Clock.Findings.Select(finding => finding.Code));
    }

    [Fact]
    public async Task A_zone_of_the_camera_that_is_not_the_sources_is_said()
    {
        MatchCircumstances circumstances = await GatherAsync(await SittingAsync("0001", new Shot(Nine.ToOffset(TimeSpan.Zero))));

        Assert.Equal("note: the camera is set to the zone +00:00, its source to +01:00", Assert.Single(circumstances.Clock.Findings).Words);
    }

    private SiteConfiguration BerlinSite() => new()
    {
        SpoolFolder = Folder,
        StateFile = Path.Combine(Folder, "state.db"),
        TimeZone = Berlin,
        Sources = [new SourceConfiguration { Name = "van", Folder = "/van", Kind = SourceKind.Stick, Optic = "ear", StationAETitle = "CAM1" }],
    };

    private Task<MatchCircumstances> GatherAsync(Sitting sitting, SourceClocks? clocks = null) =>
        Circumstances.GatherAsync(BerlinSite(), Database, clocks ?? new SourceClocks(BerlinSite(), Database, Clock), sitting, Cancellation);

    /// <summary>A folder on the stick, whose pictures come a few minutes after the one before.</summary>
    private async Task<Sitting> SittingAsync(string folder, params Shot[] shots)
    {
        Clock.Advance(TimeSpan.FromSeconds(1));
        Capture[] captures =
        [
            .. Enumerable.Range(1, shots.Length).Select(i => Steps.Picture(0, $"{folder}/IMG_{i:0000}.JPG") with
            {
                Folder = folder, Sha256 = Convert.ToHexStringLower(System.Security.Cryptography.SHA256.HashData(System.Text.Encoding.UTF8.GetBytes($"{folder}{i}"))),
                SettledAt = Clock.GetUtcNow(), ModifiedAt = Nine, TakenAt = null, TakenAtOrigin = null, State = CaptureState.Taken,
            }),
        ];
        IReadOnlyList<long> ids = await Database.AddCapturesAsync(captures, TimeSpan.FromMinutes(1), Cancellation);
        IReadOnlyList<Work> cues = await Database.LeaseAsync(Stage.Cues, "", 10, TimeSpan.FromMinutes(5), Cancellation);
        await Database.CompleteCuesAsync([.. cues.Zip(shots, (work, shot) => new CaptureReading(work, shot.TakenAt, shot.Origin, shot.Cues) { Camera = shot.Camera })], Cancellation);
        await Database.CloseSoonAsync("van", null, Cancellation);
        Work closing = Assert.Single(await Database.LeaseAsync(Stage.Sittings, "", 10, TimeSpan.FromMinutes(5), Cancellation));
        Assert.True(await Database.CompleteSittingAsync(closing, [new SittingPart(ids, "folder", false)], Cancellation));
        return (await Database.GetSittingAsync(closing.SubjectId, Cancellation))!;
    }

    /// <summary>A picture: what the camera's clock shows, the camera as it names itself, and the instant that a clock card in it tells.</summary>
    private sealed record Shot(DateTimeOffset TakenAt, string? Camera = null, DateTimeOffset? Card = null, string Origin = CaptureTime.ExifOrigin)
    {
        public IReadOnlyList<Cue> Cues => Card is not { } time ? [] :
        [
            new Cue
            {
                Kind = CueKind.Card,
                Card = new CardCue(CardKeys.Clock, time.UtcDateTime.ToString(CardKeys.ClockForm, System.Globalization.CultureInfo.InvariantCulture)),
            },
        ];
    }
}
