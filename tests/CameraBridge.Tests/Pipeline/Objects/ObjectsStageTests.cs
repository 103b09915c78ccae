using System.Text;
using CameraBridge.Configuration;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Part10;
using CameraBridge.Dicom.Web;
using CameraBridge.Persistence;
using CameraBridge.Persistence.Sqlite;
using CameraBridge.Pipeline;
using CameraBridge.Pipeline.Deliveries;
using CameraBridge.Pipeline.Objects;
using CameraBridge.Pipeline.Objects.Optics;
using CameraBridge.Pipeline.Sittings.Cues.Cards;
using CameraBridge.Tests.Dicom.Bitstreams;
using CameraBridge.Tests.Peers;
using Microsoft.Extensions.Logging.Abstractions;
using Microsoft.Extensions.Time.Testing;
using Xunit;

namespace CameraBridge.Tests.Pipeline.Objects;

/// <summary>A matched sitting on its way to objects, on a real state: what is stored, what is held, what is evidence.</summary>
public sealed class ObjectsStageTests : IDisposable
{
    private static readonly DateTimeOffset Taken = new(2026, 2, 28, 9, 15, 0, TimeSpan.FromHours(1));

    private readonly DirectoryInfo folder = Directory.CreateTempSubdirectory("objects-stage-");
    private readonly FakeTimeProvider clock = new(Taken.ToUniversalTime().AddHours(1));

    private static CancellationToken Cancellation => TestContext.Current.CancellationToken;

    private string Spool => Path.Combine(folder.FullName, "spool");

    public void Dispose() => folder.Delete(recursive: true);

    [Fact]
    public async Task A_sitting_becomes_objects_evidence_and_held_captures_in_one_go()
    {
        byte[] whole = new TestJpeg { Columns = 200 }.ToBytes();
        (IPipelineDatabase database, long sitting) = await MatchedAsync(
            ("1/label.jpg", whole), ("1/a.jpg", whole), ("1/b.jpg", new TestJpeg { Columns = 90 }.ToBytes()), ("1/torn.jpg", whole[..^9]),
            ("1/b.jpg.json", "{}"u8.ToArray()));
        await using (database)
        {
            Work work = await RunAsync(database);
            Assert.Equal(sitting, work.SubjectId);

            Dictionary<string, Capture> captures = (await database.GetCapturesOfSittingAsync(sitting, Cancellation)).ToDictionary(capture => capture.Place);
            Assert.Equal(CaptureState.Evidence, captures["1/label.jpg"].State);
            Assert.Equal(CaptureState.Evidence, captures["1/b.jpg.json"].State);
            Assert.Equal(CaptureState.Encoded, captures["1/a.jpg"].State);
            Assert.Equal(CaptureState.Encoded, captures["1/b.jpg"].State);
            Assert.Equal(CaptureState.Held, captures["1/torn.jpg"].State);
            Assert.Contains("half a picture is never filed", captures["1/torn.jpg"].HeldReason, StringComparison.Ordinal);

            List<DataSet> objects = await ObjectsAsync(database);
            Assert.Equal(2, objects.Count);
            Assert.Equal(2, objects.Select(made => made.GetString(Tags.SOPInstanceUID)).Distinct().Count());

            // The picture's own sidecar says another optic and a side: another series.
            Assert.Equal(["ES", "XC"], objects.Select(made => made.GetString(Tags.Modality)!).Order());
            Assert.Equal(2, objects.Select(made => made.GetString(Tags.SeriesInstanceUID)).Distinct().Count());
            Assert.Equal(["20260228"], objects.Select(made => made.GetString(Tags.StudyDate)!).Distinct());
            Assert.Contains(objects, made => made.GetString(Tags.ImageLaterality) == "L" && made.GetString(Tags.BodyPartExamined) == "HAND");
        }
    }

