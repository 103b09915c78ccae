using CameraBridge.Persistence;
using CameraBridge.Persistence.Sqlite;
using CameraBridge.Pipeline;
using CameraBridge.Tests.Persistence;

namespace CameraBridge.Tests.Commands;

/// <summary>
/// A configured site with two sittings. The first has objects for the archive that are stored, refused (two), given up, and waiting for their next attempt;
/// the second has one that is not tried yet, for a destination that is configured no more.
/// </summary>
internal sealed class DeliveriesSite : IDisposable
{
    private readonly string _folder = Directory.CreateTempSubdirectory("cb-deliveries-").FullName;

    public string Config => Path.Combine(_folder, "site.yaml");

    public string State => Path.Combine(_folder, "state.db");

    public static async Task<DeliveriesSite> CreateAsync(CancellationToken cancellation)
    {
        DeliveriesSite site = new();
        await CommandSite.WriteAsync(site._folder, cancellation);
        await using SqlitePipelineDatabase database = await site.OpenAsync(cancellation);
        await FlowSteps.QueueAsync(database, [.. Enumerable.Range(1, 5).Select(i => $"0001/IMG_{i:0000}.JPG")], Pieces, "archive");
        IReadOnlyList<Work> work = await database.LeaseAsync(Stage.Deliveries, "archive", 10, TimeSpan.FromMinutes(1), cancellation);
        await database.CompleteDeliveriesAsync(
            [
                new DeliveryResult(work[0], DeliveryState.Stored, 0x0000, "It stored it.", null),
                new DeliveryResult(work[1], DeliveryState.Refused, 0xA900, "It refused the first.", null),
                new DeliveryResult(work[2], DeliveryState.Refused, 0xC000, "It refused the second.", null),
                new DeliveryResult(work[3], DeliveryState.GivenUp, null, "Given up after 7 days.", null),
                new DeliveryResult(work[4], DeliveryState.Waiting, 0xA700, "It is full.", new DateTimeOffset(2126, 7, 1, 9, 30, 0, TimeSpan.Zero)),
            ],
            cancellation);
        await FlowSteps.QueueAsync(database, ["0002/IMG_0001.JPG"], Pieces, "museum");
        return site;
    }

    /// <summary>What is due for the archive now.</summary>
    public async Task<int> DueAsync(CancellationToken cancellation)
    {
        await using SqlitePipelineDatabase database = await OpenAsync(cancellation);
        return (await database.GetOpenWorkAsync(null, cancellation)).Where(open => open.Lane == "archive").Sum(open => open.Due);
    }

    /// <summary>Delivers what is due, for the archive and for the museum.</summary>
    public async Task DeliverAsync(CancellationToken cancellation)
    {
        await using SqlitePipelineDatabase database = await OpenAsync(cancellation);
        foreach (string lane in (string[])["archive", "museum"])
        {
            IReadOnlyList<Work> work = await database.LeaseAsync(Stage.Deliveries, lane, 10, TimeSpan.FromMinutes(1), cancellation);
            await database.CompleteDeliveriesAsync([.. work.Select(piece => new DeliveryResult(piece, DeliveryState.Stored, 0x0000, "It stored it.", null))], cancellation);
        }
    }

    public void Dispose() => Directory.Delete(_folder, recursive: true);

    private static IReadOnlyList<StoredPiece> Pieces(Capture capture) => [new StoredPiece([1, 2], null, 0, 2)];

    private Task<SqlitePipelineDatabase> OpenAsync(CancellationToken cancellation) => SqlitePipelineDatabase.OpenAsync(State, TimeProvider.System, cancellation);
}
