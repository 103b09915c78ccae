using CameraBridge.Persistence;
using CameraBridge.Pipeline;
using CameraBridge.Pipeline.Objects.Optics;
using CameraBridge.Pipeline.Sittings.Cues.Cards;
using Xunit;

namespace CameraBridge.Tests.Persistence;

/// <summary>Captures, the scanner's memory, joining, closing and dividing.</summary>
public abstract partial class DatabaseContract
{
    [Fact]
    public async Task A_capture_comes_back_as_it_was_written()
    {
        IPipelineDatabase database = await OpenedAsync();
        Capture written = NewCapture("ä/IMG 1.JPG");
        long id = Assert.Single(await database.AddCapturesAsync([written], Quiet, Cancellation));

        Capture read = Assert.Single(await database.GetCapturesAsync([id, 999], Cancellation));

        Assert.Equal(written with { Id = id, SittingId = read.SittingId, State = CaptureState.Taken }, read);
    }

    [Fact]
    public async Task A_capture_known_by_source_place_and_content_is_not_taken_twice()
    {
        IPipelineDatabase database = await OpenedAsync();
        await AddAsync(database, "1/a.jpg");

        IReadOnlyList<long> again = await database.AddCapturesAsync(
            [NewCapture("1/a.jpg"), NewCapture("1/a.jpg", content: "other"), NewCapture("1/a.jpg", source: "share"), NewCapture("1/b.jpg")], Quiet, Cancellation);

        Assert.Equal(0, again[0]);
        Assert.DoesNotContain(0, again.Skip(1));
        Assert.Equal(4, (await LeaseAsync(database, Stage.Cues)).Count);
        Assert.Equal(
            ["other", Hash],
            (await database.KnownContentsAsync("stick", ["1/a.jpg", "9/z.jpg"], Cancellation)).Select(known => known.Sha256).Order().Reverse());
    }

    [Fact]
    public async Task The_scanner_remembers_every_size_and_time_of_a_place_the_latest_last()
    {
        IPipelineDatabase database = await OpenedAsync();
        await AddAsync(database, "1/a.jpg");
        DateTimeOffset first = Clock.GetUtcNow().AddTicks(-1);
        await database.NoteSeenAsync("stick", [new KnownFile("1/a.jpg", 5, first), new KnownFile("1/b.jpg", 6, first)], Cancellation);
        await database.NoteSeenAsync("stick", [new KnownFile("1/a.jpg", 100_000, first)], Cancellation);

        List<KnownFile> known = await database.KnownFilesAsync("stick", Cancellation).ToListAsync(Cancellation);

        Assert.Equal([new KnownFile("1/a.jpg", 5, first), new KnownFile("1/b.jpg", 6, first), new KnownFile("1/a.jpg", 100_000, first)], known);
        Assert.Empty(await database.KnownFilesAsync("share", Cancellation).ToListAsync(Cancellation));
    }

    [Fact]
    public async Task Captures_of_a_folder_join_its_open_sitting_and_prolong_it()
    {
        IPipelineDatabase database = await OpenedAsync();
        IReadOnlyList<long> captures = await AddAsync(database, "1/IMG_10.jpg", "2/a.jpg");
        Clock.Advance(TimeSpan.FromMinutes(1));
        IReadOnlyList<long> more = await AddAsync(database, "1/IMG_2.jpg");
        await ReadCuesAsync(database);

        long sitting = (await database.GetCapturesAsync([captures[0]], Cancellation))[0].SittingId;

        Assert.Equal([more[0], captures[0]], (await database.GetCapturesOfSittingAsync(sitting, Cancellation)).Select(capture => capture.Id));
        Clock.Advance(TimeSpan.FromMinutes(1));
        Assert.NotEqual(sitting, Assert.Single(await LeaseAsync(database, Stage.Sittings)).SubjectId);
        Clock.Advance(TimeSpan.FromMinutes(1));
        Assert.Contains(sitting, (await LeaseAsync(database, Stage.Sittings)).Select(work => work.SubjectId));
    }

