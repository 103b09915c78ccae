using System.Net;
using System.Net.Sockets;
using System.Runtime.CompilerServices;
using CameraBridge.Configuration;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Web;
using CameraBridge.Pipeline.Deliveries;

namespace CameraBridge.Commands.Checks;

/// <summary>The way to one DICOMweb server: name, connection, credentials, and a question that leaves nothing behind.</summary>
internal sealed class WebChecks(WebConfiguration web, ConfirmBy confirmBy, TimeProvider clock)
{
    /// <summary>An answer about an object that cannot be there is shorter.</summary>
    private const long MostBytes = 1024 * 1024;

    private readonly string _step = $"destination {web.Name}";

    /// <summary>What is asked for: by which way it is to show that it keeps objects.</summary>
    private string Part => confirmBy == ConfirmBy.Retrieval ? "retrieval" : "query";

    public async IAsyncEnumerable<CheckLine> WalkAsync([EnumeratorCancellation] CancellationToken cancellation)
    {
        if (await ReachAsync(cancellation).ConfigureAwait(false) is { } unreachable)
        {
            yield return unreachable;
            yield return new CheckLine($"{_step}: {Part}", CheckOutcome.Skipped, "not tried, since the step before failed");
            yield break;
        }

        Uri way = web.Proxy ?? web.Url;
        yield return Ok("TCP", $"{way.Host}:{way.Port} takes connections{(web.Proxy is null ? "" : " (the proxy)")}");
        yield return await AskAsync(cancellation).ConfigureAwait(false);
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

    /// <summary>Asks for an object that cannot be there: proves TLS, credentials and the service, whatever the answer is, and changes nothing.</summary>
    private async Task<CheckLine> AskAsync(CancellationToken cancellation)
    {
        using var connection = WebConnection.TryOpen(web, clock, out string? why);
        if (connection is null)
        {
            return Failed("credentials", why!.TrimEnd('.'), "Do as the sentence says, then check again.");
        }

        try
        {
            string nowhere = Uids.NewFromUuid();
            bool isAbsent = confirmBy == ConfirmBy.Retrieval
                ? await connection.Wado.HashAsync(nowhere, nowhere, nowhere, MostBytes, cancellation).ConfigureAwait(false) is null
                : await connection.Qido.FindAsync(nowhere, nowhere, nowhere, cancellationToken: cancellation).ConfigureAwait(false) == InstancePresence.Absent;
            return isAbsent
                ? Ok(Part, $"answers {(confirmBy == ConfirmBy.Retrieval ? "WADO-RS" : "QIDO-RS")} and takes our credentials; that it takes our objects shows with the first")
                : Failed(Part, "has an object that cannot be there", "It ignores what it is asked for, so its answers prove nothing: write another confirm_by.");
        }
        catch (WebPeerException fault) when (confirmBy == ConfirmBy.None && fault.Fault == WebFault.Refused && fault.StatusCode is not (HttpStatusCode.Unauthorized or HttpStatusCode.Forbidden))
        {
            return new CheckLine($"{_step}: {Part}", CheckOutcome.Hint, fault.Sentence.TrimEnd('.'), "Harmless with confirm_by: none; that it takes our objects shows with the first.");
        }
        catch (WebPeerException fault)
        {
            return Failed(Part, fault.Sentence.TrimEnd('.'), "Do as the sentence says, then check again.");
        }
    }

    private CheckLine Ok(string part, string words) => new($"{_step}: {part}", CheckOutcome.Ok, words);

    private CheckLine Failed(string part, string words, string next) => new($"{_step}: {part}", CheckOutcome.Failed, words, next);
}
