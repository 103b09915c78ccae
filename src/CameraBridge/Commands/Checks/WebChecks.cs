using System.Net;
using System.Net.Sockets;
using System.Runtime.CompilerServices;
using CameraBridge.Configuration;

namespace CameraBridge.Commands.Checks;

/// <summary>What is asked of a DICOMweb server once it takes connections.</summary>
internal interface IWebQuestion
{
    /// <summary>How its lines begin.</summary>
    string Step { get; }

    /// <summary>What is asked for, as its line says it.</summary>
    string Part { get; }

    /// <summary>Asks, and leaves nothing behind.</summary>
    Task<CheckLine> AskAsync(CancellationToken cancellation);
}

/// <summary>The way to one DICOMweb server: name, connection, credentials, and a question.</summary>
internal sealed class WebChecks(WebConfiguration web, IWebQuestion question)
{
    public async IAsyncEnumerable<CheckLine> WalkAsync([EnumeratorCancellation] CancellationToken cancellation)
    {
        if (await ReachAsync(cancellation).ConfigureAwait(false) is { } unreachable)
        {
            yield return unreachable;
            yield return new CheckLine($"{question.Step}: {question.Part}", CheckOutcome.Skipped, "not tried, since the step before failed");
            yield break;
        }

        Uri way = web.Proxy ?? web.Url;
        yield return new CheckLine($"{question.Step}: TCP", CheckOutcome.Ok, $"{way.Host}:{way.Port} takes connections{(web.Proxy is null ? "" : " (the proxy)")}");
        yield return await question.AskAsync(cancellation).ConfigureAwait(false);
    }

    /// <returns>Null when a connection stands.</returns>
    private async Task<CheckLine?> ReachAsync(CancellationToken cancellation)
    {
        Uri way = web.Proxy ?? web.Url;
        using CancellationTokenSource limit = CancellationTokenSource.CreateLinkedTokenSource(cancellation);
        limit.CancelAfter(web.ConnectLimit);
        try
        {
            IPAddress[] addresses = await Dns.GetHostAddressesAsync(way.Host, limit.Token).ConfigureAwait(false);
            using TcpClient client = new();
            await client.ConnectAsync(addresses, way.Port, limit.Token).ConfigureAwait(false);
            return null;
        }
        catch (SocketException fault) when (fault.SocketErrorCode is SocketError.HostNotFound or SocketError.TryAgain or SocketError.NoData)
        {
            return Failed("name", $"{way.Host} cannot be resolved", "Check the address and DNS.");
        }
        catch (SocketException fault)
        {
            string what = fault.SocketErrorCode == SocketError.ConnectionRefused ? "nothing listens there" : fault.SocketErrorCode.ToString();
            return Failed("TCP", $"{way.Host}:{way.Port}: {what}", "Check that it runs, the port, and the firewall between.");
        }
        catch (OperationCanceledException) when (!cancellation.IsCancellationRequested)
        {
            return Failed("TCP", $"{way.Host}:{way.Port} did not answer within {SettingValues.WriteDuration(web.ConnectLimit)}", "Check address, route and firewall.");
        }
    }

    private CheckLine Failed(string part, string words, string next) => new($"{question.Step}: {part}", CheckOutcome.Failed, words, next);
}