    [Fact]
    public async Task Cards_say_the_side_of_what_follows_are_evidence_and_so_is_what_they_take_back()
    {
        byte[] whole = new TestJpeg().ToBytes();
        (IPipelineDatabase database, long sitting) = await MatchedAsync(
            ("3/a.jpg", whole), ("3/b-left.jpg", whole), ("3/c.jpg", whole), ("3/d.jpg", whole), ("3/e-ignore.jpg", whole));
        await using (database)
        {
            await RunAsync(database);

            IReadOnlyList<Capture> captures = await database.GetCapturesOfSittingAsync(sitting, Cancellation);
            Assert.Equal(
                [CaptureState.Encoded, CaptureState.Evidence, CaptureState.Encoded, CaptureState.Evidence, CaptureState.Evidence], captures.Select(capture => capture.State));
            Assert.Equal("picture 4 is taken back by the card in picture 5: it is kept, and not filed", captures[3].HeldReason);
            Assert.Equal(
                [("1", null), ("2", "L")],
                (await ObjectsAsync(database)).Select(made => (made.GetString(Tags.InstanceNumber)!, made.GetString(Tags.ImageLaterality))).Order());
        }
    }

    [Fact]
    public async Task A_spool_file_that_is_gone_or_has_changed_holds_its_capture_only()
    {
        byte[] whole = new TestJpeg().ToBytes();
        (IPipelineDatabase database, long sitting) = await MatchedAsync(("1/a.jpg", whole), ("1/b.jpg", whole), ("1/c.jpg", whole));
        await using (database)
        {
            File.Delete(Path.Combine(Spool, "a.jpg"));
            File.AppendAllBytes(Path.Combine(Spool, "b.jpg"), [0]);

            await RunAsync(database);

            Assert.Equal(
                [CaptureState.Held, CaptureState.Held, CaptureState.Encoded],
                (await database.GetCapturesOfSittingAsync(sitting, Cancellation)).Select(capture => capture.State));
        }
    }

    [Fact]
    public async Task A_clock_that_cannot_be_right_dates_nothing()
    {
        (IPipelineDatabase database, long _) = await MatchedAsync(Taken.AddYears(-11), ("1/a.jpg", new TestJpeg().ToBytes()));
        await using (database)
        {
            await RunAsync(database);

            // Study Date is type 2 of a study that began when the stick came; the camera's time is left out.
            DataSet made = Assert.Single(await ObjectsAsync(database));
            Assert.Equal("20260228", made.GetString(Tags.StudyDate));
            Assert.False(made.Contains(Tags.AcquisitionDateTime));
        }
    }

    [Fact]
    public async Task A_held_capture_tried_again_joins_the_series_of_those_that_could_become_objects()
    {
        byte[] whole = new TestJpeg().ToBytes();
        (IPipelineDatabase database, long sitting) = await MatchedAsync(("1/a.jpg", whole), ("1/b.jpg", whole), ("1/c.jpg", whole));
        await using (database)
        {
            File.Move(Path.Combine(Spool, "b.jpg"), Path.Combine(Spool, "aside"));
            await RunAsync(database);
            List<DataSet> before = await ObjectsAsync(database);
            File.Move(Path.Combine(Spool, "aside"), Path.Combine(Spool, "b.jpg"));

            await AgainAsync(database, sitting);

            DataSet made = Assert.Single(await ObjectsAsync(database));
            Assert.Equal(["1", "3"], before.Select(one => one.GetString(Tags.InstanceNumber)!).Order());
            Assert.Equal("2", made.GetString(Tags.InstanceNumber));
            foreach (Tag shared in (Tag[])[
                Tags.SeriesInstanceUID, Tags.SeriesNumber, Tags.SeriesDate, Tags.SeriesTime, Tags.StudyInstanceUID, Tags.StudyDate, Tags.StudyTime,
                Tags.PerformedProcedureStepID, Tags.PerformedProcedureStepStartTime, Tags.TimezoneOffsetFromUTC])
            {
                Assert.Equal(before[0].GetString(shared), made.GetString(shared));
            }

            Assert.All(await database.GetCapturesOfSittingAsync(sitting, Cancellation), capture => Assert.Equal(CaptureState.Encoded, capture.State));
        }
    }

