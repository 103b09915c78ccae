using System.Text;
using CameraBridge.Configuration;
using CameraBridge.Dicom.Web;
using CameraBridge.Persistence;
using CameraBridge.Pipeline;
using CameraBridge.Pipeline.Matches;
using CameraBridge.Practice;
using CameraBridge.Tests.Peers;
using Microsoft.Extensions.Logging.Abstractions;
using Xunit;

namespace CameraBridge.Tests.Pipeline.Matches;

/// <summary>The stage on a real state and a real association, with the practice hospital as the worklist.</summary>
public sealed class MatchesStageTests() : MatchesTests(new DateTimeOffset(2026, 11, 25, 12, 0, 0, TimeSpan.Zero))
{
    [Fact]
    public async Task A_labelled_folder_is_matched_and_one_without_a_label_is_held_with_the_stations_steps()
    {
        await using PracticeHospital hospital = await StartAsync(Order("A0001", "P0001", "S0001"), Order("A0002", "P0002", "S0002"));
        long labelled = await SittingAsync("0001", "P0001");
        long plain = await SittingAsync("0002", null);

        await RunAsync(hospital.EndPoint.Port);

        Match match = (await Database.GetMatchAsync(labelled, Cancellation))!;
        Assert.Equal("S0001", WorklistStep.FromJson(match.StepJson!).ScheduledProcedureStepID);
        Assert.Equal(SittingState.Matched, (await Database.GetSittingAsync(labelled, Cancellation))!.State);
        Match held = (await Database.GetMatchAsync(plain, Cancellation))!;
        Assert.Equal("no-label", Assert.Single(held.HeldReasons).Code);
        Assert.Equal(2, held.Proposals.Count);
        Assert.Equal(SittingState.Held, (await Database.GetSittingAsync(plain, Cancellation))!.State);
        Assert.Single(await Database.LeaseAsync(Stage.Objects, "", 10, TimeSpan.FromMinutes(1), Cancellation));
    }

    [Fact]
    public async Task A_sitting_without_a_label_is_held_with_how_likely_each_step_is_and_why()
    {
        await using PracticeHospital hospital = await StartAsync(
            Order("A0001", "P0001", "S0001", start: "today 11:30"), Order("A0002", "P0002", "S0002", start: "today 08:50"), Order("A0003", "P0003", "S0003", start: "today 08:55"));
        await SittingAsync("0001", "P0003");
        long plain = await SittingAsync("0002", null);

        await RunAsync(hospital.EndPoint.Port);

        Match held = (await Database.GetMatchAsync(plain, Cancellation))!;
        Assert.Equal("no-label", Assert.Single(held.HeldReasons).Code);
        Assert.Equal(["S0002", "S0001", "S0003"], held.Proposals.Select(proposal => WorklistStep.FromJson(proposal.StepJson).ScheduledProcedureStepID));
        Assert.InRange(held.Proposals[0].Probability!.Value, 0.9, 1);
        Assert.Matches(
            "^started (9|10|11) min after the step of 08:50, station agrees, clock [+-]([0-9]+ min )?[0-9]+ s \\+/- ([0-9]+ min )?[0-9]+ s, (9[0-9]|over 99) %$",
            held.Proposals[0].For[0].Words);

        // The step of the labelled sitting is not this one's any more.
        Assert.Null(held.Proposals[2].Probability);
    }

    [Fact]
    public async Task Where_the_site_says_so_a_sitting_without_a_label_is_filed_and_proves_nothing_about_the_next()
    {
        await using PracticeHospital hospital = await StartAsync(Order("A0002", "P0002", "S0002", start: "today 08:50"));
        MatchingConfiguration file = new() { Unidentified = UnidentifiedPolicy.File, Threshold = 0.9 };
        long first = await SittingAsync("0001", null);

        await RunAsync(hospital.EndPoint.Port, file);

        Match match = (await Database.GetMatchAsync(first, Cancellation))!;
        Assert.Equal("A0002", WorklistStep.FromJson(match.StepJson!).AccessionNumber);
        Assert.Equal(Inferred.Code, match.Evidence[0].Code);

        // A second sitting at the same time may as well be the one: neither is more than half as likely, and it is held.
        long second = await SittingAsync("0002", null);
        await RunAsync(hospital.EndPoint.Port, file);

        Match held = (await Database.GetMatchAsync(second, Cancellation))!;
        Assert.Null(held.StepJson);
        Assert.InRange(Assert.Single(held.Proposals).Probability!.Value, 0.4, 0.5);
    }

