using System.Buffers;
using System.Globalization;
using CameraBridge.Dicom.UpperLayer;

namespace CameraBridge.Dicom.Dimse;

/// <content>Receiving: fragments become messages.</content>
internal sealed partial class DimseChannel
{
    private readonly ArrayBufferWriter<byte> commandBytes = new(512);
    private AcceptedContext? current;
    private CommandSet? command;
    private ArrayBufferWriter<byte>? responseData;
    private RequestPerformance? performance;
    private long dataSetLength;
    private volatile Task performing = Task.CompletedTask;

    /// <summary>The performance of the last request; never faults because of the peer.</summary>
    public Task LastPerformance => performing;

    private async ValueTask ReceiveAsync(PresentationDataValue value, CancellationToken cancellationToken)
    {
        string? wrong = await TakeAsync(value, cancellationToken).ConfigureAwait(false);
        if (wrong is not null)
        {
            throw Association.Break(Association.Violation(wrong));
        }

        Association.ExpectsMore = current is not null || Volatile.Read(ref outstanding) > 0;
    }

    private ValueTask<string?> TakeAsync(PresentationDataValue value, CancellationToken cancellationToken)
    {
        if (current is null)
        {
            current = Association.Contexts.FirstOrDefault(context => context.Id == value.ContextId);
            if (current is null)
            {
                return new($"data in presentation context {value.ContextId.ToString(CultureInfo.InvariantCulture)}, which was not agreed on");
            }
        }
        else if (current.Id != value.ContextId)
        {
            return new("a fragment in another presentation context than the one before of the same message");
        }

        return value.IsCommand ? TakeCommandAsync(value, cancellationToken) : TakeDataSetAsync(value, cancellationToken);
    }

    private ValueTask<string?> TakeCommandAsync(PresentationDataValue value, CancellationToken cancellationToken)
    {
        if (command is not null)
        {
            return new("a command where the data set of the one before is due");
        }

        if (value.Fragment.Length > CommandSet.MaximumLength - commandBytes.WrittenCount)
        {
            return new(string.Create(CultureInfo.InvariantCulture, $"a command set of more than {CommandSet.MaximumLength} bytes"));
        }

        Append(commandBytes, value.Fragment);
        if (!value.IsLast)
        {
            return default;
        }

        CommandSet decoded;
        try
        {
            decoded = CommandSet.Decode(commandBytes.WrittenSpan.ToArray());
        }
        catch (FormatException e)
        {
            return new(e.Message);
        }

        commandBytes.ResetWrittenCount();
        return BeginAsync(decoded, cancellationToken);
    }

    private async ValueTask<string?> BeginAsync(CommandSet decoded, CancellationToken cancellationToken)
    {
        if (decoded.CommandField == CommandField.CancelRequest)
        {
            performance?.Cancel(decoded.MessageIDBeingRespondedTo);
            return EndMessage();
        }

        command = decoded;
        dataSetLength = 0;
        if (decoded.IsResponse)
        {
            return decoded.HasDataSet ? null : await EndResponseAsync(cancellationToken).ConfigureAwait(false);
        }

        if (PerformerOf(decoded) is not { } wanted)
        {
            return string.Create(
                CultureInfo.InvariantCulture, $"a request (command field {(ushort)decoded.CommandField:X4}H) where this side does not perform any");
        }

        // One after the other: a peer with a window may send the next request early, and is slowed down by TCP until its turn comes.
        await performing.WaitAsync(cancellationToken).ConfigureAwait(ConfigureAwaitOptions.SuppressThrowing);
        cancellationToken.ThrowIfCancellationRequested();
        performance = new RequestPerformance(this, current!, decoded);
        performing = performance.RunAsync(wanted);
        if (decoded.HasDataSet)
        {
            return null;
        }

        performance.ReceivedInFull();
        return EndMessage();
    }

    // An event report goes the other way than all other requests, from the provider to the user. In an association that the peer made for it,
    // role selection says so (PS3.4 section J.3.3.1.3, PS3.7 section D.3.3.4); peers that leave it out are understood all the same. A report that
    // nobody waits for is declined, which leaves the association to those who use it for other things.
    private RequestPerformer? PerformerOf(CommandSet request) => request.CommandField == CommandField.EventReportRequest
        ? Volatile.Read(ref events) ?? performer ?? DeclineAsync
        : current!.LocalRoles.HasFlag(ContextRoles.Provider) ? performer : null;

    private static Task DeclineAsync(DimseChannel channel, IncomingRequest request) => channel.RespondAsync(
        request.Context, CommandSet.ResponseTo(request.Command, Statuses.UnrecognizedOperation), null, CancellationToken.None).AsTask();

    private async ValueTask<string?> TakeDataSetAsync(PresentationDataValue value, CancellationToken cancellationToken)
    {
        if (command is null)
        {
            return "a data set without a command before it";
        }

        dataSetLength += value.Fragment.Length;
        if (command.IsResponse)
        {
            if (dataSetLength > MaximumIdentifierLength)
            {
                return string.Create(CultureInfo.InvariantCulture, $"an answer of more than {MaximumIdentifierLength} bytes");
            }

            Append(responseData ??= new ArrayBufferWriter<byte>(1024), value.Fragment);
            return value.IsLast ? await EndResponseAsync(cancellationToken).ConfigureAwait(false) : null;
        }

        if (dataSetLength > maximumDataSetLength)
        {
            return string.Create(CultureInfo.InvariantCulture, $"a data set of more than {maximumDataSetLength} bytes, the limit here");
        }

        await performance!.AppendAsync(value.Fragment, cancellationToken).ConfigureAwait(false);
        if (!value.IsLast)
        {
            return null;
        }

        await performance.EndDataSetAsync().ConfigureAwait(false);
        return EndMessage();
    }

    private async ValueTask<string?> EndResponseAsync(CancellationToken cancellationToken)
    {
        DimseResponse response = new(current!, command!, responseData?.WrittenMemory ?? default);
        // The buffer belongs to the response now.
        responseData = null;
        EndMessage();
        return await DispatchResponseAsync(response, cancellationToken).ConfigureAwait(false);
    }

    private string? EndMessage()
    {
        current = null;
        command = null;
        return null;
    }

    private static void Append(ArrayBufferWriter<byte> target, ReadOnlySequence<byte> fragment)
    {
        foreach (ReadOnlyMemory<byte> segment in fragment)
        {
            target.Write(segment.Span);
        }
    }
}
