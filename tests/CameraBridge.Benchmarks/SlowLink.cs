using System.Net;
using System.Net.Sockets;
using System.Threading.Channels;

namespace CameraBridge.Benchmarks;

/// <summary>
/// A slow link in one process: a relay that all connections share, which lets bytes through at a rate, in order, and each half a round trip late. No loss, no jitter,
/// and a queue of 128 KB at the bottleneck; the kernel here has no netem, which would do the same below TCP.
/// </summary>
internal sealed class SlowLink : IAsyncDisposable
{
    private const int Chunk = 4096;

    private readonly TcpListener _listener = new(IPAddress.Loopback, 0);
    private readonly CancellationTokenSource _stop = new();
    private readonly Direction _up;
    private readonly Direction _down;
    private readonly int _target;
    private readonly Task _accepting;

    public SlowLink(int target, double bitsPerSecond, TimeSpan roundTrip)
    {
        _target = target;
        _up = new Direction(bitsPerSecond / 8, roundTrip / 2);
        _down = new Direction(bitsPerSecond / 8, roundTrip / 2);
        _listener.Start();
        _accepting = AcceptAsync();
    }

    public int Port => ((IPEndPoint)_listener.LocalEndpoint).Port;

    /// <summary>Bytes that went up so far.</summary>
    public long UpBytes => _up.Bytes;

    public async ValueTask DisposeAsync()
    {
        await _stop.CancelAsync();
        _listener.Dispose();
        await _accepting;
        _stop.Dispose();
    }

    private async Task AcceptAsync()
    {
        List<Task> running = [];
        try
        {
            while (true)
            {
                running.Add(RelayAsync(await _listener.AcceptTcpClientAsync(_stop.Token)));
            }
        }
        catch (Exception end) when (end is OperationCanceledException or SocketException or ObjectDisposedException)
        {
            await Task.WhenAll(running);
        }
    }

    private async Task RelayAsync(TcpClient client)
    {
        try
        {
            using (client)
            using (TcpClient server = new() { NoDelay = true })
            {
                client.NoDelay = true;

                // A receiver's window of a usual size: not all of the internet in one socket.
                client.ReceiveBufferSize = 64 * 1024;
                await server.ConnectAsync(IPAddress.Loopback, _target, _stop.Token);
                await Task.WhenAll(_up.PumpAsync(client, server, _stop.Token), _down.PumpAsync(server, client, _stop.Token));
            }
        }
        catch (Exception end) when (end is OperationCanceledException or IOException or SocketException)
        {
            // A side is gone, or the measurement is over.
        }
    }

    private sealed class Direction(double bytesPerSecond, TimeSpan delay)
    {
        private readonly Lock _gate = new();
        private double _free;
        private long _bytes;

        public long Bytes => Interlocked.Read(ref _bytes);

        public async Task PumpAsync(TcpClient from, TcpClient to, CancellationToken cancellation)
        {
            var line = Channel.CreateBounded<(byte[] Bytes, double At)>(256);
            Task arriving = ArriveAsync(line.Reader, to, cancellation);
            byte[] buffer = new byte[Chunk];
            NetworkStream source = from.GetStream();
            while (await source.ReadAsync(buffer, cancellation) is > 0 and int read)
            {
                double leaves = Leave(read);
                Interlocked.Add(ref _bytes, read);
                await WaitUntilAsync(leaves - (128 * 1024 / bytesPerSecond), cancellation);
                await line.Writer.WriteAsync((buffer[..read], leaves + delay.TotalSeconds), cancellation);
            }

            line.Writer.Complete();
            await arriving;
        }

        private static async Task ArriveAsync(ChannelReader<(byte[] Bytes, double At)> line, TcpClient to, CancellationToken cancellation)
        {
            await foreach ((byte[] bytes, double at) in line.ReadAllAsync(cancellation))
            {
                await WaitUntilAsync(at, cancellation);
                await to.GetStream().WriteAsync(bytes, cancellation);
            }

            to.Client.Shutdown(SocketShutdown.Send);
        }

        private double Leave(int bytes)
        {
            lock (_gate)
            {
                _free = Math.Max(_free, Now) + (bytes / bytesPerSecond);
                return _free;
            }
        }

        private static double Now => TimeProvider.System.GetTimestamp() / (double)TimeProvider.System.TimestampFrequency;

        private static async Task WaitUntilAsync(double at, CancellationToken cancellation)
        {
            var wait = TimeSpan.FromSeconds(Math.Max(0, at - Now));
            if (wait > TimeSpan.Zero)
            {
                await Task.Delay(wait, TimeProvider.System, cancellation);
            }
        }
    }
}
