using System.Buffers;
using System.Buffers.Binary;
using System.Collections.Concurrent;
using System.Net;
using System.Net.Sockets;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Dimse;
using CameraBridge.Dicom.UpperLayer;

namespace CameraBridge.Tests.Peers;

/// <summary>
/// A peer that does exactly what a test says, byte by byte: receive, send, stall, reset. As a server it runs the script for each connection;
/// what the script throws comes out of <see cref="DisposeAsync"/>, so that a failed assertion in it fails the test.
/// </summary>
public sealed class ScriptedPeer : IAsyncDisposable
{
    private static readonly TimeSpan SettleLimit = TimeSpan.FromSeconds(10);

    private readonly TcpListener listener = new(IPAddress.Loopback, 0);
    private readonly Func<ScriptedConnection, Task> script;
    private readonly CancellationTokenSource stopping = new();
    private readonly ConcurrentQueue<Task> running = [];
    private readonly ConcurrentQueue<Task> settled = [];
    private readonly Task accepting;

    private ScriptedPeer(Func<ScriptedConnection, Task> script)
    {
        this.script = script;
        listener.Start();
        Port = ((IPEndPoint)listener.LocalEndpoint).Port;
        accepting = AcceptAsync();
    }

    /// <summary>Where it listens on 127.0.0.1.</summary>
    public int Port { get; }

    /// <summary>Listens, and plays the script to everyone who connects.</summary>
    public static ScriptedPeer Listen(Func<ScriptedConnection, Task> script) => new(script);

    /// <summary>Connects to somebody who listens on 127.0.0.1.</summary>
    public static async Task<ScriptedConnection> ConnectAsync(int port, CancellationToken cancellationToken)
    {
        Socket? socket = new(AddressFamily.InterNetwork, SocketType.Stream, ProtocolType.Tcp);
        try
        {
            await socket.ConnectAsync(IPAddress.Loopback, port, cancellationToken);
            ScriptedConnection connection = new(socket, cancellationToken);
            socket = null;
            return connection;
        }
        finally
        {
            socket?.Dispose();
        }
    }

    /// <summary>Lets every script come to its end, or to its stall, and throws what a script threw.</summary>
    public async ValueTask DisposeAsync()
    {
        try
        {
            await Task.WhenAll(settled.ToArray()).WaitAsync(SettleLimit, TimeProvider.System);
        }
        catch (TimeoutException)
        {
            // It waits for something that will not come; the test that wanted it to says so itself.
        }

        await stopping.CancelAsync();
        listener.Dispose();
        await accepting;
        try
        {
            await Task.WhenAll(running);
        }
        catch (OperationCanceledException)
        {
            // A script that was stalling when the test ended.
        }

        stopping.Dispose();
    }

    private async Task AcceptAsync()
    {
        while (!stopping.IsCancellationRequested)
        {
            try
            {
                Socket socket = await listener.AcceptSocketAsync(stopping.Token);
                TaskCompletionSource stalled = new();
                Task play = PlayAsync(socket, stalled);
                running.Enqueue(play);
                settled.Enqueue(Task.WhenAny(play, stalled.Task));
            }
            catch (Exception e) when (e is OperationCanceledException or SocketException or ObjectDisposedException)
            {
                return;
            }
        }
    }

    private async Task PlayAsync(Socket socket, TaskCompletionSource stalled)
    {
        await using ScriptedConnection connection = new(socket, stopping.Token) { Stalled = stalled };
        await script(connection);
    }
}

/// <summary>One connection of a <see cref="ScriptedPeer"/>. Every wait ends with the test.</summary>
public sealed class ScriptedConnection(Socket socket, CancellationToken cancellationToken) : IAsyncDisposable
{
    private readonly List<PresentationDataValue> pending = [];

    internal TaskCompletionSource? Stalled { get; init; }

    /// <summary>Receives exactly so many bytes.</summary>
    /// <exception cref="EndOfStreamException">The other side closed before.</exception>
    public async Task<byte[]> ReceiveAsync(int count)
    {
        byte[] bytes = new byte[count];
        int done = 0;
        while (done < count)
        {
            int read = await socket.ReceiveAsync(bytes.AsMemory(done), cancellationToken);
            if (read == 0)
            {
                throw new EndOfStreamException($"The other side closed after {done} of {count} bytes.");
            }

            done += read;
        }

        return bytes;
    }

    /// <summary>Receives whatever is there, at most 64 KiB.</summary>
    /// <returns>How much it was.</returns>
    public async Task<int> ReceiveOnceAsync() => await socket.ReceiveAsync(new byte[64 * 1024], cancellationToken);

    /// <summary>Receives a PDU.</summary>
    public async Task<Pdu> ReceivePduAsync()
    {
        byte[] head = await ReceiveAsync(PduCodec.HeadLength);
        byte[] content = await ReceiveAsync(BinaryPrimitives.ReadInt32BigEndian(head.AsSpan(2)));
        return PduCodec.Decode((PduType)head[0], new ReadOnlySequence<byte>(content));
    }

    /// <summary>Receives a PDU that must be of this kind.</summary>
    public async Task<T> ReceivePduAsync<T>()
        where T : Pdu
    {
        Pdu pdu = await ReceivePduAsync();
        return pdu as T ?? throw new InvalidOperationException($"A {typeof(T).Name} was due, and a {pdu} came.");
    }

