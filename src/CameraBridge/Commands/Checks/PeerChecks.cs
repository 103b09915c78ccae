using System.Globalization;
using System.Net;
using System.Net.Sockets;
using System.Runtime.CompilerServices;
using CameraBridge.Configuration;
using CameraBridge.Dicom.Dimse;
using CameraBridge.Dicom.UpperLayer;

namespace CameraBridge.Commands.Checks;

/// <summary>What is asked of a peer once an association with it stands.</summary>
internal interface IPeerQuestions
{
    /// <summary>What sentences call the peer: "worklist", "archive", "RIS".</summary>
    string Kind { get; }

    /// <summary>How its lines begin.</summary>
    string Step { get; }

    /// <summary>What is told as skipped when no connection stands.</summary>
    IReadOnlyList<string> Parts { get; }

    /// <summary>The presentation contexts to propose beside that of C-ECHO.</summary>
    IReadOnlyList<ContextProposal> Contexts { get; }

    /// <summary>Asks, and adds a line for each thing that was asked.</summary>
    /// <exception cref="AssociationException">The association broke.</exception>
    Task AskAsync(Association association, ICollection<CheckLine> lines, CancellationToken cancellation);
}

/// <summary>The way to one peer: name, connection, association, echo, and then what is asked of a peer of its kind.</summary>
internal sealed class PeerChecks(SiteConfiguration site, PeerConfiguration peer, IPeerQuestions questions, TimeProvider clock)
{
    public async IAsyncEnumerable<CheckLine> WalkAsync([EnumeratorCancellation] CancellationToken cancellation)
    {
        CheckLine name = await NameAsync(cancellation).ConfigureAwait(false);
        yield return name;
        if (name.Outcome == CheckOutcome.Failed)
        {
            yield return Skipped("TCP", "association");
            yield break;
        }

        CheckLine connection = await ConnectAsync(cancellation).ConfigureAwait(false);
        yield return connection;
        if (connection.Outcome == CheckOutcome.Failed)
        {
            yield return Skipped(["association", .. questions.Parts]);
            yield break;
        }

        // The verdicts are gathered and told together, so that the association is not kept while somebody reads.
        foreach (CheckLine line in await AssociateAsync(cancellation).ConfigureAwait(false))
        {
            yield return line;
        }
    }

    /// <summary>Why the peer did not accept a SOP class.</summary>
    internal static string Refusal(Association association, string uid) =>
        association.RefusedContexts.FirstOrDefault(refused => refused.AbstractSyntaxUID == uid)?.Result switch
        {
            ContextResult.AbstractSyntaxNotSupported => "it does not know the SOP class",
            ContextResult.TransferSyntaxesNotSupported => "it knows the SOP class, but not the transfer syntax",
            ContextResult.UserRejection => "its application refuses it",
            _ => "it gives no reason",
        };

    private async Task<CheckLine> NameAsync(CancellationToken cancellation)
    {
        try
        {
            using CancellationTokenSource limit = Limit(cancellation);
            IPAddress[] addresses = await Dns.GetHostAddressesAsync(peer.Host, limit.Token).ConfigureAwait(false);
            return Ok("name", $"{peer.Host} is {string.Join(", ", addresses.Select(address => address.ToString()))}");
        }
        catch (SocketException)
        {
            return Failed("name", $"{peer.Host} cannot be resolved", "Check the host name and DNS, or write the address.");
        }
        catch (OperationCanceledException) when (!cancellation.IsCancellationRequested)
        {
            return Failed("name", $"{peer.Host}: the name server did not answer within {SettingValues.WriteDuration(peer.ConnectLimit)}", "Check DNS, or write the address.");
        }
    }

    private async Task<CheckLine> ConnectAsync(CancellationToken cancellation)
    {
        string place = string.Create(CultureInfo.InvariantCulture, $"{peer.Host}:{peer.Port}");
        try
        {
            using CancellationTokenSource limit = Limit(cancellation);
            using TcpClient client = new();
            long start = clock.GetTimestamp();
            await client.ConnectAsync(peer.Host, peer.Port, limit.Token).ConfigureAwait(false);
            return Ok("TCP", string.Create(CultureInfo.InvariantCulture, $"{place} takes connections ({clock.GetElapsedTime(start).TotalMilliseconds:0} ms)"));
        }
        catch (SocketException fault)
        {
            string what = fault.SocketErrorCode == SocketError.ConnectionRefused ? "nothing listens there" : fault.SocketErrorCode.ToString();
            return Failed("TCP", $"{place}: {what}", "Check that it runs, the port, and the firewall between.");
        }
        catch (OperationCanceledException) when (!cancellation.IsCancellationRequested)
        {
            return Failed("TCP", $"{place} did not answer within {SettingValues.WriteDuration(peer.ConnectLimit)}", "Check address, route and firewall.");
        }
    }

    private async Task<IReadOnlyList<CheckLine>> AssociateAsync(CancellationToken cancellation)
    {
        List<CheckLine> lines = [];
        AssociationOptions options = new()
        {
            Host = peer.Host,
            Port = peer.Port,
            CallingAETitle = peer.CallingAETitle ?? site.CallingAETitle,
            CalledAETitle = peer.CalledAETitle,
            PeerKind = questions.Kind,
            Contexts = [EchoUser.Proposal, .. questions.Contexts],
            Limits = AssociationLimits.Default with { Connect = peer.ConnectLimit, Associate = peer.ResponseLimit, Response = peer.ResponseLimit },
            TimeProvider = clock,
        };
        try
        {
            Association association = await Association.RequestAsync(options, cancellation).ConfigureAwait(false);
            await using (association.ConfigureAwait(false))
            {
                lines.Add(Ok("association", $"{options.CalledAETitle} accepts {options.CallingAETitle} ({association.PeerImplementation})"));
                await EchoAsync(association, lines, cancellation).ConfigureAwait(false);
                await questions.AskAsync(association, lines, cancellation).ConfigureAwait(false);
                await association.ReleaseAsync(cancellation).ConfigureAwait(false);
            }
        }
        catch (AssociationException fault)
        {
            lines.Add(Failed(lines.Count == 0 ? "association" : "conversation", fault.Sentence.TrimEnd('.'), CheckLine.Again));
        }

        return lines;
    }

    private async Task EchoAsync(Association association, List<CheckLine> lines, CancellationToken cancellation)
    {
        try
        {
            DimseReply reply = await new EchoUser(association).EchoAsync(cancellation).ConfigureAwait(false);
            lines.Add(reply.IsDone
                ? Ok("echo", "answers C-ECHO")
                : new CheckLine($"{questions.Step}: echo", CheckOutcome.Hint, reply.ToString(), "Harmless by itself; its log may say why."));
        }
        catch (ContextNotAcceptedException)
        {
            lines.Add(new CheckLine($"{questions.Step}: echo", CheckOutcome.Hint, "does not offer C-ECHO", "Harmless where the lines below are ok."));
        }
    }

    private CancellationTokenSource Limit(CancellationToken cancellation)
    {
        CancellationTokenSource limit = CancellationTokenSource.CreateLinkedTokenSource(cancellation);
        limit.CancelAfter(peer.ConnectLimit);
        return limit;
    }

    private CheckLine Ok(string part, string words) => new($"{questions.Step}: {part}", CheckOutcome.Ok, words);

    private CheckLine Failed(string part, string words, string next) => new($"{questions.Step}: {part}", CheckOutcome.Failed, words, next);

    private CheckLine Skipped(params string[] parts) => new($"{questions.Step}: {string.Join(", ", parts)}", CheckOutcome.Skipped, "not tried, since the step before failed");
}