    [Fact]
    public async Task A_sitting_whose_source_was_gone_becomes_objects_once_it_is_back_and_labels_stay_evidence()
    {
        byte[] whole = new TestJpeg().ToBytes();
        (IPipelineDatabase database, long sitting) = await MatchedAsync(("1/label.jpg", whole), ("1/a.jpg", whole));
        await using (database)
        {
            await RunAsync(database, Configuration() with { Sources = [] });
            Assert.Equal(2, Assert.Single(await database.GetHeldAsync(Cancellation)).Captures.Count(capture => capture.State == CaptureState.Held));

            await AgainAsync(database, sitting);

            Assert.Single(await ObjectsAsync(database));
            Assert.Equal(
                [CaptureState.Encoded, CaptureState.Evidence],
                (await database.GetCapturesOfSittingAsync(sitting, Cancellation)).OrderBy(capture => capture.Place).Select(capture => capture.State));
        }
    }

    [Fact]
    public async Task A_source_that_is_gone_when_held_captures_are_tried_again_changes_no_object()
    {
        byte[] whole = new TestJpeg().ToBytes();
        (IPipelineDatabase database, long sitting) = await MatchedAsync(("1/a.jpg", whole), ("1/torn.jpg", whole[..^9]));
        await using (database)
        {
            await RunAsync(database);
            await AgainAsync(database, sitting, Configuration() with { Sources = [] });

            Assert.Equal(
                [CaptureState.Encoded, CaptureState.Held],
                (await database.GetCapturesOfSittingAsync(sitting, Cancellation)).OrderBy(capture => capture.Place).Select(capture => capture.State));
        }
    }

    [Fact]
    public async Task Another_camera_at_the_source_since_begins_another_series_of_the_study()
    {
        byte[] whole = new TestJpeg().ToBytes();
        (IPipelineDatabase database, long sitting) = await MatchedAsync(("1/a.jpg", whole), ("1/b.jpg", whole));
        await using (database)
        {
            File.Move(Path.Combine(Spool, "b.jpg"), Path.Combine(Spool, "aside"));
            await RunAsync(database);
            DataSet before = Assert.Single(await ObjectsAsync(database));
            File.Move(Path.Combine(Spool, "aside"), Path.Combine(Spool, "b.jpg"));
            SourceConfiguration source = Configuration().Sources[0];

            await AgainAsync(
                database, sitting, Configuration() with { Sources = [source with { Device = source.Device with { SerialNumber = "SN-78" } }] });

            DataSet made = Assert.Single(await ObjectsAsync(database));
            Assert.NotEqual(before.GetString(Tags.SeriesInstanceUID), made.GetString(Tags.SeriesInstanceUID));
            Assert.NotEqual(before.GetString(Tags.SeriesNumber), made.GetString(Tags.SeriesNumber));
            Assert.Equal(before.GetString(Tags.SeriesTime), made.GetString(Tags.SeriesTime));
        }
    }