    [Fact]
    public async Task A_labelled_sitting_of_the_same_batch_takes_its_step_before_one_without_a_label_is_looked_at()
    {
        await using PracticeHospital hospital = await StartAsync(Order("A0002", "P0002", "S0002", start: "today 08:50"));
        MatchingConfiguration file = new() { Unidentified = UnidentifiedPolicy.File, Threshold = 0.6 };
        long plain = await SittingAsync("0001", null);
        long labelled = await SittingAsync("0002", "P0002");

        await RunAsync(hospital.EndPoint.Port, file);

        Assert.Equal("A0002", WorklistStep.FromJson((await Database.GetMatchAsync(labelled, Cancellation))!.StepJson!).AccessionNumber);
        Assert.Null((await Database.GetMatchAsync(plain, Cancellation))!.StepJson);
    }

    [Fact]
    public async Task While_another_sitting_is_open_that_may_yet_show_a_label_nothing_is_filed_by_inference()
    {
        await using PracticeHospital hospital = await StartAsync(Order("A0002", "P0002", "S0002", start: "today 08:50"));
        MatchingConfiguration file = new() { Unidentified = UnidentifiedPolicy.File, Threshold = 0.3 };
        long plain = await SittingAsync("0001", null);
        await OpenSittingAsync("0002", null, (0, "exif"));

        await RunAsync(hospital.EndPoint.Port, file);

        Match held = (await Database.GetMatchAsync(plain, Cancellation))!;
        Assert.Null(held.StepJson);
        Assert.InRange(Assert.Single(held.Proposals).Probability!.Value, 0.3, 1);
    }

    [Fact]
    public async Task An_id_the_worklist_does_not_know_is_held_with_proposals()
    {
        await using PracticeHospital hospital = await StartAsync(Order("A0001", "P0001", "S0001"));
        long sitting = await SittingAsync("0001", "P0009");

        await RunAsync(hospital.EndPoint.Port);

        Match held = (await Database.GetMatchAsync(sitting, Cancellation))!;
        Assert.Equal("patient-unknown", Assert.Single(held.HeldReasons).Code);
        Assert.Equal("other-patient", Assert.Single(Assert.Single(held.Proposals).Against).Code);
    }

    [Fact]
    public async Task A_worklist_that_is_down_is_asked_again_and_then_matches()
    {
        await using PracticeHospital hospital = await StartAsync(Order("A0001", "P0001", "S0001"));
        int port = hospital.EndPoint.Port;
        await hospital.DisposeAsync();
        long sitting = await SittingAsync("0001", "P0001");

        await RunAsync(port);

        Assert.Equal("worklist-down", Assert.Single((await Database.GetMatchAsync(sitting, Cancellation))!.HeldReasons).Code);
        Assert.Empty(await Database.LeaseAsync(Stage.Matches, "", 10, TimeSpan.FromMinutes(1), Cancellation));

        await using PracticeHospital again = await StartAsync(Order("A0001", "P0001", "S0001"));
        Clock.Advance(TimeSpan.FromSeconds(31));
        await RunAsync(again.EndPoint.Port);

        Assert.NotNull((await Database.GetMatchAsync(sitting, Cancellation))!.StepJson);
    }

