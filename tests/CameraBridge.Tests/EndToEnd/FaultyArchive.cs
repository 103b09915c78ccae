using System.Collections.Concurrent;
using System.Net;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Dimse;
using CameraBridge.Dicom.UpperLayer;

namespace CameraBridge.Tests.EndToEnd;

/// <summary>
/// An archive on the loopback that answers as a test says, and keeps what it answered well. It counts every object by its SOP instance, so that one that
/// came twice is seen.
/// </summary>
internal sealed class FaultyArchive : IAsyncDisposable
{
    public const string AETitle = "FAULTARCHIVE";

    private readonly Provider provider;
    private readonly ConcurrentQueue<(string SOPInstanceUID, byte[] DataSet)> kept = [];
    private readonly ConcurrentQueue<(string SOPInstanceUID, byte[] DataSet)> refused = [];
    private int requests;

    public FaultyArchive() => provider = Provider.Start(new ProviderOptions
    {
        EndPoint = new IPEndPoint(IPAddress.Loopback, 0),
        Acceptor = new AcceptorOptions
        {
            CalledAETitles = [AETitle],
            Offers = [new ContextOffer(SopClasses.VLPhotographicImageStorage, [TransferSyntaxes.JPEGBaseline8Bit])],
        },
        Store = StoreAsync,
    });

    public int Port => provider.EndPoint.Port;

    /// <summary>Requests so far.</summary>
    public int Requests => Volatile.Read(ref requests);

    /// <summary>What is answered to the request of this number, from 0.</summary>
    public Func<int, CancellationToken, ValueTask<HandlerAnswer>> Answer { get; set; } = (_, _) => new(HandlerAnswer.Success);

    /// <summary>What was answered by success or a warning, in the order of coming; also what came again.</summary>
    public IReadOnlyList<(string SOPInstanceUID, byte[] DataSet)> Kept => [.. kept];

    /// <summary>What was answered by a failure, in the order of coming.</summary>
    public IReadOnlyList<(string SOPInstanceUID, byte[] DataSet)> Refused => [.. refused];

    /// <summary>Answers every request with this status and comment.</summary>
    public void AnswerAlways(ushort status, string? comment = null) => Answer = (_, _) => new(new HandlerAnswer(status, comment));

    public ValueTask DisposeAsync() => provider.DisposeAsync();

    private async ValueTask<HandlerAnswer> StoreAsync(IncomingObject incoming, CancellationToken cancellation)
    {
        using MemoryStream dataSet = new();
        await incoming.DataSet.CopyToAsync(dataSet, cancellation);
        HandlerAnswer answer = await Answer(Interlocked.Increment(ref requests) - 1, cancellation);
        bool isKept = Statuses.Find("C-STORE", answer.Status).Class is StatusClass.Success or StatusClass.Warning;
        (isKept ? kept : refused).Enqueue((incoming.SOPInstanceUID, dataSet.ToArray()));

        return answer;
    }
}
