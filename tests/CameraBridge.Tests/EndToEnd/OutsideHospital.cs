using System.Globalization;
using CameraBridge.Tests.Peers;

namespace CameraBridge.Tests.EndToEnd;

/// <summary>dcmtk's worklist server and C-STORE receiver on the loopback, fed with invented orders.</summary>
internal sealed class OutsideHospital : IAsyncDisposable
{
    public const string WorklistAETitle = "PEERWL";
    public const string ArchiveAETitle = "PEERSTORE";

    private readonly string folder;

    private OutsideHospital(string folder, PeerProcess worklist, PeerProcess archive)
    {
        this.folder = folder;
        Worklist = worklist;
        Archive = archive;
    }

    public PeerProcess Worklist { get; }

    public PeerProcess Archive { get; }

    /// <summary>Where the receiver puts what it gets, one Part 10 file an object.</summary>
    public string ArchiveFolder => Path.Combine(folder, "archive");

    /// <summary>Where the worklist server writes every query as text.</summary>
    public string QueryFolder => Path.Combine(folder, "queries");

    /// <summary>Where the worklist items lie, one file an order.</summary>
    public string ItemFolder => Path.Combine(folder, "worklist", WorklistAETitle);

    public static async Task<OutsideHospital> StartAsync(string folder, IReadOnlyList<Order> orders, params string[] archiveOptions)
    {
        OutsideHospital places = new(folder, null!, null!);
        Directory.CreateDirectory(places.ArchiveFolder);
        Directory.CreateDirectory(places.QueryFolder);
        await WriteItemsAsync(places.ItemFolder, orders);
        // The receiver writes the data set as received, bit for bit; a file is named after its SOP instance.
        PeerProcess? worklist = null;
        PeerProcess? archive = null;
        try
        {
            worklist = await PeerProcess.StartWorklistAsync(Path.Combine(folder, "worklist"), "-csk", "-rfp", places.QueryFolder);
            archive = await PeerProcess.StartReceiverAsync(places.ArchiveFolder, ["--fork", .. archiveOptions]);
            OutsideHospital hospital = new(folder, worklist, archive);
            worklist = null;
            archive = null;
            return hospital;
        }
        finally
        {
            await DisposeAsync(worklist);
            await DisposeAsync(archive);
        }

        static ValueTask DisposeAsync(PeerProcess? peer) => peer?.DisposeAsync() ?? ValueTask.CompletedTask;
    }

    /// <summary>Makes worklist files with dcmtk's own dump2dcm, so that not a byte of them is ours.</summary>
    public static async Task WriteItemsAsync(string itemFolder, IReadOnlyList<Order> orders)
    {
        Directory.CreateDirectory(itemFolder);
        File.WriteAllText(Path.Combine(itemFolder, "lockfile"), "");
        for (int i = 0; i < orders.Count; i++)
        {
            string dump = Path.Combine(itemFolder, string.Create(CultureInfo.InvariantCulture, $"order{i}.dump"));
            File.WriteAllText(dump, orders[i].ToDump());
            await OutsideProgram.RunAsync("dump2dcm", "-q", "+te", dump, Path.ChangeExtension(dump, ".wl"));
            File.Delete(dump);
        }
    }

    public async ValueTask DisposeAsync()
    {
        await Worklist.DisposeAsync();
        await Archive.DisposeAsync();
    }
}
