using CameraBridge.Persistence;
using CameraBridge.Pipeline;
using Microsoft.Extensions.Time.Testing;
using Xunit;

namespace CameraBridge.Tests.Persistence;

/// <summary>
/// What every database behind the pipeline must keep. A database's own test class inherits it and says how one is opened. Split by the flow:
/// work and leases, captures and sittings, matches to deliveries.
/// </summary>
public abstract partial class DatabaseContract : IAsyncDisposable
{
    private const string Hash = "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855";

    private static readonly TimeSpan Quiet = TimeSpan.FromMinutes(2);

    private static readonly TimeSpan Lease = TimeSpan.FromMinutes(1);

    private readonly List<IPipelineDatabase> _open = [];

    protected FakeTimeProvider Clock { get; } = new(new DateTimeOffset(2026, 11, 25, 8, 0, 0, TimeSpan.Zero));

    private static CancellationToken Cancellation => TestContext.Current.CancellationToken;

    /// <summary>Opens the same state once more, as another process would.</summary>
    /// <param name="owner">Name under which leases are taken; null for this process.</param>
    internal abstract Task<IPipelineDatabase> OpenAsync(string? owner = null);

    public async ValueTask DisposeAsync()
    {
        foreach (IPipelineDatabase database in _open)
        {
            await database.DisposeAsync();
        }

        await DisposeStateAsync();
        GC.SuppressFinalize(this);
    }

    /// <summary>Removes the state after the test.</summary>
    protected abstract ValueTask DisposeStateAsync();

    /// <summary>The test has disposed of this one itself.</summary>
    internal void Forget(IPipelineDatabase database) => _open.Remove(database);

    internal async Task<IPipelineDatabase> OpenedAsync(string? owner = null)
    {
        return Opened(await OpenAsync(owner));
    }

    /// <summary>Is disposed of after the test.</summary>
    internal IPipelineDatabase Opened(IPipelineDatabase database)
    {
        _open.Add(database);
        return database;
    }

    internal Capture NewCapture(string place, string? content = null, string source = "stick") => new()
    {
        Source = source,
        Place = place,
        Folder = place.Contains('/', StringComparison.Ordinal) ? place[..place.LastIndexOf('/')] : "",
        Size = 100_000,
        ModifiedAt = Clock.GetUtcNow().AddTicks(-1),
        Sha256 = content ?? Hash,
        SpoolName = $"spool-{place.Replace('/', '-')}",
        SettledAt = Clock.GetUtcNow(),
    };

    internal async Task<IReadOnlyList<long>> AddAsync(IPipelineDatabase database, params string[] places) =>
        await database.AddCapturesAsync([.. places.Select(place => NewCapture(place))], Quiet, Cancellation);

    internal static async Task<IReadOnlyList<Work>> LeaseAsync(IPipelineDatabase database, Stage stage, string lane = "", int most = 100) =>
        await database.LeaseAsync(stage, lane, most, Lease, Cancellation);

    /// <summary>Reads all due cues; those of a place in <paramref name="labels"/> hold that patient's label.</summary>
    internal static async Task ReadCuesAsync(IPipelineDatabase database, params (string Place, string PatientID)[] labels)
    {
        IReadOnlyList<Work> work = await LeaseAsync(database, Stage.Cues, most: 10_000);
        IReadOnlyList<Capture> captures = await database.GetCapturesAsync([.. work.Select(piece => piece.SubjectId)], Cancellation);
        IEnumerable<CaptureReading> readings = work.Zip(captures, (piece, capture) => new CaptureReading(
            piece,
            new DateTimeOffset(2026, 11, 25, 9, 0, 0, TimeSpan.FromHours(1)),
            "exif-local",
            [.. labels.Where(label => label.Place == capture.Place)
                .Select(label => new Cue { CaptureId = capture.Id, Kind = CueKind.Label, PatientID = label.PatientID })]));
        Assert.Empty(await database.CompleteCuesAsync([.. readings], Cancellation));
    }

    /// <summary>Takes, reads and closes one folder as one sitting.</summary>
    internal async Task<long> ClosedSittingAsync(IPipelineDatabase database, params string[] places)
    {
        IReadOnlyList<long> captures = await AddAsync(database, places);
        await ReadCuesAsync(database);
        await database.CloseSoonAsync("stick", null, Cancellation);
        Work work = Assert.Single(await LeaseAsync(database, Stage.Sittings));
        Assert.True(await database.CompleteSittingAsync(work, [new SittingPart(captures, "folder", Empty: false)], Cancellation));
        return work.SubjectId;
    }

    internal static Match MatchOf(long sitting) => new() { SittingId = sitting, StepJson = """{"00400009":{"vr":"SH","Value":["S1"]}}""" };

    internal async Task<long> MatchedSittingAsync(IPipelineDatabase database, params string[] places)
    {
        long sitting = await ClosedSittingAsync(database, places);
        Assert.True(await database.CompleteMatchAsync(Assert.Single(await LeaseAsync(database, Stage.Matches)), MatchOf(sitting), Cancellation));
        return sitting;
    }

    /// <summary>Makes an object of every capture of a folder and queues it for the destinations.</summary>
    internal async Task<long> QueuedSittingAsync(IPipelineDatabase database, string[] places, params string[] destinations)
    {
        long sitting = await MatchedSittingAsync(database, places);
        IReadOnlyList<Capture> captures = await database.GetCapturesOfSittingAsync(sitting, Cancellation);
        Work work = Assert.Single(await LeaseAsync(database, Stage.Objects));
        Assert.True(await database.CompleteObjectsAsync(work, [.. captures.Select(capture => ObjectOf(capture) with { Destinations = destinations })], [], [], Cancellation));
        return sitting;
    }

    internal static ImagingObject ObjectOf(Capture capture) => new()
    {
        CaptureId = capture.Id,
        SOPClassUID = "1.2.840.10008.5.1.4.1.1.77.1.4",
        SOPInstanceUID = $"2.25.{capture.Id + 1000}",
        TransferSyntaxUID = "1.2.840.10008.1.2.4.50",
        Destinations = ["archive"],
        Pieces = [new StoredPiece([1, 2, 3, 0xFF], null, 0, 4), new StoredPiece(null, capture.SpoolName, 20, 99_980)],
    };
}
