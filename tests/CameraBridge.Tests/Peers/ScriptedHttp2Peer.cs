using System.Buffers.Binary;
using System.Globalization;
using System.Net;
using System.Net.Sockets;
using System.Text;

namespace CameraBridge.Tests.Peers;

/// <summary>
/// A server that speaks just enough HTTP/2 with prior knowledge (RFC 9113 section 3.3, without TLS) to take one request with its body on each stream and to answer
/// all of them alike. It reads no header of the request, so it needs no state of HPACK.
/// </summary>
public sealed class ScriptedHttp2Peer : IAsyncDisposable
{
    private const byte Data = 0, Headers = 1, Settings = 4, Ping = 6, WindowUpdate = 8;
    private const byte EndStream = 1, Ack = 1, EndHeaders = 4;

    private readonly TcpListener listener = new(IPAddress.Loopback, 0);
    private readonly CancellationTokenSource stopping = new();
    private readonly string answer;
    private readonly Task playing;

    public ScriptedHttp2Peer(string answer)
    {
        this.answer = answer;
        listener.Start();
        Root = new Uri(string.Create(CultureInfo.InvariantCulture, $"http://127.0.0.1:{((IPEndPoint)listener.LocalEndpoint).Port}/dicom-web"));
        playing = PlayAsync();
    }

    public Uri Root { get; }

    /// <summary>Bytes of all DATA frames.</summary>
    public long Received { get; private set; }

    public async ValueTask DisposeAsync()
    {
        await stopping.CancelAsync();
        listener.Dispose();
        await playing;
        stopping.Dispose();
    }

    private async Task PlayAsync()
    {
        try
        {
            using TcpClient client = await listener.AcceptTcpClientAsync(stopping.Token);
            NetworkStream stream = client.GetStream();

            // The client's preface (RFC 9113 section 3.4) is 24 bytes.
            await stream.ReadExactlyAsync(new byte[24], stopping.Token);
            await WriteAsync(stream, Settings, 0, 0, []);
            byte[] head = new byte[9];
            while (true)
            {
                await stream.ReadExactlyAsync(head, stopping.Token);
                byte[] payload = new byte[(head[0] << 16) | (head[1] << 8) | head[2]];
                await stream.ReadExactlyAsync(payload, stopping.Token);
                int id = BinaryPrimitives.ReadInt32BigEndian(head.AsSpan(5));
                await AnswerAsync(stream, head[3], head[4], id, payload);
            }
        }
        catch (Exception e) when (e is OperationCanceledException or IOException or SocketException or ObjectDisposedException)
        {
            // The other side is gone, or the test is over.
        }
    }

    private async Task AnswerAsync(NetworkStream stream, byte type, byte flags, int id, byte[] payload)
    {
        switch (type)
        {
            case Settings when (flags & Ack) == 0:
                await WriteAsync(stream, Settings, Ack, 0, []);
                break;
            case Ping when (flags & Ack) == 0:
                await WriteAsync(stream, Ping, Ack, 0, payload);
                break;
            case Data when payload.Length > 0:
                Received += payload.Length;
                byte[] credit = new byte[4];
                BinaryPrimitives.WriteInt32BigEndian(credit, payload.Length);
                await WriteAsync(stream, WindowUpdate, 0, 0, credit);
                await WriteAsync(stream, WindowUpdate, 0, id, credit);
                break;
        }

        if (type is Data or Headers && (flags & EndStream) != 0)
        {
            // HPACK (RFC 7541): 0x88 is ":status 200" of the static table; 0x0F 0x10 is a literal whose name is entry 31, content-type.
            const string ContentType = "application/dicom+json";
            await WriteAsync(stream, Headers, EndHeaders, id, [0x88, 0x0F, 0x10, (byte)ContentType.Length, .. Encoding.ASCII.GetBytes(ContentType)]);
            await WriteAsync(stream, Data, EndStream, id, Encoding.UTF8.GetBytes(answer));
        }
    }

    private async Task WriteAsync(NetworkStream stream, byte type, byte flags, int id, byte[] payload)
    {
        byte[] frame = new byte[9 + payload.Length];
        frame[0] = (byte)(payload.Length >> 16);
        frame[1] = (byte)(payload.Length >> 8);
        frame[2] = (byte)payload.Length;
        frame[3] = type;
        frame[4] = flags;
        BinaryPrimitives.WriteInt32BigEndian(frame.AsSpan(5), id);
        payload.CopyTo(frame.AsSpan(9));
        await stream.WriteAsync(frame, stopping.Token);
    }
}
