using System.Net;
using System.Net.Sockets;
using CameraBridge.Configuration;
using CameraBridge.Dicom.Dimse;
using CameraBridge.Dicom.UpperLayer;

namespace CameraBridge.Pipeline.Confirmations;

/// <summary>Takes reports of storage commitment that archives bring in associations of their own (PS3.4 section J.3.3), with or without role selection.</summary>
internal sealed class ReportListener : IAsyncDisposable
{
    private readonly Provider? _provider;

    private ReportListener(Provider? provider) => _provider = provider;

    /// <summary>Where it listens; null when it does not.</summary>
    public IPEndPoint? EndPoint => _provider?.EndPoint;

    /// <summary>Begins to listen, if the site has named a port.</summary>
    /// <param name="site">The site.</param>
    /// <param name="taking">Stores the reports.</param>
    /// <param name="clock">Source of all limits.</param>
    /// <param name="logger">Log.</param>
    /// <returns>One that does not listen when the site names no port, or the port is taken: by the running service of this site, most likely, which shares the state.</returns>
    public static ReportListener Start(SiteConfiguration site, CommitmentTaking taking, TimeProvider clock, ILogger logger)
    {
        if (site.Listen is not { } listen)
        {
            return new ReportListener(null);
        }

        IPEndPoint endPoint = new(listen.Address, listen.Port);
        try
        {
            var provider = Provider.Start(new ProviderOptions
            {
                EndPoint = endPoint,
                Acceptor = new AcceptorOptions
                {
                    Offers = [CommitmentReports.Offer],
                    CalledAETitles = [listen.AETitle ?? site.CallingAETitle],
                    TimeProvider = clock,
                },
                EventReport = taking.Reports.TakeAsync,
                Trouble = (peer, error) => logger.Trouble(peer, error is AssociationException known ? known.Sentence : error.GetType().Name),
            });
            logger.Listening(listen.AETitle ?? site.CallingAETitle, provider.EndPoint.ToString());
            return new ReportListener(provider);
        }
        catch (SocketException taken)
        {
            logger.CannotListen(endPoint.ToString(), taken.Message);
            return new ReportListener(null);
        }
    }

    public ValueTask DisposeAsync() => _provider?.DisposeAsync() ?? ValueTask.CompletedTask;
}
