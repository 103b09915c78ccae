using System.Globalization;
using System.Net;
using System.Net.Http.Headers;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Part10;

namespace CameraBridge.Dicom.Web;

/// <summary>One page of a search: a GET with limit and offset, and its answer (PS3.18 sections 8.3.4 and 8.3.4.4, edition 2024d).</summary>
/// <param name="http">The connection. Not disposed here.</param>
/// <param name="peer">The server.</param>
/// <param name="clock">For the limits.</param>
internal sealed class SearchPages(HttpClient http, WebPeer peer, TimeProvider clock)
{
    /// <summary>The warn code of section 8.3.4.4: there are more results.</summary>
    private const int MoreResults = 299;

    /// <summary>Asks for one page.</summary>
    /// <param name="path">Resource and query, below the root of the services.</param>
    /// <param name="size">Answers to ask for.</param>
    /// <param name="offset">Answers to leave out before them.</param>
    /// <param name="isTolerant">
    /// Whether 404, and data sets with nothing in them, mean that there is nothing, as with studies; else they are no answer: the service is not at this address, or tells of an error.
    /// </param>
    /// <param name="cancellationToken">Gives up.</param>
    /// <returns>The answers, and whether the server says that there are more.</returns>
    /// <exception cref="WebPeerException">No answer could be had, or none that is one.</exception>
    public async Task<(IReadOnlyList<DataSet> Answers, bool HasMore)> AskAsync(string path, int size, int offset, bool isTolerant, CancellationToken cancellationToken)
    {
        string separator = path.Contains('?', StringComparison.Ordinal) ? "&" : "?";
        using HttpRequestMessage request = peer.Request(HttpMethod.Get, string.Create(CultureInfo.InvariantCulture, $"{path}{separator}limit={size}&offset={offset}"));
        request.Headers.Accept.Add(new MediaTypeWithQualityHeaderValue("application/dicom+json"));
        using var call = new WebCall(peer, clock, cancellationToken);
        HttpResponseMessage response = await call.SendAsync(http, request).ConfigureAwait(false);
        switch (response.StatusCode)
        {
            case HttpStatusCode.NoContent:
            case HttpStatusCode.NotFound when isTolerant:
                return ([], false);
            case HttpStatusCode.OK or HttpStatusCode.PartialContent:
                break;
            default:
                throw await call.RefusedAsync().ConfigureAwait(false);
        }

        ReadOnlyMemory<byte> body = await call.ReadBodyAsync().ConfigureAwait(false);
        try
        {
            IReadOnlyList<DataSet> answers = body.IsEmpty ? [] : await WebAnswers.ReadAsync(response.Content.Headers.ContentType, body, cancellationToken).ConfigureAwait(false);
            if (!isTolerant && answers.Any(answer => answer.Count == 0))
            {
                throw call.Answered(WebFault.Malformed, "answered a query with what is no list of data sets: check its address");
            }

            return (answers, response.StatusCode == HttpStatusCode.PartialContent || response.Headers.Warning.Any(warning => warning.Code == MoreResults));
        }
        catch (MalformedException broken)
        {
            throw call.Answered(WebFault.Malformed, "answered a query with what is no list of data sets: check its address", broken);
        }
    }
}