    [Fact]
    public async Task Of_two_worklists_one_that_is_down_makes_a_sitting_wait_though_the_other_has_its_step()
    {
        await using PracticeHospital live = await StartAsync(Order("A0001", "P0001", "S0001"));
        await using PracticeHospital other = await StartAsync(Order("A0002", "P0002", "S0002"));
        int port = other.EndPoint.Port;
        await other.DisposeAsync();
        long sitting = await SittingAsync("0001", "P0001");

        await RunAsync(live.EndPoint.Port, second: port);

        Match waiting = (await Database.GetMatchAsync(sitting, Cancellation))!;
        Assert.Null(waiting.StepJson);
        Assert.Equal("worklist-down", Assert.Single(waiting.HeldReasons).Code);
        Assert.Equal("A0001", WorklistStep.FromJson(Assert.Single(waiting.Proposals).StepJson).AccessionNumber);
        Assert.Empty(await Database.LeaseAsync(Stage.Matches, "", 10, TimeSpan.FromMinutes(1), Cancellation));

        await using PracticeHospital again = await StartAsync(Order("A0002", "P0002", "S0002"));
        Clock.Advance(TimeSpan.FromSeconds(31));
        await RunAsync(live.EndPoint.Port, second: again.EndPoint.Port);

        Match match = (await Database.GetMatchAsync(sitting, Cancellation))!;
        Assert.Equal("A0001", WorklistStep.FromJson(match.StepJson!).AccessionNumber);
        Assert.Contains("\"worklist\":\"SECOND\"", match.Inquiry, StringComparison.Ordinal);
    }

    [Fact]
    public async Task A_step_that_only_the_second_worklist_has_is_found_there()
    {
        await using PracticeHospital first = await StartAsync(Order("A0002", "P0002", "S0002"));
        await using PracticeHospital second = await StartAsync(Order("A0001", "P0001", "S0001"));
        long sitting = await SittingAsync("0001", "P0001");

        await RunAsync(first.EndPoint.Port, second: second.EndPoint.Port);

        Assert.Equal("A0001", WorklistStep.FromJson((await Database.GetMatchAsync(sitting, Cancellation))!.StepJson!).AccessionNumber);
    }

    [Fact]
    public async Task A_sitting_is_filed_under_the_step_of_a_worklist_of_the_web()
    {
        await using var server = new ScriptedWebPeer(request => request.AnswerAsync(200, Encoding.UTF8.GetString(DicomJson.WriteArray([Steps.Answer()]))));
        WorklistConfiguration web = Steps.WebWorklist(server.Root.Port, WorklistKind.MwlRs);
        SiteConfiguration site = Site(null) with { Worklists = [web with { Web = web.Web! with { Url = server.Root } }] };
        long sitting = await SittingAsync("0001", "P0001");

        IReadOnlyList<Work> batch = await Database.LeaseAsync(Stage.Matches, "", 100, TimeSpan.FromMinutes(1), Cancellation);
        await new MatchesStage(site, Database, Clock, NullLogger<MatchesStage>.Instance).RunAsync(batch, Cancellation);

        Assert.Equal("A0001", WorklistStep.FromJson((await Database.GetMatchAsync(sitting, Cancellation))!.StepJson!).AccessionNumber);
    }

    [Fact]
    public async Task Without_a_configured_worklist_everything_is_held()
    {
        long sitting = await SittingAsync("0001", "P0001");

        await RunAsync(null);

        Assert.Equal("no-worklist", Assert.Single((await Database.GetMatchAsync(sitting, Cancellation))!.HeldReasons).Code);
    }