    [Fact]
    public async Task Stills_and_clips_of_both_sides_are_series_of_their_own_and_stills_of_a_clip_refer_to_it()
    {
        byte[] still = new TestJpeg().ToBytes();
        string drawn = Path.Combine(folder.FullName, "clip.mp4");
        await OutsideProgram.RunAsync("/usr/bin/ffmpeg",
        [
            "-v", "error", "-f", "lavfi", "-i", "testsrc2=size=640x480:rate=25:duration=4", "-c:v", "libx264", "-profile:v", "high", "-level", "3.1", "-pix_fmt", "yuv420p", drawn,
        ]);

        // The clip ran from second 8 to second 12; b was taken in it, a and c were not; d is of the other ear, f was taken a second before it ended.
        byte[] clip = await File.ReadAllBytesAsync(drawn, Cancellation);
        (IPipelineDatabase database, long sitting) = await MatchedAsync(
            ("2/at0-a.jpg", still), ("2/at9.5-b.jpg", still), ("2/at12-clip.mp4", clip), ("2/at13-c.jpg", still), ("2/at14-d.jpg", still), ("2/at11-f.jpg", still),
            ("2/camerabridge.json", "{}"u8.ToArray()), ("2/at14-d.jpg.json", "{}"u8.ToArray()));
        await using (database)
        {
            await RunAsync(database);

            Assert.All(await database.GetCapturesOfSittingAsync(sitting, Cancellation), capture => Assert.Null(capture.HeldReason));
            List<DataSet> objects = await ObjectsAsync(database);
            DataSet video = Assert.Single(objects, made => made.GetString(Tags.SOPClassUID) == SopClasses.VideoEndoscopicImageStorage);
            DataSet[] stills = [.. objects.Where(made => made != video).OrderBy(made => made.GetString(Tags.AcquisitionDateTime), StringComparer.Ordinal)];
            Assert.Equal(5, stills.Length);
            Assert.Single(stills.Select(made => made.GetString(Tags.SeriesInstanceUID)).Distinct());
            Assert.NotEqual(stills[0].GetString(Tags.SeriesInstanceUID), video.GetString(Tags.SeriesInstanceUID));

            // Places in the sitting, by the natural order of the names.
            Assert.Equal(6, objects.Select(made => made.GetInt32(Tags.InstanceNumber)).Distinct().Count());
            Assert.Equal(["R", "R", "R", "R", "L"], stills.Select(made => made.GetString(Tags.ImageLaterality)!));
            Assert.All(objects, made => Assert.False(made.Contains(Tags.Laterality)));
            Assert.Equal((100, 40m), (video.GetInt32(Tags.NumberOfFrames), video.GetDecimal(Tags.FrameTime)));
            Assert.Equal("20260228091508.000000+0100", video.GetString(Tags.AcquisitionDateTime)!.Replace("091508+", "091508.000000+", StringComparison.Ordinal));
            Assert.Equal([null, 38, 76, null, null], stills.Select(made => made.GetItem(Tags.ReferencedImageSequence)?.GetInt32(Tags.ReferencedFrameNumber)));
            Assert.Equal(video.GetString(Tags.SOPInstanceUID), stills[1].GetItem(Tags.ReferencedImageSequence)!.GetString(Tags.ReferencedSOPInstanceUID));
            Assert.Equal("1.5", stills[1].GetItem(Tags.AcquisitionContextSequence)!.GetString(Tags.NumericValue));
        }
    }

    [Fact]
    public async Task Two_sittings_of_a_study_tell_the_same_study_date_and_time()
    {
        byte[] whole = new TestJpeg().ToBytes();
        (IPipelineDatabase database, long first) = await MatchedAsync(("1/a.jpg", whole), ("1/b.jpg", whole));
        await using (database)
        {
            await RunAsync(database);

            // The next day, and after a change of the clocks.
            clock.Advance(TimeSpan.FromHours(20));
            long second = await MatchedAsync(database, Taken.AddHours(20).ToOffset(TimeSpan.FromHours(2)), [("1/c.jpg", whole)]);
            Assert.NotEqual(first, second);
            await RunAsync(database);

            List<DataSet> objects = await ObjectsAsync(database);
            Assert.Equal(["1", "1", "2"], objects.Select(made => made.GetString(Tags.InstanceNumber)!).Order());
            foreach (Tag ofStudy in (Tag[])[Tags.StudyInstanceUID, Tags.StudyDate, Tags.StudyTime, Tags.StudyID, Tags.TimezoneOffsetFromUTC])
            {
                Assert.Single(objects.Select(made => made.GetString(ofStudy)).Distinct());
            }

            Assert.Equal(["20260228 091500", "20260301 051500"], objects.Select(made => $"{made.GetString(Tags.SeriesDate)} {made.GetString(Tags.SeriesTime)}").Distinct().Order());

            // dcentvfy of dicom3tools compares all attributes of each entity (PS3.3 section A.1.2: patient, study, series, equipment) across files.
            List<string> files = [];
            foreach (DataSet made in objects)
            {
                string file = Path.Combine(folder.FullName, $"{files.Count}.dcm");
                FileMeta meta = new(made.GetString(Tags.SOPClassUID)!, made.GetString(Tags.SOPInstanceUID)!, TransferSyntax.JpegBaseline.Uid);
                await using FileStream stream = File.Create(file);
                await using Stream encoded = Part10File.Encode(meta, ElementWriter.Encode(made, TransferSyntax.JpegBaseline)).OpenRead();
                await encoded.CopyToAsync(stream, Cancellation);
                files.Add(file);
            }

            Assert.DoesNotContain("Error", await OutsideProgram.RunAsync("/usr/bin/dcentvfy", files), StringComparison.Ordinal);
        }
    }