    [Fact]
    public async Task A_sitting_that_is_to_close_takes_no_more_captures()
    {
        IPipelineDatabase database = await OpenedAsync();
        long first = (await AddAsync(database, "s1/1/a.jpg"))[0];
        await AddAsync(database, "s2/1/a.jpg");
        await ReadCuesAsync(database);
        Assert.Equal(2, (await database.OpenContentsAsync("stick", 10, Cancellation)).Count);

        await database.CloseSoonAsync("stick", "s1", Cancellation);
        long late = (await AddAsync(database, "s1/1/b.jpg"))[0];

        Work work = Assert.Single(await LeaseAsync(database, Stage.Sittings));
        IReadOnlyList<Capture> captures = await database.GetCapturesAsync([first, late], Cancellation);
        Assert.Equal(captures[0].SittingId, work.SubjectId);
        Sitting opened = (await database.GetSittingAsync(captures[1].SittingId, Cancellation))!;
        Assert.Equal((SittingState.Open, "late", work.SubjectId), (opened.State, opened.Begins, opened.FollowsSittingId));
        Assert.Equal(["s1/1/b.jpg", "s2/1/a.jpg"], (await database.OpenContentsAsync("stick", 10, Cancellation)).Select(known => known.Place));
    }

    [Fact]
    public async Task A_closing_that_is_put_off_comes_when_the_source_has_been_looked_at_or_when_that_time_is_over()
    {
        IPipelineDatabase database = await OpenedAsync();
        await AddAsync(database, "1/a.jpg");
        await ReadCuesAsync(database);

        // The program was away for longer than the quiet time.
        Clock.Advance(Quiet * 2);
        await database.PostponeClosingAsync("stick", TimeSpan.FromMinutes(1), Cancellation);
        Assert.Empty(await LeaseAsync(database, Stage.Sittings));
        await database.ResumeClosingAsync("stick", Cancellation);
        Assert.Single(await LeaseAsync(database, Stage.Sittings));

        await AddAsync(database, "2/a.jpg");
        await ReadCuesAsync(database);
        Clock.Advance(Quiet * 2);
        await database.PostponeClosingAsync("stick", TimeSpan.FromMinutes(1), Cancellation);
        Assert.Empty(await LeaseAsync(database, Stage.Sittings));
        Clock.Advance(TimeSpan.FromMinutes(1));
        Assert.Equal(2, (await LeaseAsync(database, Stage.Sittings)).Count);
    }

    [Fact]
    public async Task A_sitting_that_was_told_to_close_is_not_put_off()
    {
        IPipelineDatabase database = await OpenedAsync();
        await AddAsync(database, "1/a.jpg");
        await ReadCuesAsync(database);
        await database.CloseSoonAsync("stick", null, Cancellation);

        await database.PostponeClosingAsync("stick", TimeSpan.FromMinutes(1), Cancellation);

        Assert.Single(await LeaseAsync(database, Stage.Sittings));
    }

    [Fact]
    public async Task A_sitting_asked_to_close_waits_for_its_cues_and_is_due_with_the_last()
    {
        IPipelineDatabase database = await OpenedAsync();
        await AddAsync(database, "1/a.jpg", "1/b.jpg");
        await database.CloseSoonAsync("stick", null, Cancellation);
        Assert.Empty(await LeaseAsync(database, Stage.Sittings));

        Work first = Assert.Single(await LeaseAsync(database, Stage.Cues, most: 1));
        await database.CompleteCuesAsync([new CaptureReading(first, Clock.GetUtcNow(), "file", [])], Cancellation);
        Assert.Empty(await LeaseAsync(database, Stage.Sittings));

        await ReadCuesAsync(database);
        Assert.Single(await LeaseAsync(database, Stage.Sittings));
    }

    [Fact]
    public async Task Cues_and_the_time_with_its_zone_come_back_as_read()
    {
        IPipelineDatabase database = await OpenedAsync();
        long id = (await AddAsync(database, "1/a.jpg"))[0];
        var takenAt = new DateTimeOffset(2026, 3, 29, 1, 59, 59, 123, TimeSpan.FromHours(-3.5));
        var cue = new Cue
        {
            CaptureId = id,
            Kind = CueKind.Sidecar,
            Pattern = "wristband",
            PatientID = "P0001",
            IssuerOfPatientID = "HOSPITAL",
            AccessionNumber = "A1",
            Side = "R",
            Optic = "ear",
            Values = OpticValues.None.With("tooth", "11", "21").With("lens_power", "-3"),
            Finding = new Reason("unknown-key", "the sidecar names a key that is not known"),
        };
        Work work = Assert.Single(await LeaseAsync(database, Stage.Cues));
        Cue card = new() { CaptureId = id, Kind = CueKind.Card, Card = new CardCue(CardKeys.Clock, "20261125T093000Z") };
        Cue damaged = new() { CaptureId = id, Kind = CueKind.Card, Finding = new Reason("card-damaged", "a cue card cannot be read") };
        Cue scale = new() { CaptureId = id, Kind = CueKind.Card, Card = new CardCue(CardKeys.Scale, "500"), Scale = new ScaleMeasure(0.0712345678912, 0.0061, 2.5, 1920, 1080) };
        await database.CompleteCuesAsync([new CaptureReading(work, takenAt, "exif", [cue, card, damaged, scale])], Cancellation);

        Capture read = Assert.Single(await database.GetCapturesAsync([id], Cancellation));

        Assert.Equal((takenAt, takenAt.Offset, "exif", CaptureState.Read), (read.TakenAt!.Value, read.TakenAt.Value.Offset, read.TakenAtOrigin, read.State));
        Assert.Equal([cue, card, damaged, scale], await database.GetCuesOfSittingAsync(read.SittingId, Cancellation));
    }

