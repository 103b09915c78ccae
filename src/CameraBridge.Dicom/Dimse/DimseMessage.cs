using CameraBridge.Dicom.UpperLayer;

namespace CameraBridge.Dicom.Dimse;

/// <summary>A response as it arrived: its command and, for services that have one, its data set in the bytes of the transfer syntax.</summary>
/// <param name="Context">Presentation context.</param>
/// <param name="Command">Command.</param>
/// <param name="DataSet">Encoded data set, empty when there is none.</param>
internal sealed record DimseResponse(AcceptedContext Context, CommandSet Command, ReadOnlyMemory<byte> DataSet);

/// <summary>A request of the peer. Its data set is a stream that fills while it is read.</summary>
internal sealed class IncomingRequest(AcceptedContext context, CommandSet command, Stream dataSet, CancellationToken cancelled)
{
    /// <summary>Presentation context.</summary>
    public AcceptedContext Context { get; } = context;

    /// <summary>Command.</summary>
    public CommandSet Command { get; } = command;

    /// <summary>Encoded data set; empty when there is none. Reading throws the association's exception when it breaks in the middle.</summary>
    public Stream DataSet { get; } = dataSet;

    /// <summary>Cancelled by C-CANCEL, and when the association ends.</summary>
    public CancellationToken Cancelled { get; } = cancelled;
}
