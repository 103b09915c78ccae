using System.Collections.Concurrent;
using System.Diagnostics.CodeAnalysis;
using System.Net;
using System.Net.Sockets;

namespace CameraBridge.Dicom.UpperLayer;

/// <summary>
/// Takes connections and makes associations of them, many at a time. The accept loop waits for no peer: each is served by a task of its own,
/// and one that stalls is ended by the ARTIM timer or the Idle limit.
/// </summary>
public sealed class AssociationListener : IAsyncDisposable
{
    // Connections beyond the allowed associations that may be told "local limit exceeded"; more than these are closed without a word.
    private const int Anteroom = 16;

    private static readonly TimeSpan PauseAfterFailure = TimeSpan.FromMilliseconds(100);

    private readonly Socket socket;
    private readonly AcceptorOptions options;
    private readonly Func<Association, CancellationToken, Task> serve;
    private readonly Action<Association>? turnedAway;
    private readonly CancellationTokenSource stopping = new();
    private readonly ConcurrentDictionary<Association, Task> connections = new();
    private readonly Task accepting;
    private int admitted;

    private AssociationListener(
        Socket socket, AcceptorOptions options, Func<Association, CancellationToken, Task> serve, Action<Association>? turnedAway)
    {
        this.socket = socket;
        this.options = options;
        this.serve = serve;
        this.turnedAway = turnedAway;
        EndPoint = (IPEndPoint)socket.LocalEndPoint!;
        accepting = Task.Run(AcceptAsync);
    }

    /// <summary>Where it listens; with the port that was given if 0 was asked for.</summary>
    public IPEndPoint EndPoint { get; }

    /// <summary>Associations that stand at this moment.</summary>
    public int Count => Volatile.Read(ref admitted);

    /// <summary>Begins to listen.</summary>
    /// <param name="endPoint">Address and port; port 0 takes a free one.</param>
    /// <param name="options">What is offered.</param>
    /// <param name="serve">
    /// Serves an association that stands. When its task ends and the peer has neither released nor aborted, the association is aborted.
    /// </param>
    /// <param name="turnedAway">Told of a connection that came to no association; <see cref="Association.Failure"/> says why.</param>
    /// <exception cref="SocketException">The port is taken, or the address is not ours.</exception>
    public static AssociationListener Start(
        IPEndPoint endPoint,
        AcceptorOptions options,
        Func<Association, CancellationToken, Task> serve,
        Action<Association>? turnedAway = null)
    {
        ArgumentNullException.ThrowIfNull(endPoint);
        ArgumentNullException.ThrowIfNull(options);
        ArgumentNullException.ThrowIfNull(serve);
        options.Validate();
        Socket socket = new(endPoint.AddressFamily, SocketType.Stream, ProtocolType.Tcp);
        try
        {
            socket.Bind(endPoint);
            socket.Listen(64);
            return new AssociationListener(socket, options, serve, turnedAway);
        }
        catch
        {
            socket.Dispose();
            throw;
        }
    }

    /// <summary>Stops listening and ends all associations.</summary>
    public async ValueTask DisposeAsync()
    {
        if (stopping.IsCancellationRequested)
        {
            return;
        }

        await stopping.CancelAsync().ConfigureAwait(false);
        socket.Dispose();
        await accepting.ConfigureAwait(false);
        foreach (Association association in connections.Keys)
        {
            association.Abort("the service stops");
        }

        await Task.WhenAll(connections.Values).ConfigureAwait(false);
        stopping.Dispose();
    }

    private async Task AcceptAsync()
    {
        while (!stopping.IsCancellationRequested)
        {
            try
            {
                Socket accepted = await socket.AcceptAsync(stopping.Token).ConfigureAwait(false);
                Admit(accepted);
            }
            catch (OperationCanceledException)
            {
                return;
            }
            catch (ObjectDisposedException)
            {
                return;
            }
            catch (SocketException) when (!stopping.IsCancellationRequested)
            {
                // A connection that died in the queue, or no more file handles: others must not suffer, and the loop must not spin.
                await Task.Delay(PauseAfterFailure, options.TimeProvider, stopping.Token)
                    .ConfigureAwait(ConfigureAwaitOptions.SuppressThrowing);
            }
            catch (SocketException)
            {
                return;
            }
        }
    }

    [SuppressMessage("Reliability", "CA2000", Justification = "The association is disposed by the task that serves it.")]
    private void Admit(Socket accepted)
    {
        if (connections.Count >= options.MaximumAssociations + Anteroom)
        {
            accepted.Dispose();
            return;
        }

        // A place is taken when the request is judged, so that two requests at the same instant do not share the last one.
        bool hasPlace = false;
        Association association = Association.Accept(accepted, options, () => !(hasPlace = TakePlace()));
        Task task = ServeAsync(association, () => hasPlace);
        connections[association] = task;
        // The task may have ended before it was entered.
        if (task.IsCompleted)
        {
            connections.TryRemove(association, out _);
        }
    }

    private bool TakePlace()
    {
        if (Interlocked.Increment(ref admitted) <= options.MaximumAssociations)
        {
            return true;
        }

        Interlocked.Decrement(ref admitted);
        return false;
    }

    private async Task ServeAsync(Association association, Func<bool> hasPlace)
    {
        await Task.Yield();
        await using (association.ConfigureAwait(false))
        {
            try
            {
                if (await association.WaitUntilEstablishedAsync().ConfigureAwait(false))
                {
                    await serve(association, stopping.Token).ConfigureAwait(false);
                }
                else
                {
                    turnedAway?.Invoke(association);
                }
            }
            catch (Exception e) when (e is AssociationException or OperationCanceledException)
            {
                // It ended; the association knows why, and no other one is concerned.
            }
            finally
            {
                if (hasPlace())
                {
                    Interlocked.Decrement(ref admitted);
                }
            }

            if (association.Failure is not null)
            {
                // A rejection, a release or an abort is on its way to the peer: it has the time of the ARTIM timer to read that and close.
                await association.Completion.WaitAsync(stopping.Token).ConfigureAwait(ConfigureAwaitOptions.SuppressThrowing);
            }
        }

        connections.TryRemove(association, out _);
    }
}