    /// <summary>Receives a whole message: command, and data set if there is one.</summary>
    public async Task<ScriptedMessage> ReceiveMessageAsync()
    {
        CommandSet? command = null;
        ArrayBufferWriter<byte> commandBytes = new();
        ArrayBufferWriter<byte> dataSet = new();
        while (true)
        {
            if (pending.Count == 0)
            {
                pending.AddRange((await ReceivePduAsync<DataPdu>()).Values);
            }

            PresentationDataValue value = pending[0];
            pending.RemoveAt(0);
            (value.IsCommand ? commandBytes : dataSet).Write(value.Fragment.ToArray());
            if (value is { IsCommand: true, IsLast: true })
            {
                command = CommandSet.Decode(commandBytes.WrittenMemory.ToArray());
            }

            if (value.IsLast && (!value.IsCommand || !command!.HasDataSet))
            {
                return new ScriptedMessage(value.ContextId, command!, dataSet.WrittenSpan.ToArray());
            }
        }
    }

    /// <summary>Sends bytes as they are.</summary>
    public async Task SendAsync(ReadOnlyMemory<byte> bytes)
    {
        while (!bytes.IsEmpty)
        {
            bytes = bytes[await socket.SendAsync(bytes, cancellationToken)..];
        }
    }

    /// <summary>Sends a PDU.</summary>
    public Task SendAsync(Pdu pdu) => SendAsync(PduCodec.Encode(pdu));

    /// <summary>Sends a message, each part in one PDU.</summary>
    public async Task SendMessageAsync(byte contextId, CommandSet command, byte[]? dataSet = null)
    {
        command.CommandDataSetType = dataSet is null ? CommandSet.NoDataSet : (ushort)1;
        await SendAsync(Value(contextId, true, true, command.Encode()));
        if (dataSet is not null)
        {
            await SendAsync(Value(contextId, false, true, dataSet));
        }
    }

    /// <summary>A P-DATA-TF with one value.</summary>
    public static DataPdu Value(byte contextId, bool isCommand, bool isLast, ReadOnlyMemory<byte> fragment) =>
        new([new PresentationDataValue(contextId, isCommand, isLast, new ReadOnlySequence<byte>(fragment))]);

    /// <summary>Receives an A-ASSOCIATE-RQ and accepts all of it.</summary>
    /// <param name="maximumLength">The maximum length that is announced; 0 is none.</param>
    /// <param name="operations">The window that is granted; null says nothing of it.</param>
    public async Task<AssociateRequestPdu> AcceptAsync(uint maximumLength = 16384, OperationsWindow? operations = null)
    {
        AssociateRequestPdu request = await ReceivePduAsync<AssociateRequestPdu>();
        await SendAsync(Acceptance(request, maximumLength, operations));
        return request;
    }

    /// <summary>The A-ASSOCIATE-AC that accepts everything in a request.</summary>
    public static AssociateAcceptPdu Acceptance(AssociateRequestPdu request, uint maximumLength = 16384, OperationsWindow? operations = null) =>
        new(
            request.CalledAETitle,
            request.CallingAETitle,
            [.. request.Contexts.Select(context => new ContextResultItem(context.Id, ContextResult.Acceptance, context.TransferSyntaxUIDs[0]))],
            new UserInformation { MaximumLength = maximumLength, ImplementationClassUID = "2.25.1", Operations = operations });

    /// <summary>Asks for an association with one context, and expects it to be accepted.</summary>
    public async Task<AssociateAcceptPdu> AssociateAsync(string abstractSyntax, string transferSyntax = TransferSyntaxes.ImplicitVRLittleEndian)
    {
        await SendAsync(new AssociateRequestPdu(
            "PROVIDER",
            "SCRIPTED",
            [new RequestedContextItem(1, abstractSyntax, [transferSyntax])],
            new UserInformation { MaximumLength = 16384, ImplementationClassUID = "2.25.1" }));
        return await ReceivePduAsync<AssociateAcceptPdu>();
    }

    /// <summary>Answers a release.</summary>
    public async Task AnswerReleaseAsync()
    {
        await ReceivePduAsync<ReleaseRequestPdu>();
        await SendAsync(new ReleaseReplyPdu());
        await WaitForCloseAsync();
    }

    /// <summary>Does nothing, not even reading, until the test ends.</summary>
    public Task StallAsync()
    {
        Stalled?.TrySetResult();
        return Task.Delay(Timeout.Infinite, cancellationToken);
    }

    /// <summary>Reads and forgets until the other side closes or resets.</summary>
    /// <returns>What was read.</returns>
    public async Task<byte[]> WaitForCloseAsync()
    {
        ArrayBufferWriter<byte> all = new();
        byte[] bytes = new byte[4096];
        try
        {
            int read;
            while ((read = await socket.ReceiveAsync(bytes, cancellationToken)) > 0)
            {
                all.Write(bytes.AsSpan(0, read));
            }
        }
        catch (SocketException)
        {
            // A reset closes too.
        }

        return all.WrittenSpan.ToArray();
    }

    /// <summary>Closes with a reset instead of an end.</summary>
    public void Reset()
    {
        socket.LingerState = new LingerOption(true, 0);
        socket.Close();
    }

    /// <summary>Says that nothing more will be sent, and goes on receiving.</summary>
    public void EndSending() => socket.Shutdown(SocketShutdown.Send);

    /// <summary>Makes the receive buffer small, so that a stall is felt at once. Before anything is received.</summary>
    public void ShrinkReceiveBuffer() => socket.ReceiveBufferSize = 4096;

    public ValueTask DisposeAsync()
    {
        socket.Dispose();
        return ValueTask.CompletedTask;
    }
}

/// <summary>A message as it was received.</summary>
public sealed record ScriptedMessage(byte ContextId, CommandSet Command, byte[] DataSet);
