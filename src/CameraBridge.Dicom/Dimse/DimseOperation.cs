using System.Threading.Channels;
using CameraBridge.Dicom.UpperLayer;

namespace CameraBridge.Dicom.Dimse;

/// <summary>A request that was sent and the responses to it.</summary>
internal sealed class DimseOperation(DimseChannel channel, AcceptedContext context, ushort messageId, CommandField expected) : IDisposable
{
    // A worklist that answers faster than its answers are looked at is slowed down by TCP, not stored without bound.
    private const int Waiting = 64;

    private readonly Channel<DimseResponse> responses = Channel.CreateBounded<DimseResponse>(
        new BoundedChannelOptions(Waiting) { SingleReader = true, SingleWriter = false });

    private bool sent;

    public AcceptedContext Context { get; } = context;

    public ushort MessageId { get; } = messageId;

    /// <summary>The command field that responses must have.</summary>
    public CommandField Expected { get; } = expected;

    /// <summary>True when a response is there to be taken.</summary>
    public bool HasAnswer => responses.Reader.TryPeek(out _);

    /// <summary>True when the final response arrived.</summary>
    public bool IsFinal { get; private set; }

    /// <summary>The last of the request is leaving: from here on a success may be believed.</summary>
    public void LastIsLeaving() => Volatile.Write(ref sent, true);

    /// <summary>The next response, under the Response limit.</summary>
    /// <exception cref="AssociationException">The association is broken, now or before.</exception>
    public async Task<DimseResponse> NextAsync(CancellationToken cancellationToken)
    {
        if (responses.Reader.TryRead(out DimseResponse? ready))
        {
            return ready;
        }

        Association association = channel.Association;
        Task<bool> more = responses.Reader.WaitToReadAsync(CancellationToken.None).AsTask();
        await association.WithinAsync(more, nameof(AssociationLimits.Response), association.Limits.Response, cancellationToken)
            .ConfigureAwait(false);
        return responses.Reader.TryRead(out ready)
            ? ready
            : throw association.Failure ?? association.Break(association.Violation("no final response"));
    }

    /// <summary>Takes a response in.</summary>
    /// <returns>Null when it may be there, else what is wrong with it.</returns>
    public async ValueTask<string?> AnswerAsync(DimseResponse response, CancellationToken cancellationToken)
    {
        StatusClass kind = Statuses.Find("any", response.Command.Status!.Value).Class;
        if (!Volatile.Read(ref sent) && (kind is StatusClass.Success or StatusClass.Warning or StatusClass.Pending))
        {
            return "a success before the request was sent in full";
        }

        if (IsFinal)
        {
            return "a response after the final one";
        }

        IsFinal = kind != StatusClass.Pending;
        await responses.Writer.WriteAsync(response, cancellationToken).ConfigureAwait(false);
        if (IsFinal)
        {
            responses.Writer.TryComplete();
        }

        return null;
    }

    public void Fail(AssociationException reason) => responses.Writer.TryComplete(reason);

    public void Dispose() => channel.Forget(this);
}
