using System.Net;
using System.Runtime.CompilerServices;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Dimse;
using CameraBridge.Dicom.UpperLayer;

namespace CameraBridge.Practice;

/// <summary>What a practice hospital needs.</summary>
internal sealed record PracticeOptions
{
    /// <summary>Its orders; see <see cref="PracticeOrders"/>.</summary>
    public required IReadOnlyList<PracticeOrder> Orders { get; init; }

    /// <summary>Where received objects are put; made if it is not there.</summary>
    public required string ArchiveFolder { get; init; }

    /// <summary>Port on the loopback address; 0 takes a free one.</summary>
    public int Port { get; init; }

    /// <summary>The AE title that worklist and archive answer to.</summary>
    public string AETitle { get; init; } = "PRACTICE";

    /// <summary>Zone in which "today" begins and ends.</summary>
    public TimeZoneInfo TimeZone { get; init; } = TimeZoneInfo.Local;
}

/// <summary>
/// A worklist and a storing archive to rehearse with, on the loopback address only and with invented orders. A site tries its configuration on
/// it, and the demo needs no other software.
/// </summary>
internal sealed class PracticeHospital : IAsyncDisposable
{
    private static readonly string[] StorageClasses =
    [
        SopClasses.VLPhotographicImageStorage, SopClasses.VLEndoscopicImageStorage, SopClasses.OphthalmicPhotography8BitImageStorage,
        SopClasses.DermoscopicPhotographyImageStorage, SopClasses.VideoPhotographicImageStorage, SopClasses.VideoEndoscopicImageStorage,
    ];

    private static readonly string[] NativeSyntaxes = [TransferSyntaxes.ExplicitVRLittleEndian, TransferSyntaxes.ImplicitVRLittleEndian];

    private static readonly string[] StorageSyntaxes =
    [
        TransferSyntaxes.JPEGBaseline8Bit, TransferSyntaxes.MPEG4HP41, TransferSyntaxes.MPEG4HP41BD, TransferSyntaxes.MPEG4HP422D,
        TransferSyntaxes.HEVCMP51, TransferSyntaxes.HEVCM10P51, .. NativeSyntaxes,
    ];

    private readonly PracticeOptions _options;
    private readonly PracticeArchive _archive;
    private readonly PracticeKeeping _keeping;
    private readonly TimeProvider _clock;
    private readonly ILogger<PracticeHospital> _logger;
    private Provider? _provider;
    private DayOfItems? _day;

    private PracticeHospital(PracticeOptions options, TimeProvider clock, ILogger<PracticeHospital> logger)
    {
        _options = options;
        _clock = clock;
        _logger = logger;
        _archive = new PracticeArchive(options.ArchiveFolder, logger);
        _keeping = new PracticeKeeping(options.ArchiveFolder, logger);
    }

    /// <summary>Where it listens.</summary>
    public IPEndPoint EndPoint => _provider!.EndPoint;

    /// <summary>Objects stored since the start.</summary>
    public int Stored => _archive.Stored;

    /// <summary>Begins to listen.</summary>
    /// <exception cref="System.Net.Sockets.SocketException">The port is taken.</exception>
    /// <exception cref="IOException">The archive's folder cannot be made.</exception>
    public static Task<PracticeHospital> StartAsync(
        PracticeOptions options, TimeProvider clock, ILogger<PracticeHospital> logger, CancellationToken cancellation = default)
    {
        cancellation.ThrowIfCancellationRequested();
        Directory.CreateDirectory(options.ArchiveFolder);
        var hospital = new PracticeHospital(options, clock, logger);
        hospital._provider = Provider.Start(new ProviderOptions
        {
            EndPoint = new IPEndPoint(IPAddress.Loopback, options.Port),
            Acceptor = new AcceptorOptions
            {
                CalledAETitles = [options.AETitle],
                Offers =
                [
                    new ContextOffer(SopClasses.ModalityWorklistInformationModelFind, NativeSyntaxes),
                    new ContextOffer(SopClasses.StudyRootQueryRetrieveInformationModelFind, NativeSyntaxes),
                    new ContextOffer(SopClasses.StorageCommitmentPushModel, NativeSyntaxes),
                    .. StorageClasses.Select(sopClass => new ContextOffer(sopClass, StorageSyntaxes)),
                ],
                TimeProvider = clock,
            },
            Find = (query, token) => query.Origin.SOPClassUID == SopClasses.ModalityWorklistInformationModelFind
                ? hospital.FindAsync(query, token)
                : hospital._keeping.FindAsync(query, token),
            Store = hospital._archive.StoreAsync,
            Action = hospital._keeping.CommitAsync,
            Trouble = (peer, error) => logger.Trouble(peer, error is AssociationException known ? known.Sentence : error.GetType().Name),
        });
        logger.Listening(options.AETitle, hospital.EndPoint, options.Orders.Count, options.ArchiveFolder);
        return Task.FromResult(hospital);
    }

    /// <summary>Ends all associations.</summary>
    public ValueTask DisposeAsync() => _provider?.DisposeAsync() ?? ValueTask.CompletedTask;

    private async IAsyncEnumerable<FindMatch> FindAsync(FindQuery query, [EnumeratorCancellation] CancellationToken cancellation)
    {
        var today = DateOnly.FromDateTime(TimeZoneInfo.ConvertTime(_clock.GetUtcNow(), _options.TimeZone).DateTime);
        int answers = 0;
        foreach (DataSet item in ItemsOf(today))
        {
            cancellation.ThrowIfCancellationRequested();
            if (WorklistMatching.Matches(query.Identifier, item))
            {
                answers++;
                yield return new FindMatch(WorklistMatching.Answer(query.Identifier, item));
            }
        }

        _logger.Asked(query.Origin.PeerName, answers);
        await Task.CompletedTask.ConfigureAwait(false);
    }

    private IReadOnlyList<DataSet> ItemsOf(DateOnly today)
    {
        DayOfItems? day = _day;
        if (day?.Day != today)
        {
            _day = day = new DayOfItems(today, [.. _options.Orders.Select(order => order.ToWorklistItem(today))]);
        }

        return day.Items;
    }

    /// <summary>The worklist of one day; made anew after midnight.</summary>
    private sealed record DayOfItems(DateOnly Day, IReadOnlyList<DataSet> Items);
}
