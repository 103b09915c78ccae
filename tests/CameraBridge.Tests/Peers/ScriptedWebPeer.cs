using System.Collections.Concurrent;
using System.Globalization;
using System.Net;
using System.Net.Sockets;
using System.Text;

namespace CameraBridge.Tests.Peers;

/// <summary>
/// A web server that does exactly what a test says, byte by byte (HTTP/1.1, RFC 9112): the script is played for each request. What the script throws comes out of
/// <see cref="DisposeAsync"/>.
/// </summary>
public sealed class ScriptedWebPeer : IAsyncDisposable
{
    private readonly TcpListener listener = new(IPAddress.Loopback, 0);
    private readonly Func<ScriptedRequest, Task> script;
    private readonly CancellationTokenSource stopping = new();
    private readonly ConcurrentQueue<Task> running = [];
    private readonly Task accepting;

    public ScriptedWebPeer(Func<ScriptedRequest, Task> script)
    {
        this.script = script;
        listener.Start();
        Root = new Uri(string.Create(CultureInfo.InvariantCulture, $"http://127.0.0.1:{((IPEndPoint)listener.LocalEndpoint).Port}/dicom-web"));
        accepting = AcceptAsync();
    }

    public Uri Root { get; }

    /// <summary>Heads of the requests, in the order of their coming.</summary>
    public ConcurrentQueue<string> Heads { get; } = [];

    public async ValueTask DisposeAsync()
    {
        await stopping.CancelAsync();
        listener.Dispose();
        await accepting;
        await Task.WhenAll(running);
        stopping.Dispose();
    }

    private async Task AcceptAsync()
    {
        while (!stopping.IsCancellationRequested)
        {
            try
            {
                running.Enqueue(PlayAsync(await listener.AcceptTcpClientAsync(stopping.Token)));
            }
            catch (Exception e) when (e is OperationCanceledException or SocketException or ObjectDisposedException)
            {
                return;
            }
        }
    }

    private async Task PlayAsync(TcpClient client)
    {
        using (client)
        {
            try
            {
                while (await ScriptedRequest.ReadAsync(client.GetStream(), stopping.Token) is { } request)
                {
                    Heads.Enqueue(request.Head);
                    await script(request);
                    if (request.IsClosed)
                    {
                        return;
                    }
                }
            }
            catch (Exception e) when (e is OperationCanceledException or IOException or SocketException)
            {
                // The other side is gone, or the test is over.
            }
        }
    }
}

/// <summary>One request to a <see cref="ScriptedWebPeer"/>, and the pen for its answer.</summary>
public sealed class ScriptedRequest
{
    private readonly NetworkStream stream;
    private readonly CancellationToken cancellationToken;

    private ScriptedRequest(NetworkStream stream, string head, CancellationToken cancellationToken)
    {
        this.stream = stream;
        this.cancellationToken = cancellationToken;
        Head = head;
    }

    /// <summary>Request line and headers.</summary>
    public string Head { get; }

    public bool IsClosed { get; private set; }

    internal static async Task<ScriptedRequest?> ReadAsync(NetworkStream stream, CancellationToken cancellationToken)
    {
        // A byte at a time: nothing of the body may be taken with the head.
        var head = new StringBuilder();
        byte[] one = new byte[1];
        while (await stream.ReadAsync(one, cancellationToken) > 0)
        {
            head.Append((char)one[0]);
            if (one[0] == '\n' && head.Length > 3 && head.ToString(head.Length - 4, 4) == "\r\n\r\n")
            {
                return new ScriptedRequest(stream, head.ToString(), cancellationToken);
            }
        }

        return null;
    }

    /// <summary>A header's value, or null.</summary>
    public string? Header(string name) =>
        Head.Split("\r\n").FirstOrDefault(line => line.StartsWith(name + ":", StringComparison.OrdinalIgnoreCase))?[(name.Length + 1)..].Trim();

    /// <summary>Reads the body, whose length is known; says 100 first where that is awaited.</summary>
    public async Task<byte[]> ReadBodyAsync()
    {
        using var body = new MemoryStream();
        await ReadBodyAsync((bytes, count) => body.Write(bytes, 0, count));
        return body.ToArray();
    }

    /// <summary>Reads the body and throws it away.</summary>
    /// <returns>Its length.</returns>
    public async Task<long> PassOverBodyAsync()
    {
        long length = 0;
        await ReadBodyAsync((_, count) => length += count);
        return length;
    }

    /// <summary>Reads the body piece by piece.</summary>
    public async Task ReadBodyAsync(Action<byte[], int> take)
    {
        if (Header("Expect") is not null)
        {
            await WriteAsync("HTTP/1.1 100 Continue\r\n\r\n");
        }

        long left = long.Parse(Header("Content-Length") ?? "0", CultureInfo.InvariantCulture);
        byte[] buffer = new byte[64 * 1024];
        while (left > 0)
        {
            int read = await stream.ReadAsync(buffer.AsMemory(0, (int)Math.Min(left, buffer.Length)), cancellationToken);
            if (read == 0)
            {
                throw new EndOfStreamException();
            }

            take(buffer, read);
            left -= read;
        }
    }

    /// <summary>Reads some bytes and no more.</summary>
    public async Task ReadSomeAsync(int count) => await stream.ReadExactlyAsync(new byte[count], cancellationToken);

    public Task AnswerAsync(int status, string body = "", string contentType = "application/dicom+json", string headers = "") =>
        AnswerAsync(status, Encoding.UTF8.GetBytes(body), contentType, headers);

    public async Task AnswerAsync(int status, byte[] body, string contentType = "application/dicom+json", string headers = "")
    {
        await WriteAsync(string.Create(
            CultureInfo.InvariantCulture, $"HTTP/1.1 {status} X\r\nContent-Type: {contentType}\r\nContent-Length: {body.Length}\r\n{headers}\r\n"));
        await stream.WriteAsync(body, cancellationToken);
    }

    public async Task WriteAsync(string text) => await stream.WriteAsync(Encoding.Latin1.GetBytes(text), cancellationToken);

    public async Task WriteAsync(byte[] bytes) => await stream.WriteAsync(bytes, cancellationToken);

    /// <summary>Does nothing more until the test ends.</summary>
    public Task StallAsync() => Task.Delay(Timeout.InfiniteTimeSpan, TimeProvider.System, cancellationToken);

    /// <summary>Closes the connection after the script.</summary>
    public void Close() => IsClosed = true;
}