    [Fact]
    public async Task A_sitting_is_divided_into_parts_each_with_its_captures_in_order()
    {
        IPipelineDatabase database = await OpenedAsync();
        IReadOnlyList<long> ids = await AddAsync(database, "1/1.jpg", "1/2.jpg", "1/3.jpg", "1/4.jpg", "1/5.jpg");
        await ReadCuesAsync(database, ("1/2.jpg", "P2"), ("1/5.jpg", "P5"));
        Clock.Advance(Quiet);
        Work work = Assert.Single(await LeaseAsync(database, Stage.Sittings));

        Assert.True(await database.CompleteSittingAsync(
            work,
            [
                new SittingPart([ids[0]], "folder", Empty: false),
                new SittingPart([ids[1], ids[3], ids[2]], "label", Empty: false) { Doubt = "the order is not sure" },
                new SittingPart([ids[4]], "label", Empty: true),
            ],
            Cancellation));

        IReadOnlyList<SittingReport> parts = await database.GetReportAsync("stick", Cancellation);
        Assert.Equal(work.SubjectId, parts[0].Sitting.Id);
        Assert.Equal([SittingState.Closed, SittingState.Closed, SittingState.Empty], parts.Select(part => part.Sitting.State));
        Assert.Equal([0, parts[0].Sitting.Id, parts[1].Sitting.Id], parts.Select(part => part.Sitting.FollowsSittingId));
        Assert.Equal([null, "the order is not sure", null], parts.Select(part => part.Sitting.Doubt));
        Assert.Equal([ids[1], ids[3], ids[2]], parts[1].Captures.Select(capture => capture.Id));
        Assert.Equal(CaptureState.Evidence, Assert.Single(parts[2].Captures).State);
        Assert.Equal([parts[0].Sitting.Id, parts[1].Sitting.Id], (await LeaseAsync(database, Stage.Matches)).Select(match => match.SubjectId));
        Assert.Equal("P2", Assert.Single(await database.GetCuesOfSittingAsync(parts[1].Sitting.Id, Cancellation)).PatientID);
    }

    [Fact]
    public async Task What_speaks_for_the_whole_folder_counts_in_each_part_but_a_label_only_in_its_own()
    {
        IPipelineDatabase database = await OpenedAsync();
        IReadOnlyList<long> ids = await AddAsync(database, "1/1.jpg", "1/camerabridge.json", "1/2.jpg");
        IReadOnlyList<Work> work = await LeaseAsync(database, Stage.Cues);
        await database.CompleteCuesAsync(
            [.. work.Select(piece => new CaptureReading(
                piece,
                Clock.GetUtcNow(),
                "file",
                piece.SubjectId == ids[1]
                    ? [new Cue { Kind = CueKind.Sidecar, Optic = "ear" }, new Cue { Kind = CueKind.FolderName, AccessionNumber = "A" }]
                    : [new Cue { Kind = CueKind.Label, PatientID = $"P{piece.SubjectId}" }]))],
            Cancellation);
        Clock.Advance(Quiet);
        Work closing = Assert.Single(await LeaseAsync(database, Stage.Sittings));
        Assert.True(await database.CompleteSittingAsync(
            closing,
            [
                new SittingPart([ids[0], ids[1]], "folder", Empty: false),
                new SittingPart([ids[2]], "label", Empty: false) { FolderEvidence = [ids[0], ids[1]] },
            ],
            Cancellation));

        long second = (await database.GetCapturesAsync([ids[2]], Cancellation))[0].SittingId;

        Assert.Equal(
            [CueKind.Label, CueKind.Sidecar, CueKind.FolderName],
            (await database.GetCuesOfSittingAsync(second, Cancellation)).Select(cue => cue.Kind).Order());
    }

