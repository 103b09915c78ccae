using System.Collections.Concurrent;
using System.Net;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Dimse;
using CameraBridge.Dicom.UpperLayer;
using CameraBridge.Tests.Persistence;

namespace CameraBridge.Tests.Pipeline.Confirmations;

/// <summary>When the scripted archive reports a commitment.</summary>
internal enum Reports
{
    InTheAssociation,
    Never,
}

/// <summary>An archive on the loopback that acknowledges everything, keeps what the test lets it keep, and answers questions about that as the test says.</summary>
internal sealed class ScriptedArchive : IAsyncDisposable
{
    private static readonly string[] Syntaxes = [TransferSyntaxes.ExplicitVRLittleEndian, TransferSyntaxes.ImplicitVRLittleEndian];

    private readonly Provider _provider;

    public ScriptedArchive(bool commits = true, bool finds = true, Reports reports = Reports.InTheAssociation)
    {
        ReportsAtOnce = reports == Reports.InTheAssociation;
        _provider = Provider.Start(new ProviderOptions
        {
            EndPoint = new IPEndPoint(IPAddress.Loopback, 0),
            Acceptor = new AcceptorOptions
            {
                Offers =
                [
                    new ContextOffer(FlowSteps.SOPClassUID, [FlowSteps.TransferSyntaxUID]),
                    .. commits ? (ContextOffer[])[new ContextOffer(SopClasses.StorageCommitmentPushModel, Syntaxes)] : [],
                    .. finds ? (ContextOffer[])[new ContextOffer(SopClasses.StudyRootQueryRetrieveInformationModelFind, Syntaxes)] : [],
                ],
            },
            Store = async (incoming, cancellation) =>
            {
                await incoming.DataSet.CopyToAsync(Stream.Null, cancellation);
                Received.Enqueue(incoming.SOPInstanceUID);
                if (Keeps(incoming.SOPInstanceUID))
                {
                    Kept[incoming.SOPInstanceUID] = incoming.Origin.SOPClassUID;
                }

                return HandlerAnswer.Success;
            },
            Find = FindAsync,
            Action = (request, cancellation) =>
            {
                CommitmentRequest asked = CommitmentRequest.Read(request.DataSet)!;
                Transactions.Enqueue(asked);
                if (reports == Reports.InTheAssociation)
                {
                    _ = ReportAsync(request, asked, cancellation);
                }

                return ValueTask.FromResult(HandlerAnswer.Success);
            },
        });
    }

    public bool ReportsAtOnce { get; }

    public int Port => _provider.EndPoint.Port;

    /// <summary>What arrived, in order, the same one as often as it came.</summary>
    public ConcurrentQueue<string> Received { get; } = [];

    /// <summary>Requests for commitment.</summary>
    public ConcurrentQueue<CommitmentRequest> Transactions { get; } = [];

    public ConcurrentDictionary<string, string> Kept { get; } = [];

    /// <summary>Whether an object that was acknowledged is kept.</summary>
    public Func<string, bool> Keeps { get; set; } = _ => true;

    /// <summary>What it would report of a request now.</summary>
    public CommitmentReport ReportOf(CommitmentRequest asked)
    {
        ILookup<bool, ReferencedInstance> kept = asked.Instances.ToLookup(instance => Kept.ContainsKey(instance.SOPInstanceUID));
        return new CommitmentReport(asked.TransactionUID, [.. kept[true]], [.. kept[false].Select(instance => new FailedInstance(instance, Statuses.NoSuchInstance))]);
    }

    public ValueTask DisposeAsync() => _provider.DisposeAsync();

    private async Task ReportAsync(InstanceRequest request, CommitmentRequest asked, CancellationToken cancellation)
    {
        await request.Answered.WaitAsync(cancellation);
        await new CommitmentReporter(request.Association).ReportAsync(ReportOf(asked), cancellation);
    }

    private async IAsyncEnumerable<FindMatch> FindAsync(FindQuery query, [System.Runtime.CompilerServices.EnumeratorCancellation] CancellationToken cancellation)
    {
        foreach ((string SOPInstanceUID, string SOPClassUID) in Kept)
        {
            cancellation.ThrowIfCancellationRequested();
            DataSet answer = new();
            answer.Set(Tags.SOPInstanceUID, SOPInstanceUID);
            answer.Set(Tags.SOPClassUID, SOPClassUID);
            yield return new FindMatch(answer);
        }

        await Task.CompletedTask;
    }
}
