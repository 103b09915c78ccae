using System.Globalization;
using System.Net;
using System.Net.Http.Headers;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Part10;

namespace CameraBridge.Dicom.Web;

/// <summary>How objects are stored.</summary>
public sealed record StowOptions
{
    /// <summary>Most objects in one request.</summary>
    public int MaxInstances { get; init; } = 100;

    /// <summary>Most bytes in one request, heads of the parts not counted. A single object that is larger goes alone.</summary>
    public long MaxBytes { get; init; } = 256L * 1024 * 1024;

    /// <summary>
    /// Bodies from this size are announced by Expect: 100-continue (RFC 9110 section 10.1.1), so that a server that wants credentials or smaller requests says so
    /// before a clip has gone over a slow line. Costs a round trip; null switches it off, for servers that answer 417. A server that once let the wait for its answer
    /// pass gets no announcements any more.
    /// </summary>
    public long? ExpectContinueFrom { get; init; } = 1024 * 1024;
}

/// <summary>
/// Stores objects by STOW-RS (PS3.18 section 10.5, edition 2024d): streamed from where they are, with a known length, judged object by object. One call is one request;
/// trying again is for the caller. Whatever the peer does comes back as a judgement, not as an exception.
/// </summary>
/// <param name="http">The connection, with authorization in its handlers; see <see cref="WebPeer.CreateClient"/>. Not disposed here; its own time-out should be off.</param>
/// <param name="peer">The server.</param>
/// <param name="options">How; the default when null.</param>
/// <param name="clock">For the limits.</param>
public sealed class StowClient(HttpClient http, WebPeer peer, StowOptions? options = null, TimeProvider? clock = null)
{
    private const string MetadataType = "application/dicom+json";

    private readonly StowOptions options = options ?? new StowOptions();
    private readonly TimeProvider clock = clock ?? TimeProvider.System;
    private volatile bool passesOverAnnouncements;

    /// <summary>Divides objects into requests that keep to the options, in their order.</summary>
    public IEnumerable<IReadOnlyList<StowInstance>> InBatches(IEnumerable<StowInstance> instances)
    {
        ArgumentNullException.ThrowIfNull(instances);
        return Divide(instances);
    }

    /// <summary>Stores objects as application/dicom, one part each.</summary>
    /// <param name="batch">One object or more, each UID once.</param>
    /// <param name="StudyInstanceUID">To store into the resource of this study, so that the server refuses objects of others; null for any.</param>
    /// <param name="cancellationToken">Gives up: what has been stored is not known then.</param>
    /// <exception cref="ArgumentException">The batch is empty, names a UID twice, or is larger than the options allow.</exception>
    /// <exception cref="IOException">A file could not be read. What the peer has stored is not known.</exception>
    public async Task<StowReply> StoreAsync(IReadOnlyList<StowInstance> batch, string? StudyInstanceUID = null, CancellationToken cancellationToken = default)
    {
        ArgumentNullException.ThrowIfNull(batch);
        (string, string)[] sent = [.. batch.Select(one => (one.SOPClassUID, one.SOPInstanceUID))];
        Check(sent, batch.Sum(one => one.File.Length));
        using var body = new MultipartBody("application/dicom", [.. batch.Select(one => new MultipartBodyPart("application/dicom", one.File))]);
        return await PostAsync(body, sent, StudyInstanceUID, isMetadata: false, cancellationToken).ConfigureAwait(false);
    }

    /// <summary>
    /// Stores objects as metadata with bulk data: one part of JSON for all of them, then their pixels, each part with the location that the metadata names (PS3.18
    /// section 8.6.1.2.2). Not every server takes that.
    /// </summary>
    /// <inheritdoc cref="StoreAsync" />
    public async Task<StowReply> StoreMetadataAsync(IReadOnlyList<StowMetadata> batch, string? StudyInstanceUID = null, CancellationToken cancellationToken = default)
    {
        ArgumentNullException.ThrowIfNull(batch);
        (string, string)[] sent = [.. batch.Select(one => (one.SOPClassUID, one.SOPInstanceUID))];
        var bulk = new List<MultipartBodyPart>();
        byte[] json = DicomJson.WriteArray(batch.Select(one => one.DataSet), new BulkDataParts(batch, bulk).LocationOf);
        Check(sent, json.Length + bulk.Sum(part => part.Content.Length));
        using var body = new MultipartBody(MetadataType, [new MultipartBodyPart(MetadataType, PixelSource.FromBytes(json)), .. bulk]);
        return await PostAsync(body, sent, StudyInstanceUID, isMetadata: true, cancellationToken).ConfigureAwait(false);
    }

    private IEnumerable<IReadOnlyList<StowInstance>> Divide(IEnumerable<StowInstance> instances)
    {
        var batch = new List<StowInstance>();
        long bytes = 0;
        foreach (StowInstance instance in instances)
        {
            if (batch.Count > 0 && (batch.Count >= options.MaxInstances || bytes + instance.File.Length > options.MaxBytes))
            {
                yield return batch;
                batch = [];
                bytes = 0;
            }

            batch.Add(instance);
            bytes += instance.File.Length;
        }

        if (batch.Count > 0)
        {
            yield return batch;
        }
    }

