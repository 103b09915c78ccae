using System.Text;
using CameraBridge.Dicom.Web;
using CameraBridge.Persistence;
using CameraBridge.Persistence.Sqlite;
using CameraBridge.Pipeline;
using CameraBridge.Practice;
using CameraBridge.Tests.Persistence;
using Xunit;

namespace CameraBridge.Tests.Commands;

/// <summary>A configured site whose state has one sitting, held for lack of a label, with two proposals.</summary>
internal sealed class HeldSite : IDisposable
{
    private readonly string _folder = Directory.CreateTempSubdirectory("cb-held-").FullName;

    public string Config => Path.Combine(_folder, "site.yaml");

    public string State => Path.Combine(_folder, "state.db");

    public long Sitting { get; private set; }

    /// <param name="cancellation">Gives up.</param>
    /// <param name="labels">Whether a label was read in each picture, in the last one first.</param>
    public static async Task<HeldSite> CreateAsync(CancellationToken cancellation, bool labels = false)
    {
        HeldSite site = new();
        await CommandSite.WriteAsync(site._folder, cancellation);
        await using SqlitePipelineDatabase database = await SqlitePipelineDatabase.OpenAsync(site.State, TimeProvider.System, cancellation);
        Work matching = await ClosedAsync(database, labels, cancellation, Capture("0005/IMG_0001.JPG", 'a'), Capture("0005/IMG_0002.JPG", 'b'));
        site.Sitting = matching.SubjectId;
        Match held = new()
        {
            SittingId = site.Sitting,
            HeldReasons = [new Reason("no-label", "no picture shows a label")],
            Proposals =
            [
                new Proposal(Step("A0001", "SPS1", "Marrowdown^Hettie"), [new Reason("station", "planned for this station")], []),
                new Proposal(Step("A0002", "SPS2", "Sallowby^Piers"), [], [new Reason("day", "planned for another day")]),
            ],
            Inquiry = """{"asked":[]}""",
            DecidedAt = TimeProvider.System.GetUtcNow(),
        };
        Assert.True(await database.CompleteMatchAsync(matching, held, cancellation));
        return site;
    }

    /// <summary>Another sitting of the same morning is filed under A0002.</summary>
    /// <returns>Its number.</returns>
    public async Task<long> FileAnotherAsync(CancellationToken cancellation)
    {
        await using SqlitePipelineDatabase database = await SqlitePipelineDatabase.OpenAsync(State, TimeProvider.System, cancellation);
        Work matching = await ClosedAsync(database, labels: false, cancellation, Capture("0006/IMG_0001.JPG", 'c'));
        Assert.True(await database.CompleteMatchAsync(
            matching, new Match { SittingId = matching.SubjectId, StepJson = Step("A0002", "SPS2", "Sallowby^Piers"), DecidedAt = TimeProvider.System.GetUtcNow() }, cancellation));
        return matching.SubjectId;
    }

    /// <summary>Files the sitting under A0001; of its captures the second is held, and the first is an object if <paramref name="withObject"/>.</summary>
    public async Task FileAsync(bool withObject, CancellationToken cancellation)
    {
        await using SqlitePipelineDatabase database = await SqlitePipelineDatabase.OpenAsync(State, TimeProvider.System, cancellation);
        Assert.True(await database.AssignAsync(
            new Match { SittingId = Sitting, StepJson = Step("A0001", "SPS1", "Marrowdown^Hettie"), Evidence = [new Reason("by-label", "a label")], DecidedAt = TimeProvider.System.GetUtcNow() },
            cancellation));
        IReadOnlyList<Capture> captures = await database.GetCapturesOfSittingAsync(Sitting, cancellation);
        await CompleteObjectsAsync(
            database, withObject ? [captures[0]] : [], [.. captures.Skip(withObject ? 1 : 0).Select(capture => new CaptureVerdict(capture.Id, CaptureState.Held, "no such optic"))], cancellation);
    }