    private async Task AgainAsync(IPipelineDatabase database, long sitting, SiteConfiguration? configuration = null)
    {
        Match match = (await database.GetMatchAsync(sitting, Cancellation))!;
        Assert.True(await database.MakeAgainAsync(match with { DecidedBy = "R. Example" }, Cancellation));
        await RunAsync(database, configuration);
    }

    private async Task<Work> RunAsync(IPipelineDatabase database, SiteConfiguration? configuration = null)
    {
        Work work = Assert.Single(await database.LeaseAsync(Stage.Objects, "", 10, TimeSpan.FromMinutes(1), Cancellation));
        await using ObjectsStage stage = new(configuration ?? Configuration(), database, NullLogger<ObjectsStage>.Instance);
        await stage.RunAsync([work], Cancellation);
        Assert.Empty(await database.LeaseAsync(Stage.Objects, "", 10, TimeSpan.FromMinutes(1), Cancellation));
        return work;
    }

    /// <summary>The objects as they would be sent, read back from their stored pieces.</summary>
    private async Task<List<DataSet>> ObjectsAsync(IPipelineDatabase database)
    {
        Work[] work =
        [
            .. await database.LeaseAsync(Stage.Deliveries, "archive", 10, TimeSpan.FromMinutes(1), Cancellation),
            .. await database.LeaseAsync(Stage.Deliveries, DeliveryLanes.ClipsOf("archive"), 10, TimeSpan.FromMinutes(1), Cancellation),
        ];
        IReadOnlyList<DeliveryTask> tasks = await database.GetDeliveriesAsync(work, Cancellation);
        return
        [
            .. tasks.Select(task => ElementReader.Read(
                JpegBaselineTests.Bytes(PixelSource.Concat(task.Object.Pieces.Select(piece => piece.Bytes is { } bytes
                    ? PixelSource.FromBytes(bytes)
                    : PixelSource.FromFile(Path.Combine(Spool, piece.SpoolName!), piece.Offset, piece.Length)))),
                TransferSyntax.JpegBaseline,
                ReadLimits.Default)),
        ];
    }

    private SiteConfiguration Configuration() => new()
    {
        SpoolFolder = Spool,
        StateFile = Path.Combine(folder.FullName, "state.db"),
        Sources = [TestFacts.Source() with { Name = "stick" }],
        Destinations = [new DestinationConfiguration { Peer = new PeerConfiguration { Name = "archive", Host = "127.0.0.1", Port = 11112, CalledAETitle = "ARCHIVE" } }],
    };

    private Task<(IPipelineDatabase Database, long Sitting)> MatchedAsync(params (string Place, byte[] Content)[] files) => MatchedAsync(Taken, files);

    private async Task<(IPipelineDatabase Database, long Sitting)> MatchedAsync(DateTimeOffset takenAt, params (string Place, byte[] Content)[] files)
    {
        SqlitePipelineDatabase database = await SqlitePipelineDatabase.OpenAsync(Configuration().StateFile, clock, Cancellation);
        return (database, await MatchedAsync(database, takenAt, files));
    }