    [Fact]
    public async Task A_step_is_found_among_what_was_answered_or_afresh_from_the_worklist()
    {
        await using PracticeHospital hospital = await StartAsync(
            Order("A0001", "P0001", "S0001"), Order("A0002", "P0002", "S0002"), Order("A0003", "P0003", "S0003", station: "CAM9", start: "today-9 08:00"));
        long id = await SittingAsync("0001", null);
        await RunAsync(hospital.EndPoint.Port);
        Sitting sitting = (await Database.GetSittingAsync(id, Cancellation))!;
        var search = new StepSearch(Site(hospital.EndPoint.Port), Database, Clock);

        StepSearchResult known = await search.FindAsync(sitting, "S0002", null, Cancellation);
        StepSearchResult knownAskedAfresh = await search.FindAsync(sitting, "S0002", null, Cancellation, afresh: true);
        StepSearchResult fresh = await search.FindAsync(sitting, null, "A0003", Cancellation);
        StepSearchResult freshById = await search.FindAsync(sitting, "S0003", null, Cancellation);
        StepSearchResult none = await search.FindAsync(sitting, "S0009", null, Cancellation);

        Assert.Equal("A0002", WorklistStep.FromJson(Assert.Single(known.Steps).StepJson).AccessionNumber);
        Assert.Null(known.Inquiry);
        Assert.Equal("A0002", WorklistStep.FromJson(Assert.Single(knownAskedAfresh.Steps).StepJson).AccessionNumber);
        Assert.NotNull(knownAskedAfresh.Inquiry);
        Proposal other = Assert.Single(fresh.Steps);
        Assert.Equal(["other-station", "other-day"], other.Against.Select(reason => reason.Code));
        Assert.NotNull(fresh.Inquiry);
        Assert.Equal(other.StepJson, Assert.Single(freshById.Steps).StepJson);
        Assert.Empty(none.Steps);
        Assert.Equal("number-invalid", (await search.FindAsync(sitting, "*", null, Cancellation)).Failure?.Code);
    }

    [Fact]
    public async Task A_hundred_sittings_are_decided_in_one_batch()
    {
        await using PracticeHospital hospital = await StartAsync([.. Enumerable.Range(0, 60).Select(i => Order($"A{i}", $"P{i}", $"S{i}"))]);
        for (int i = 0; i < 60; i++)
        {
            await SittingAsync($"{i:0000}", $"P{i}");
        }

        await RunAsync(hospital.EndPoint.Port);

        IReadOnlyList<SittingReport> report = await Database.GetReportAsync(null, Cancellation);
        Assert.All(report, sitting => Assert.Equal(SittingState.Matched, sitting.Sitting.State));
    }

    [Theory]
    [InlineData(true, 0, "exif", 23, "exif-local")]
    [InlineData(true, 0, "exif", 24 * 400, "file")]
    [InlineData(true, -24 * 400, "file", 0, "exif")]
    [InlineData(false, 0, "exif", 25, "exif")]
    [InlineData(false, 0, "exif-local", -30, "exif")]
    [InlineData(false, 0, "file", 25, "file")]
    public async Task Pictures_that_were_not_taken_in_one_go_are_held_but_a_files_own_time_is_not_held_against_the_cameras(
        bool matches, double first, string firstOrigin, double second, string secondOrigin)
    {
        await using PracticeHospital hospital = await StartAsync(Order("A0001", "P0001", "S0001"));
        long sitting = await SittingAsync("0001", "P0001", (first, firstOrigin), (second, secondOrigin));

        await RunAsync(hospital.EndPoint.Port);

        Match match = (await Database.GetMatchAsync(sitting, Cancellation))!;
        Assert.Equal(matches ? [] : ["times-apart"], match.HeldReasons.Select(reason => reason.Code));
    }

    [Fact]
    public async Task A_file_copied_today_does_not_make_a_step_of_today_fit_pictures_of_another_year()
    {
        await using PracticeHospital hospital = await StartAsync(Order("A0001", "P0001", "S0001"));
        long sitting = await SittingAsync("0001", "P0001", (24, "file"), (-24 * 400, "exif"));

        await RunAsync(hospital.EndPoint.Port);

        Reason reason = Assert.Single((await Database.GetMatchAsync(sitting, Cancellation))!.HeldReasons);
        Assert.Equal("time-unknown", reason.Code);
        Assert.Contains("the camera's clock was reset: it shows 2025", reason.Words, StringComparison.Ordinal);
    }

    private SiteConfiguration Site(int? port, MatchingConfiguration? matching = null) => new()
    {
        Matching = matching ?? new MatchingConfiguration(),
        SpoolFolder = Folder,
        StateFile = Path.Combine(Folder, "state.db"),
        Sources = [new SourceConfiguration { Name = "van", Folder = Folder, StationAETitle = "CAM1", Optic = "ear" }],
        Worklists = port is { } number ? [Steps.Worklist(number) with { RetryAfter = TimeSpan.FromSeconds(30) }] : [],
    };