    [Fact]
    public async Task Closing_is_refused_when_a_capture_has_joined_since_the_lease()
    {
        IPipelineDatabase database = await OpenedAsync();
        long first = (await AddAsync(database, "1/a.jpg"))[0];
        await ReadCuesAsync(database);
        Clock.Advance(Quiet);
        Work work = Assert.Single(await LeaseAsync(database, Stage.Sittings));
        long second = (await AddAsync(database, "1/b.jpg"))[0];

        Assert.False(await database.CompleteSittingAsync(work, [new SittingPart([first], "folder", Empty: false)], Cancellation));

        Assert.Empty(await LeaseAsync(database, Stage.Sittings));
        await ReadCuesAsync(database);
        Clock.Advance(Quiet);
        work = Assert.Single(await LeaseAsync(database, Stage.Sittings));
        Assert.Equal(0, work.Attempts);
        Assert.True(await database.CompleteSittingAsync(work, [new SittingPart([first, second], "folder", Empty: false)], Cancellation));
        Assert.False(await database.CompleteSittingAsync(work, [new SittingPart([first, second], "folder", Empty: false)], Cancellation));
    }

    [Fact]
    public async Task Closing_is_refused_when_the_folder_is_no_longer_quiet()
    {
        IPipelineDatabase database = await OpenedAsync();
        long first = (await AddAsync(database, "1/a.jpg"))[0];
        await ReadCuesAsync(database);
        Clock.Advance(Quiet);
        Work work = Assert.Single(await LeaseAsync(database, Stage.Sittings));
        long second = (await AddAsync(database, "1/b.jpg"))[0];
        await ReadCuesAsync(database);

        Assert.False(await database.CompleteSittingAsync(work, [new SittingPart([first, second], "folder", Empty: false)], Cancellation));
        Assert.Equal(Clock.GetUtcNow() + Quiet, await database.NextDueAsync(Stage.Sittings, "", Cancellation));
    }

    [Fact]
    public async Task Closing_is_refused_while_a_capture_still_has_cues_to_read()
    {
        IPipelineDatabase database = await OpenedAsync();
        IReadOnlyList<long> ids = await AddAsync(database, "1/a.jpg");
        Clock.Advance(Quiet);
        Work work = Assert.Single(await LeaseAsync(database, Stage.Sittings));

        Assert.False(await database.CompleteSittingAsync(work, [new SittingPart(ids, "folder", Empty: false)], Cancellation));

        Assert.Empty(await LeaseAsync(database, Stage.Sittings));
        await ReadCuesAsync(database);
        Assert.Single(await LeaseAsync(database, Stage.Sittings));
    }

    [Fact]
    public async Task A_capture_arriving_while_a_sitting_closes_is_in_exactly_one_sitting()
    {
        IPipelineDatabase[] databases = [await OpenedAsync(), await OpenedAsync("other:1:1")];
        for (int round = 0; round < 20; round++)
        {
            long first = (await AddAsync(databases[0], $"{round}/a.jpg"))[0];
            await ReadCuesAsync(databases[0]);
            Clock.Advance(Quiet);
            Work work = Assert.Single(await LeaseAsync(databases[0], Stage.Sittings));

            Task<bool> closing = Task.Run(() => databases[0].CompleteSittingAsync(work, [new SittingPart([first], "folder", Empty: false)], Cancellation), Cancellation);
            Task<IReadOnlyList<long>> joining = Task.Run(() => AddAsync(databases[1], $"{round}/b.jpg"), Cancellation);
            bool closed = await closing;
            long second = (await joining)[0];

            IReadOnlyList<Capture> captures = await databases[0].GetCapturesAsync([first, second], Cancellation);
            Assert.Equal(closed, captures[0].SittingId != captures[1].SittingId);
            Sitting sitting = (await databases[0].GetSittingAsync(captures[1].SittingId, Cancellation))!;
            Assert.Equal(SittingState.Open, sitting.State);
            await ReadCuesAsync(databases[0]);
            Clock.Advance(Quiet);
            foreach (Work open in await LeaseAsync(databases[0], Stage.Sittings))
            {
                long[] members = [.. (await databases[0].GetCapturesOfSittingAsync(open.SubjectId, Cancellation)).Select(capture => capture.Id)];
                Assert.True(await databases[0].CompleteSittingAsync(open, [new SittingPart(members, "folder", Empty: false)], Cancellation));
            }
        }
    }
}