    /// <summary>Makes objects of captures as the stage would.</summary>
    public async Task<int> MakeAsync(CancellationToken cancellation)
    {
        await using SqlitePipelineDatabase database = await SqlitePipelineDatabase.OpenAsync(State, TimeProvider.System, cancellation);
        IReadOnlyList<Capture> captures = await database.GetCapturesOfSittingAsync(Sitting, cancellation);
        Capture[] open = [.. captures.Where(capture => capture.State == CaptureState.Read)];
        await CompleteObjectsAsync(database, open, [], cancellation);
        return open.Length;
    }

    public async Task<Match?> MatchAsync(CancellationToken cancellation)
    {
        await using SqlitePipelineDatabase database = await SqlitePipelineDatabase.OpenAsync(State, TimeProvider.System, cancellation);
        return await database.GetMatchAsync(Sitting, cancellation);
    }

    public void Dispose() => Directory.Delete(_folder, recursive: true);

    private static async Task CompleteObjectsAsync(
        SqlitePipelineDatabase database, IReadOnlyList<Capture> captures, IReadOnlyList<CaptureVerdict> others, CancellationToken cancellation)
    {
        Work work = (await database.LeaseAsync(Stage.Objects, "", 1, TimeSpan.FromMinutes(1), cancellation))[0];
        ImagingObject[] objects =
        [
            .. captures.Select(capture => new ImagingObject
            {
                CaptureId = capture.Id, SOPClassUID = FlowSteps.SOPClassUID, SOPInstanceUID = $"2.25.{capture.Id}", TransferSyntaxUID = FlowSteps.TransferSyntaxUID, Destinations = ["archive"],
                Pieces = [new StoredPiece([1, 2], null, 0, 2)],
            }),
        ];
        Assert.True(await database.CompleteObjectsAsync(work, objects, [], others, cancellation));
    }

    private static Capture Capture(string place, char content) => new()
    {
        Source = "stick",
        Place = place,
        Folder = "0005",
        Size = 1000,
        Sha256 = new string(content, 64),
        SpoolName = place.Replace('/', '-'),
        SettledAt = TimeProvider.System.GetUtcNow(),
    };

    private static string Step(string accessionNumber, string stepId, string name) => Encoding.UTF8.GetString(DicomJson.Write(new PracticeOrder
    {
        AccessionNumber = accessionNumber,
        PatientName = name,
        PatientID = "4100045",
        ScheduledProcedureStepID = stepId,
        ScheduledStationAETitle = "CAM1",
        Modality = "XC",
        Description = "Teeth, overview",
        Start = new PracticeStart(new DateOnly(2026, 3, 17), 0, new TimeOnly(9, 0)),
    }.ToWorklistItem(new DateOnly(2026, 3, 17))));

    /// <summary>Takes a folder as far as its match.</summary>
    private static async Task<Work> ClosedAsync(SqlitePipelineDatabase database, bool labels, CancellationToken cancellation, params IReadOnlyList<Capture> captures)
    {
        await database.AddCapturesAsync(captures, TimeSpan.FromMinutes(1), cancellation);
        IReadOnlyList<Work> cues = await database.LeaseAsync(Stage.Cues, "", 10, TimeSpan.FromMinutes(1), cancellation);
        await database.CompleteCuesAsync(
            [
                .. cues.OrderByDescending(work => work.SubjectId).Select(work => new CaptureReading(
                    work,
                    new DateTimeOffset(2026, 3, 17, 9, 4, 0, TimeSpan.Zero),
                    "exif",
                    labels ? [new Cue { CaptureId = work.SubjectId, Kind = CueKind.Label, Pattern = "wristband", PatientID = "4100045" }] : [])),
            ],
            cancellation);
        await database.CloseSoonAsync("stick", null, cancellation);
        Work closing = (await database.LeaseAsync(Stage.Sittings, "", 1, TimeSpan.FromMinutes(1), cancellation))[0];
        Assert.True(await database.CompleteSittingAsync(closing, [new SittingPart([.. cues.Select(work => work.SubjectId)], "folder", Empty: false)], cancellation));
        return (await database.LeaseAsync(Stage.Matches, "", 1, TimeSpan.FromMinutes(1), cancellation))[0];
    }
}