    private async Task<long> MatchedAsync(IPipelineDatabase database, DateTimeOffset takenAt, (string Place, byte[] Content)[] files)
    {
        Directory.CreateDirectory(Spool);
        var captures = new List<Capture>();
        foreach ((string place, byte[] content) in files)
        {
            string spoolName = Path.GetFileName(place);
            await File.WriteAllBytesAsync(Path.Combine(Spool, spoolName), content, Cancellation);
            captures.Add(new Capture
            {
                Source = "stick",
                Place = place,
                Folder = "1",
                Size = content.Length,
                ModifiedAt = clock.GetUtcNow(),
                Sha256 = Convert.ToHexStringLower(System.Security.Cryptography.SHA256.HashData(Encoding.UTF8.GetBytes(place))),
                SpoolName = spoolName,
                SettledAt = clock.GetUtcNow(),
            });
        }

        await database.AddCapturesAsync(captures, TimeSpan.FromMinutes(2), Cancellation);
        IReadOnlyList<Work> looks = await database.LeaseAsync(Stage.Cues, "", 100, TimeSpan.FromMinutes(1), Cancellation);
        IReadOnlyList<Capture> taken = await database.GetCapturesAsync([.. looks.Select(look => look.SubjectId)], Cancellation);
        await database.CompleteCuesAsync(
            [.. looks.Select(look => new CaptureReading(look, takenAt.AddSeconds(Seconds(taken.Single(capture => capture.Id == look.SubjectId))), IsClip(taken.Single(capture => capture.Id == look.SubjectId)) ? "file" : "exif", CuesOf(taken.Single(capture => capture.Id == look.SubjectId))))], Cancellation);

        clock.Advance(TimeSpan.FromMinutes(3));
        Work closing = Assert.Single(await database.LeaseAsync(Stage.Sittings, "", 10, TimeSpan.FromMinutes(1), Cancellation));
        Assert.True(await database.CompleteSittingAsync(
            closing, [new SittingPart([.. (await database.GetCapturesOfSittingAsync(closing.SubjectId, Cancellation)).Select(capture => capture.Id)], "folder", false)], Cancellation));
        Work matching = Assert.Single(await database.LeaseAsync(Stage.Matches, "", 10, TimeSpan.FromMinutes(1), Cancellation));
        await database.CompleteMatchAsync(
            matching,
            new Match { SittingId = matching.SubjectId, StepJson = Encoding.UTF8.GetString(DicomJson.Write(TestFacts.Step())), DecidedAt = clock.GetUtcNow() },
            Cancellation);
        return matching.SubjectId;
    }

    /// <summary>A name such as "at12.5-x.jpg" says how many seconds after the first picture it was taken.</summary>
    private static double Seconds(Capture capture) => Path.GetFileName(capture.Place) is ['a', 't', .. var rest] && rest.Split('-') is [var seconds, _]
        ? double.Parse(seconds, System.Globalization.CultureInfo.InvariantCulture)
        : 0;

    private static bool IsClip(Capture capture) => capture.Place.EndsWith(".mp4", StringComparison.Ordinal);

    private static IReadOnlyList<Cue> CuesOf(Capture capture) => capture.Place switch
    {
        "1/label.jpg" => [new Cue { CaptureId = capture.Id, Kind = CueKind.Label, PatientID = "P0042" }],
        "2/camerabridge.json" => [new Cue { CaptureId = capture.Id, Kind = CueKind.Sidecar, Side = "R", Optic = "ear" }],
        "2/at14-d.jpg.json" => [new Cue { CaptureId = capture.Id, Kind = CueKind.Sidecar, Side = "L" }],
        "1/b.jpg.json" => [new Cue { CaptureId = capture.Id, Kind = CueKind.Sidecar, Optic = "hand", Side = "L" }],
        "3/b-left.jpg" => [Card(capture, "side", "L")],
        "3/e-ignore.jpg" => [Card(capture, "ignore", "last")],
        _ => [],
    };

    private static Cue Card(Capture capture, string key, string value) => CardReading.Read(CardText.Write(new CardCue(key, value)), OpticsTable.Own, capture.Id)!;
}
