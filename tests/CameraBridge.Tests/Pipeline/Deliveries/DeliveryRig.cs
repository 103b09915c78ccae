using System.Collections.Concurrent;
using System.Net;
using CameraBridge.Configuration;
using CameraBridge.Dicom.Dimse;
using CameraBridge.Dicom.UpperLayer;
using CameraBridge.Persistence;
using CameraBridge.Persistence.Sqlite;
using CameraBridge.Pipeline;
using CameraBridge.Pipeline.Deliveries;
using CameraBridge.Tests.Persistence;
using Microsoft.Extensions.Logging.Abstractions;
using Microsoft.Extensions.Time.Testing;
using Xunit;

namespace CameraBridge.Tests.Pipeline.Deliveries;

/// <summary>A state, a spool, an archive on the loopback that answers as the test says, and the stage between them.</summary>
internal sealed class DeliveryRig : IAsyncDisposable
{
    public const string Destination = "archive";

    private readonly DirectoryInfo _folder;
    private readonly Provider _archive;

    private DeliveryRig(DirectoryInfo folder, IPipelineDatabase database, TimeProvider clock, Func<IncomingObject, ushort>? answer, string calledAETitle)
    {
        _folder = folder;
        Database = database;
        Clock = clock;
        _archive = Provider.Start(new ProviderOptions
        {
            EndPoint = new IPEndPoint(IPAddress.Loopback, 0),
            Acceptor = new AcceptorOptions
            {
                Offers = [new ContextOffer(FlowSteps.SOPClassUID, [FlowSteps.TransferSyntaxUID])],
                CalledAETitles = [calledAETitle],
            },
            Store = async (incoming, cancellation) =>
            {
                using var bytes = new MemoryStream();
                await incoming.DataSet.CopyToAsync(bytes, cancellation);
                Received.Enqueue((incoming.SOPInstanceUID, bytes.ToArray()));
                return new HandlerAnswer(answer?.Invoke(incoming) ?? Statuses.Success);
            },
        });
    }

    public IPipelineDatabase Database { get; }

    public TimeProvider Clock { get; }

    public FakeTimeProvider FakeClock => (FakeTimeProvider)Clock;

    public ConcurrentQueue<(string SOPInstanceUID, byte[] Bytes)> Received { get; } = [];

    public int ArchivePort => _archive.EndPoint.Port;

    public int ArchiveAssociations => _archive.Associations;

    public string SpoolFolder => _folder.FullName;

    private static CancellationToken Cancellation => TestContext.Current.CancellationToken;

    public static async Task<DeliveryRig> StartAsync(Func<IncomingObject, ushort>? answer = null, TimeProvider? clock = null, string calledAETitle = "ARCHIVE")
    {
        clock ??= new FakeTimeProvider(new DateTimeOffset(2026, 11, 25, 8, 0, 0, TimeSpan.Zero));
        DirectoryInfo folder = Directory.CreateTempSubdirectory("deliveries-");
        IPipelineDatabase database = await SqlitePipelineDatabase.OpenAsync(Path.Combine(folder.FullName, "state", "state.db"), clock, Cancellation);
        return new DeliveryRig(folder, database, clock, answer, calledAETitle);
    }

    /// <summary>Queues so many objects, each of a few literal bytes and a range of its spool file.</summary>
    public async Task QueueAsync(int count, string folder = "1")
    {
        string[] places = [.. Enumerable.Range(1, count).Select(i => $"{folder}/{i:0000}.jpg")];
        foreach (string place in places)
        {
            await File.WriteAllBytesAsync(Path.Combine(SpoolFolder, place.Replace('/', '-')), PixelsOf(place), Cancellation);
        }

        await FlowSteps.QueueAsync(
            Database, places, capture => [new StoredPiece([8, 0, 5, 0], null, 0, 4), new StoredPiece(null, capture.SpoolName, 10, 60_000)], Destination);
    }

    /// <summary>What must arrive for a place.</summary>
    public static byte[] ObjectOf(string place) => [8, 0, 5, 0, .. PixelsOf(place).AsSpan(10, 60_000)];

    public DeliveriesStage Stage(int? port = null, Func<DestinationConfiguration, DestinationConfiguration>? with = null, TimeSpan? responseLimit = null)
    {
        var destination = new DestinationConfiguration
        {
            Peer = new PeerConfiguration
            {
                Name = Destination,
                Host = "127.0.0.1",
                Port = port ?? ArchivePort,
                CalledAETitle = "ARCHIVE",
                ResponseLimit = responseLimit ?? TimeSpan.FromSeconds(30),
            },
            Associations = 1,
            ConfirmBy = ConfirmBy.None,
        };
        var site = new SiteConfiguration { SpoolFolder = SpoolFolder, StateFile = "" };
        return new DeliveriesStage(with?.Invoke(destination) ?? destination, site, Database, Clock, NullLogger<DeliveriesStage>.Instance, new Random(1));
    }

    /// <summary>Leases what is due and runs it.</summary>
    /// <returns>How many were due.</returns>
    public async Task<int> RunAsync(DeliveriesStage stage)
    {
        IReadOnlyList<Work> batch = await Database.LeaseAsync(CameraBridge.Persistence.Stage.Deliveries, Destination, stage.Batch, stage.Lease, Cancellation);
        await stage.RunAsync(batch, Cancellation);
        return batch.Count;
    }

    public async Task<IReadOnlyList<Delivery>> DeliveriesAsync() =>
        [.. (await Database.GetReportAsync(null, Cancellation)).SelectMany(report => report.Deliveries)];

    public async ValueTask DisposeAsync()
    {
        await _archive.DisposeAsync();
        await Database.DisposeAsync();
        _folder.Delete(recursive: true);
    }

    private static byte[] PixelsOf(string place)
    {
        byte[] pixels = new byte[60_010];
        new Random(place.Sum(c => c)).NextBytes(pixels);
        return pixels;
    }
}
