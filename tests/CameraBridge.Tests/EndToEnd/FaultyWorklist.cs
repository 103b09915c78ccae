using System.Globalization;
using System.Net;
using System.Runtime.CompilerServices;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Dimse;
using CameraBridge.Dicom.UpperLayer;

namespace CameraBridge.Tests.EndToEnd;

/// <summary>A worklist on the loopback that answers as a test says.</summary>
internal sealed class FaultyWorklist : IAsyncDisposable
{
    public const string AETitle = "FAULTWORKLIST";

    private readonly Provider provider;
    private int queries;

    public FaultyWorklist() => provider = Provider.Start(new ProviderOptions
    {
        EndPoint = new IPEndPoint(IPAddress.Loopback, 0),
        Acceptor = new AcceptorOptions
        {
            CalledAETitles = [AETitle],
            Offers = [new ContextOffer(SopClasses.ModalityWorklistInformationModelFind, [TransferSyntaxes.ExplicitVRLittleEndian])],
        },
        Find = FindAsync,
    });

    public int Port => provider.EndPoint.Port;

    /// <summary>Queries so far.</summary>
    public int Queries => Volatile.Read(ref queries);

    /// <summary>What is answered; may throw <see cref="RequestFailedException"/>.</summary>
    public Func<IEnumerable<FindMatch>> Answers { get; set; } = () => [new FindMatch(FaultSite.Item())];

    /// <summary>Time that it takes for its first answer.</summary>
    public TimeSpan Slowness { get; set; }

    /// <summary>Many items of other patients, and the one that is looked for as the last.</summary>
    public static IEnumerable<FindMatch> Many(int count) => Enumerable.Range(1, count)
        .Select(i => new FindMatch(i == count ? FaultSite.Item() : FaultSite.Item(string.Create(CultureInfo.InvariantCulture, $"OTHER{i}"), number: i)));

    public ValueTask DisposeAsync() => provider.DisposeAsync();

    private async IAsyncEnumerable<FindMatch> FindAsync(FindQuery query, [EnumeratorCancellation] CancellationToken cancellation)
    {
        Interlocked.Increment(ref queries);
        await Task.Delay(Slowness, TimeProvider.System, cancellation);
        foreach (FindMatch match in Answers())
        {
            yield return match;
        }
    }
}