    private async Task RunAsync(int? port, MatchingConfiguration? matching = null, int? second = null)
    {
        SiteConfiguration site = Site(port, matching);
        if (second is { } other)
        {
            WorklistConfiguration beside = Steps.Worklist(other);
            site = site with { Worklists = [.. site.Worklists, beside with { Peer = beside.Peer! with { Name = "SECOND" }, RetryAfter = TimeSpan.FromSeconds(30) }] };
        }

        IReadOnlyList<Work> batch = await Database.LeaseAsync(Stage.Matches, "", 100, TimeSpan.FromMinutes(1), Cancellation);
        Assert.NotEmpty(batch);
        await new MatchesStage(site, Database, Clock, NullLogger<MatchesStage>.Instance).RunAsync(batch, Cancellation);
    }

    /// <summary>A closed sitting of two pictures in a folder; a patient ID makes the first a label.</summary>
    private Task<long> SittingAsync(string folder, string? patientID) => SittingAsync(folder, patientID, (0, "exif"), (0, "exif"));

    /// <summary>The same, with the hours after the step at which each picture was taken, and where that time comes from.</summary>
    private async Task<long> SittingAsync(string folder, string? patientID, params (double Hours, string Origin)[] taken)
    {
        IReadOnlyList<long> ids = await OpenSittingAsync(folder, patientID, taken);
        await Database.CloseSoonAsync("van", null, Cancellation);
        Work closing = Assert.Single(await Database.LeaseAsync(Stage.Sittings, "", 10, TimeSpan.FromMinutes(5), Cancellation));
        Assert.True(await Database.CompleteSittingAsync(closing, [new SittingPart(ids, "folder", false)], Cancellation));
        return closing.SubjectId;
    }

    /// <summary>One whose folder is not known to be whole yet.</summary>
    /// <returns>Its captures.</returns>
    private async Task<IReadOnlyList<long>> OpenSittingAsync(string folder, string? patientID, params (double Hours, string Origin)[] taken)
    {
        Capture[] captures =
        [
            .. Enumerable.Range(1, taken.Length).Select(i => Steps.Picture(0, $"{folder}/IMG_{i:0000}.JPG") with
            {
                Folder = folder, Sha256 = Convert.ToHexStringLower(System.Security.Cryptography.SHA256.HashData(System.Text.Encoding.UTF8.GetBytes($"{folder}{i}"))),
                SettledAt = Clock.GetUtcNow(), ModifiedAt = Steps.Taken, TakenAt = null, TakenAtOrigin = null, State = CaptureState.Taken,
            }),
        ];
        IReadOnlyList<long> ids = await Database.AddCapturesAsync(captures, TimeSpan.FromMinutes(1), Cancellation);
        IReadOnlyList<Work> cues = await Database.LeaseAsync(Stage.Cues, "", 10, TimeSpan.FromMinutes(5), Cancellation);
        await Database.CompleteCuesAsync(
            [.. cues.Zip(taken, (work, time) => new CaptureReading(
                work, Steps.Taken.AddHours(time.Hours), time.Origin, work.SubjectId == ids[0] && patientID is not null ? [Steps.Label(patientID, capture: ids[0])] : []))],
            Cancellation);
        return ids;
    }

    private Task<PracticeHospital> StartAsync(params PracticeOrder[] orders) => PracticeHospital.StartAsync(
        new PracticeOptions { Orders = orders, ArchiveFolder = Path.Combine(Folder, "archive"), AETitle = "BRIDGEWL", TimeZone = TimeZoneInfo.Utc },
        Clock,
        NullLogger<PracticeHospital>.Instance,
        Cancellation);

    private static PracticeOrder Order(string accession, string patientID, string step, string station = "CAM1", string start = "today 09:30")
    {
        Assert.Null(PracticeStart.Read(start, out PracticeStart at));
        return new PracticeOrder
        {
            AccessionNumber = accession,
            PatientName = "Sample^Ida",
            PatientID = patientID,
            ScheduledProcedureStepID = step,
            ScheduledStationAETitle = station,
            Modality = "ES",
            Start = at,
        };
    }
}
