using CameraBridge.Persistence;
using CameraBridge.Pipeline;
using Xunit;

namespace CameraBridge.Tests.Persistence;

/// <summary>Takes a folder through the state step by step, as the stages would, for tests of one of them.</summary>
internal static class FlowSteps
{
    public const string SOPClassUID = "1.2.840.10008.5.1.4.1.1.77.1.4";

    public const string TransferSyntaxUID = "1.2.840.10008.1.2.4.50";

    private static readonly TimeSpan Lease = TimeSpan.FromMinutes(1);

    private static CancellationToken Cancellation => TestContext.Current.CancellationToken;

    public static Capture Capture(string place, string source = "stick") => new()
    {
        Source = source,
        Place = place,
        Folder = place[..place.LastIndexOf('/')],
        Size = 1000,
        ModifiedAt = DateTimeOffset.UnixEpoch,
        Sha256 = "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
        SpoolName = place.Replace('/', '-'),
        SettledAt = DateTimeOffset.UnixEpoch,
    };

    /// <summary>Makes one object of every capture of one folder and queues them for the destinations.</summary>
    /// <param name="database">The state.</param>
    /// <param name="places">Places in one folder.</param>
    /// <param name="pieces">Pieces of the object of a capture.</param>
    /// <param name="destinations">Their names.</param>
    public static Task QueueAsync(
        IPipelineDatabase database, IReadOnlyList<string> places, Func<Capture, IReadOnlyList<StoredPiece>> pieces, params string[] destinations) =>
        QueueAsync(database, places, pieces, TransferSyntaxUID, destinations);

    /// <summary>The same in another transfer syntax, with a match of one's own.</summary>
    public static async Task QueueAsync(
        IPipelineDatabase database,
        IReadOnlyList<string> places,
        Func<Capture, IReadOnlyList<StoredPiece>> pieces,
        string transferSyntaxUID,
        IReadOnlyList<string> destinations,
        Match? match = null) =>
        await QueueAsync(database, [.. places.Select(place => Capture(place))], pieces, transferSyntaxUID, destinations, match);

    /// <summary>The same of captures that lie somewhere.</summary>
    public static async Task QueueAsync(
        IPipelineDatabase database,
        IReadOnlyList<Capture> found,
        Func<Capture, IReadOnlyList<StoredPiece>> pieces,
        string transferSyntaxUID,
        IReadOnlyList<string> destinations,
        Match? match = null)
    {
        await database.AddCapturesAsync(found, TimeSpan.Zero, Cancellation);
        IReadOnlyList<Work> cues = await database.LeaseAsync(Stage.Cues, "", int.MaxValue, Lease, Cancellation);
        await database.CompleteCuesAsync([.. cues.Select(work => new CaptureReading(work, DateTimeOffset.UnixEpoch, "file", []))], Cancellation);
        Work closing = (await database.LeaseAsync(Stage.Sittings, "", 1, Lease, Cancellation)).Single();
        IReadOnlyList<Capture> captures = await database.GetCapturesOfSittingAsync(closing.SubjectId, Cancellation);
        Assert.True(await database.CompleteSittingAsync(closing, [new SittingPart([.. captures.Select(capture => capture.Id)], "folder", Empty: false)], Cancellation));
        Work matching = (await database.LeaseAsync(Stage.Matches, "", 1, Lease, Cancellation)).Single();
        Assert.True(await database.CompleteMatchAsync(matching, (match ?? new Match { StepJson = "{}" }) with { SittingId = matching.SubjectId }, Cancellation));
        Work making = (await database.LeaseAsync(Stage.Objects, "", 1, Lease, Cancellation)).Single();
        Assert.True(await database.CompleteObjectsAsync(
            making,
            [.. captures.Select(capture => new ImagingObject
            {
                CaptureId = capture.Id,
                SOPClassUID = SOPClassUID,
                SOPInstanceUID = $"2.25.{capture.Id}",
                StudyInstanceUID = "2.25.1000",
                SeriesInstanceUID = "2.25.2000",
                TransferSyntaxUID = transferSyntaxUID,
                Pieces = pieces(capture),
                Destinations = destinations,
            })],
            [],
            [],
            Cancellation));
    }

    /// <summary>Everything that is queued is stored, and kept by its destination.</summary>
    public static async Task KeepAsync(IPipelineDatabase database, params string[] destinations)
    {
        foreach (string destination in destinations)
        {
            IReadOnlyList<Work> deliveries = await database.LeaseAsync(Stage.Deliveries, destination, int.MaxValue, Lease, Cancellation);
            Assert.Empty(await database.CompleteDeliveriesAsync(
                [.. deliveries.Select(work => new DeliveryResult(work, DeliveryState.Stored, 0, "stored", null) { ConfirmAt = DateTimeOffset.UnixEpoch })], Cancellation));
            IReadOnlyList<Work> confirmations = await database.LeaseAsync(Stage.Confirmations, destination, int.MaxValue, Lease, Cancellation);
            Assert.Empty(await database.CompleteConfirmationsAsync(
                [.. confirmations.Select(work => new ConfirmationResult(work, ConfirmationOutcome.Kept, ConfirmationWay.Query, "found", null, SendAgainMost: 2))], Cancellation));
        }
    }
}
