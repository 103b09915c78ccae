using System.Globalization;
using System.Net;
using System.Net.NetworkInformation;
using System.Net.Sockets;
using CameraBridge.Configuration;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.UpperLayer;

namespace CameraBridge.Commands.Checks;

/// <summary>Whether reports of storage commitment can come: the port of <c>listen</c> can be had, or the running service has it; and what archives must call.</summary>
internal static class ListenerCheck
{
    private const string Step = "listen";

    private static readonly TimeSpan Limit = TimeSpan.FromSeconds(5);

    public static async Task<CheckLine> LookAsync(SiteConfiguration site, TimeProvider clock, CancellationToken cancellation)
    {
        ListenConfiguration listen = site.Listen!;
        IPEndPoint endPoint = new(listen.Address, listen.Port);
        string title = listen.AETitle ?? site.CallingAETitle;
        try
        {
            using Socket socket = new(endPoint.AddressFamily, SocketType.Stream, ProtocolType.Tcp);
            socket.Bind(endPoint);
        }
        catch (SocketException fault)
        {
            return fault.SocketErrorCode switch
            {
                SocketError.AddressAlreadyInUse => await IsOursAsync(endPoint, title, clock, cancellation).ConfigureAwait(false) is { } trouble
                    ? Failed($"another program has {endPoint} ({trouble})", "End it, or write another port, here and in the archives.")
                    : Told(site, $"the running service listens on {endPoint}", title),
                SocketError.AccessDenied => Failed(
                    $"{endPoint} may not be had by this user", "Write a port above 1023, here and in the archives, or let the service bind lower ones (CAP_NET_BIND_SERVICE)."),
                SocketError.AddressNotAvailable => Failed($"{listen.Address} is no address of this machine", "Write one of its addresses, or 0.0.0.0 for all of them."),
                _ => Failed($"{endPoint} cannot be had ({fault.SocketErrorCode})", "Write another address or port."),
            };
        }

        return Told(site, $"{endPoint} can be had", title);
    }

    /// <summary>Asks whoever has the port for an association as an archive would that reports.</summary>
    /// <returns>Null when it is a gateway of this AE title; else what is wrong.</returns>
    private static async Task<string?> IsOursAsync(IPEndPoint endPoint, string title, TimeProvider clock, CancellationToken cancellation)
    {
        IPAddress reached = endPoint.Address.Equals(IPAddress.Any) ? IPAddress.Loopback : endPoint.Address.Equals(IPAddress.IPv6Any) ? IPAddress.IPv6Loopback : endPoint.Address;
        AssociationOptions options = new()
        {
            Host = reached.ToString(),
            Port = endPoint.Port,
            CallingAETitle = title,
            CalledAETitle = title,
            PeerKind = "program",
            Contexts = [new ContextProposal(SopClasses.StorageCommitmentPushModel, TransferSyntaxes.ImplicitVRLittleEndian)],
            Limits = AssociationLimits.Default with { Connect = Limit, Associate = Limit, Response = Limit },
            TimeProvider = clock,
        };
        try
        {
            Association association = await Association.RequestAsync(options, cancellation).ConfigureAwait(false);
            await using (association.ConfigureAwait(false))
            {
                bool takes = association.Contexts.Count > 0;
                await association.ReleaseAsync(cancellation).ConfigureAwait(false);
                return takes ? null : "it takes no reports of storage commitment";
            }
        }
        catch (AssociationException fault)
        {
            return fault.Sentence.TrimEnd('.');
        }
    }

    private static CheckLine Told(SiteConfiguration site, string words, string title)
    {
        ListenConfiguration listen = site.Listen!;
        string[] addresses = listen.Address.Equals(IPAddress.Any) || listen.Address.Equals(IPAddress.IPv6Any) ? [.. OwnAddresses(listen.Address.AddressFamily)] : [listen.Address.ToString()];
        string call = string.Create(
            CultureInfo.InvariantCulture, $"{words}; archives must call {title} at {(addresses.Length == 0 ? "an address of this machine" : string.Join(" or ", addresses))}, port {listen.Port}");
        bool isLocal = IPAddress.IsLoopback(listen.Address);
        return isLocal && site.Destinations.Any(destination => destination.Peer is { } peer && !IsLocal(peer.Host))
            ? new CheckLine(Step, CheckOutcome.Hint, call + ", which no other machine reaches", "Write an address of this machine that the archives reach, or 0.0.0.0.")
            : new CheckLine(Step, CheckOutcome.Ok, call);
    }

    private static bool IsLocal(string host) => host == "localhost" || (IPAddress.TryParse(host, out IPAddress? address) && IPAddress.IsLoopback(address));

    private static IEnumerable<string> OwnAddresses(AddressFamily family) => NetworkInterface.GetAllNetworkInterfaces()
        .Where(one => one.OperationalStatus == OperationalStatus.Up && one.NetworkInterfaceType != NetworkInterfaceType.Loopback)
        .SelectMany(one => one.GetIPProperties().UnicastAddresses)
        .Select(unicast => unicast.Address)
        .Where(address => address.AddressFamily == family && !address.IsIPv6LinkLocal)
        .Select(address => address.ToString())
        .Distinct();

    private static CheckLine Failed(string words, string next) => new(Step, CheckOutcome.Failed, words, next);
}
