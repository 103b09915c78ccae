using System.Net;
using System.Net.Sockets;

namespace CameraBridge.Tests.Peers;

/// <summary>Stands between two sides of a TCP connection and cuts it, or goes silent, after so many bytes of the side that connected.</summary>
public sealed class CuttingRelay : IAsyncDisposable
{
    private readonly TcpListener _listener = new(IPAddress.Loopback, 0);
    private readonly int _target;
    private readonly Func<int, long> _limitOf;
    private readonly bool _silent;
    private readonly TimeSpan _pace;
    private readonly CancellationTokenSource _stopping = new();
    private readonly List<Task> _running = [];
    private readonly Task _accepting;
    private int _connections;

    /// <param name="target">Port of the other side.</param>
    /// <param name="limitOf">Bytes let through for the connection of this number, from 0; <see cref="long.MaxValue"/> for all.</param>
    /// <param name="silent">Go silent instead of cutting.</param>
    /// <param name="pace">Time for each 16 KiB of the side that connected, as on a slow line.</param>
    public CuttingRelay(int target, Func<int, long> limitOf, bool silent = false, TimeSpan pace = default)
    {
        _pace = pace;
        _target = target;
        _limitOf = limitOf;
        _silent = silent;
        _listener.Start();
        Port = ((IPEndPoint)_listener.LocalEndpoint).Port;
        _accepting = AcceptAsync();
    }

    public int Port { get; }

    public int Connections => Volatile.Read(ref _connections);

    public async ValueTask DisposeAsync()
    {
        await _stopping.CancelAsync();
        _listener.Dispose();
        await _accepting;
        await Task.WhenAll(_running);
        _stopping.Dispose();
    }

    private async Task AcceptAsync()
    {
        while (!_stopping.IsCancellationRequested)
        {
            try
            {
                TcpClient client = await _listener.AcceptTcpClientAsync(_stopping.Token);
                _running.Add(RelayAsync(client, _limitOf(Interlocked.Increment(ref _connections) - 1)));
            }
            catch (Exception ended) when (ended is OperationCanceledException or SocketException or ObjectDisposedException)
            {
                return;
            }
        }
    }

    private async Task RelayAsync(TcpClient client, long limit)
    {
        using (client)
        using (var server = new TcpClient { NoDelay = true })
        using (var cut = CancellationTokenSource.CreateLinkedTokenSource(_stopping.Token))
        {
            try
            {
                await server.ConnectAsync(IPAddress.Loopback, _target, _stopping.Token);
                Task back = CopyAsync(server.GetStream(), client.GetStream(), long.MaxValue, TimeSpan.Zero, cut.Token);
                Task forth = CopyAsync(client.GetStream(), server.GetStream(), limit, _pace, cut.Token);
                await Task.WhenAny(back, forth);
                await cut.CancelAsync();
                await Task.WhenAll(back, forth);
            }
            catch (Exception ended) when (ended is IOException or OperationCanceledException or SocketException)
            {
                client.LingerState = new LingerOption(true, 0);
            }
        }
    }

    private async Task CopyAsync(NetworkStream from, NetworkStream to, long limit, TimeSpan pace, CancellationToken cancellation)
    {
        byte[] buffer = new byte[16 * 1024];
        while (limit > 0)
        {
            int read = await from.ReadAsync(buffer.AsMemory(0, (int)Math.Min(buffer.Length, limit)), cancellation);
            if (read == 0)
            {
                return;
            }

            if (pace > TimeSpan.Zero)
            {
                await Task.Delay(pace, TimeProvider.System, cancellation);
            }

            await to.WriteAsync(buffer.AsMemory(0, read), cancellation);
            limit -= read;
        }

        if (_silent)
        {
            await Task.Delay(Timeout.InfiniteTimeSpan, TimeProvider.System, cancellation);
        }
    }
}