    private void Check((string SOPClassUID, string SOPInstanceUID)[] sent, long bytes)
    {
        if (sent.Length == 0 || sent.Length > options.MaxInstances || (sent.Length > 1 && bytes > options.MaxBytes))
        {
            throw new ArgumentException(string.Create(
                CultureInfo.InvariantCulture,
                $"A batch of {sent.Length} objects and {bytes} bytes; {nameof(StowOptions)} allows 1 to {options.MaxInstances} and {options.MaxBytes}."));
        }

        if (sent.Select(one => one.SOPInstanceUID).Distinct(StringComparer.Ordinal).Count() < sent.Length)
        {
            throw new ArgumentException("A batch names each SOP Instance UID once: an answer could not tell which was meant.");
        }
    }

    private async Task<StowReply> PostAsync(
        MultipartBody body, (string SOPClassUID, string SOPInstanceUID)[] sent, string? StudyInstanceUID, bool isMetadata, CancellationToken cancellationToken)
    {
        using HttpRequestMessage request = peer.Request(HttpMethod.Post, StudyInstanceUID is null ? "studies" : $"studies/{WebPaths.Uid(StudyInstanceUID)}");
        request.Content = body;
        request.Headers.Accept.Add(new MediaTypeWithQualityHeaderValue("application/dicom+json"));
        request.Headers.Accept.Add(new MediaTypeWithQualityHeaderValue("application/dicom+xml", 0.5));
        if (!passesOverAnnouncements && body.Length >= options.ExpectContinueFrom)
        {
            long announcedAt = clock.GetTimestamp();
            request.Headers.ExpectContinue = true;
            // A timer may fire a little early by a finer clock.
            body.Begins = () => passesOverAnnouncements |= clock.GetElapsedTime(announcedAt) >= WebPeer.WaitForContinue * 0.9;
        }

        using var call = new WebCall(peer, clock, cancellationToken);
        HttpResponseMessage response;
        try
        {
            response = await call.SendAsync(http, request).ConfigureAwait(false);
        }
        catch (WebPeerException failure)
        {
            return NoAnswer(sent, failure, call.MayHaveArrived && failure.Fault is not (WebFault.NotConnected or WebFault.NotAuthorized));
        }

        (DataSet? dataSet, string? flaw, bool isAboutCertificate) = await ReadAsync(call, response, cancellationToken).ConfigureAwait(false);
        return new StowAnswer(peer.Answering(response.StatusCode), response.StatusCode, call.RetryAfter, sent) { IsMetadata = isMetadata, IsAboutCertificate = isAboutCertificate }.Judge(dataSet, flaw);
    }

    private static StowReply NoAnswer((string SOPClassUID, string SOPInstanceUID)[] sent, WebPeerException failure, bool mayHaveArrived)
    {
        (StowVerdict verdict, string next) = mayHaveArrived ? (StowVerdict.Unknown, " Ask it whether it has the object.") : (StowVerdict.Later, "");
        return new StowReply(failure.StatusCode, [.. sent.Select(one => new StowJudgement(one.SOPInstanceUID, verdict, failure.Sentence + next) { ConcernsPeer = true })]);
    }

    /// <summary>The answer's data set, or, as the end of a sentence, why there is none.</summary>
    private static async Task<(DataSet? DataSet, string? Flaw, bool IsAboutCertificate)> ReadAsync(WebCall call, HttpResponseMessage response, CancellationToken cancellationToken)
    {
        if (response.StatusCode is HttpStatusCode.NoContent or HttpStatusCode.Unauthorized)
        {
            return (null, null, false);
        }

        ReadOnlyMemory<byte> body = default;
        try
        {
            body = await call.ReadBodyAsync().ConfigureAwait(false);
            return body.IsEmpty
                ? (null, null, false)
                : (await WebAnswers.ReadDataSetAsync(response.Content.Headers.ContentType, body, cancellationToken).ConfigureAwait(false), null, false);
        }
        catch (MalformedException)
        {
            return (null, "answered with what is no account of the object", WebSentences.IsAboutCertificate(response.StatusCode, body.Span));
        }
        catch (WebPeerException broken)
        {
            return (null, broken.Fault == WebFault.Malformed ? "answered with more than is read of an answer" : "broke off its answer", false);
        }
    }

    /// <summary>Names and collects the bulk data while the metadata is written.</summary>
    private sealed class BulkDataParts(IReadOnlyList<StowMetadata> batch, List<MultipartBodyPart> parts)
    {
        /// <summary>Values in the data set itself up to this size go inline, as base64.</summary>
        private const int MaxInline = 8 * 1024;

        private readonly Dictionary<Element, StowMetadata> owners = OwnersOf(batch);

        public string? LocationOf(Element element)
        {
            if (element.Encapsulated is null && element.Pixels is null && element.Value.Length <= MaxInline)
            {
                return null;
            }

            // Relative to nothing: a name of our own, unique in this request.
            string location = string.Create(CultureInfo.InvariantCulture, $"bulk/{parts.Count + 1}");
            if (element.Encapsulated is not null && owners.TryGetValue(element, out StowMetadata? owner))
            {
                parts.AddRange(owner.Frames.Select(frame => new MultipartBodyPart(owner.MediaType, frame, location)));
                return location;
            }

            parts.Add(new MultipartBodyPart(BulkDataTypes.OctetStream, element.Pixels ?? PixelSource.FromBytes(element.Value), location));
            return location;
        }

        private static Dictionary<Element, StowMetadata> OwnersOf(IReadOnlyList<StowMetadata> batch)
        {
            var owners = new Dictionary<Element, StowMetadata>(ReferenceEqualityComparer.Instance);
            foreach (StowMetadata one in batch)
            {
                if (one.DataSet.TryFind(Tags.PixelData, out Element? pixels))
                {
                    owners[pixels] = one;
                }
            }

            return owners;
        }
    }
}
