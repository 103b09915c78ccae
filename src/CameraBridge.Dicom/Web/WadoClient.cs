using System.Buffers;
using System.Buffers.Binary;
using System.Globalization;
using System.Net;
using System.Net.Http.Headers;
using System.Security.Cryptography;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Part10;

namespace CameraBridge.Dicom.Web;

/// <summary>The hashes of an object as a file, to compare what was sent with what is kept.</summary>
/// <param name="FileBytes">Bytes of the file.</param>
/// <param name="FileHash">SHA-256 of the file, in small hexadecimal letters.</param>
/// <param name="DataSetHash">SHA-256 of what follows the file meta information, which an archive may write anew; null where there is none.</param>
public sealed record RetrievedHashes(long FileBytes, string FileHash, string? DataSetHash);

/// <summary>
/// Retrieves objects by WADO-RS (PS3.18 section 10.4, edition 2024d) in the transfer syntax that they are kept in, streamed.
/// </summary>
/// <param name="http">The connection; see <see cref="WebPeer.CreateClient"/>. Not disposed here.</param>
/// <param name="peer">The server.</param>
/// <param name="clock">For the limits.</param>
public sealed class WadoClient(HttpClient http, WebPeer peer, TimeProvider? clock = null)
{
    private const int BufferBytes = 128 * 1024;

    private readonly TimeProvider clock = clock ?? TimeProvider.System;

    /// <summary>Writes the object, as a PS3.10 file, to a stream.</summary>
    /// <param name="StudyInstanceUID">Its study.</param>
    /// <param name="SeriesInstanceUID">Its series.</param>
    /// <param name="SOPInstanceUID">The object.</param>
    /// <param name="target">Where to; what has been written when it fails is to be thrown away.</param>
    /// <param name="maxBytes">Most bytes to take.</param>
    /// <param name="cancellationToken">Gives up.</param>
    /// <returns>Bytes written; null where the archive does not have the object (404 or 410).</returns>
    /// <exception cref="WebPeerException">It could not be had, or not whole.</exception>
    /// <exception cref="IOException">The target could not be written.</exception>
    public Task<long?> RetrieveAsync(
        string StudyInstanceUID, string SeriesInstanceUID, string SOPInstanceUID, Stream target, long maxBytes, CancellationToken cancellationToken = default)
    {
        ArgumentNullException.ThrowIfNull(target);
        return ReadAsync(StudyInstanceUID, SeriesInstanceUID, SOPInstanceUID, (bytes, cancellation) => target.WriteAsync(bytes, cancellation), maxBytes, cancellationToken);
    }

    /// <summary>The hashes of the object as the archive gives it, without keeping a byte.</summary>
    /// <returns>Null where the archive does not have the object.</returns>
    /// <inheritdoc cref="RetrieveAsync" />
    public async Task<RetrievedHashes?> HashAsync(
        string StudyInstanceUID, string SeriesInstanceUID, string SOPInstanceUID, long maxBytes, CancellationToken cancellationToken = default)
    {
        using var hashing = new FileHashing();
        long? length = await ReadAsync(
            StudyInstanceUID,
            SeriesInstanceUID,
            SOPInstanceUID,
            (bytes, _) =>
            {
                hashing.Add(bytes.Span);
                return ValueTask.CompletedTask;
            },
            maxBytes,
            cancellationToken).ConfigureAwait(false);
        return length is null ? null : hashing.Finish();
    }

    /// <summary>The hashes of the file that was sent, to lay beside those.</summary>
    /// <exception cref="IOException">It cannot be read.</exception>
    public static async Task<RetrievedHashes> HashAsync(PixelSource file, CancellationToken cancellationToken = default)
    {
        ArgumentNullException.ThrowIfNull(file);
        using var hashing = new FileHashing();
        byte[] buffer = new byte[BufferBytes];
        Stream stream = file.OpenRead();
        await using (stream.ConfigureAwait(false))
        {
            for (int read = await stream.ReadAsync(buffer, cancellationToken).ConfigureAwait(false); read > 0; read = await stream.ReadAsync(buffer, cancellationToken).ConfigureAwait(false))
            {
                hashing.Add(buffer.AsSpan(0, read));
            }
        }

        return hashing.Finish();
    }

    private async Task<long?> ReadAsync(
        string StudyInstanceUID,
        string SeriesInstanceUID,
        string SOPInstanceUID,
        Func<ReadOnlyMemory<byte>, CancellationToken, ValueTask> take,
        long maxBytes,
        CancellationToken cancellationToken)
    {
        using HttpRequestMessage request = peer.Request(
            HttpMethod.Get, $"studies/{WebPaths.Uid(StudyInstanceUID)}/series/{WebPaths.Uid(SeriesInstanceUID)}/instances/{WebPaths.Uid(SOPInstanceUID)}");

        // Any transfer syntax: without this, the default would have pixels decompressed (section 8.7.3.5.2).
        request.Headers.TryAddWithoutValidation("Accept", "multipart/related; type=\"application/dicom\"; transfer-syntax=*");
        using var call = new WebCall(peer, clock, cancellationToken);
        HttpResponseMessage response = await call.SendAsync(http, request).ConfigureAwait(false);
        if (response.StatusCode is HttpStatusCode.NotFound or HttpStatusCode.Gone)
        {
            return null;
        }

        if (response.StatusCode != HttpStatusCode.OK)
        {
            throw await call.RefusedAsync().ConfigureAwait(false);
        }

        try
        {
            Stream body = await call.OpenBodyAsync().ConfigureAwait(false);
            await using (body.ConfigureAwait(false))
            {
                return await ReadOnlyPartAsync(call, response.Content.Headers.ContentType, body, take, maxBytes, cancellationToken).ConfigureAwait(false);
            }
        }
        catch (MalformedException broken)
        {
            throw call.Answered(WebFault.Malformed, "answered a retrieval with what is not one object, or broke it off", broken);
        }
    }

    private static async Task<long?> ReadOnlyPartAsync(
        WebCall call,
        MediaTypeHeaderValue? contentType,
        Stream body,
        Func<ReadOnlyMemory<byte>, CancellationToken, ValueTask> take,
        long maxBytes,
        CancellationToken cancellationToken)
    {
        // One object may come without the multipart frame (section 8.6.1.1).
        if (string.Equals(contentType?.MediaType, "application/dicom", StringComparison.OrdinalIgnoreCase))
        {
            return await CopyAsync(call, body, take, maxBytes, cancellationToken).ConfigureAwait(false);
        }

        if (!string.Equals(contentType?.MediaType, "multipart/related", StringComparison.OrdinalIgnoreCase))
        {
            throw new MalformedException(0, "", "the answer is neither multipart/related nor application/dicom (PS3.18 section 10.4.3)");
        }

        var reader = new MultipartReader(body, MultipartReader.BoundaryOf(contentType));
        MultipartPart part = await reader.ReadNextAsync(cancellationToken).ConfigureAwait(false)
            ?? throw new MalformedException(0, "", "the answer has no part");
        long length = await CopyAsync(call, part.Body, take, maxBytes, cancellationToken).ConfigureAwait(false);
        return await reader.ReadNextAsync(cancellationToken).ConfigureAwait(false) is null
            ? length
            : throw new MalformedException(0, "", "the answer has more than one part");
    }

    private static async Task<long> CopyAsync(
        WebCall call, Stream from, Func<ReadOnlyMemory<byte>, CancellationToken, ValueTask> take, long maxBytes, CancellationToken cancellationToken)
    {
        byte[] buffer = ArrayPool<byte>.Shared.Rent(BufferBytes);
        try
        {
            long length = 0;
            for (int read = await from.ReadAsync(buffer, cancellationToken).ConfigureAwait(false); read > 0; read = await from.ReadAsync(buffer, cancellationToken).ConfigureAwait(false))
            {
                length += read;
                if (length > maxBytes)
                {
                    throw call.Answered(WebFault.Malformed, string.Create(CultureInfo.InvariantCulture, $"sends more than {maxBytes} bytes for the object: it is not the one that was sent"));
                }

                await take(buffer.AsMemory(0, read), cancellationToken).ConfigureAwait(false);
            }

            return length;
        }
        finally
        {
            ArrayPool<byte>.Shared.Return(buffer);
        }
    }

    /// <summary>Hashes a file, and what follows its file meta information, in one pass (PS3.10 section 7.1: preamble, prefix, then the group length).</summary>
    private sealed class FileHashing : IDisposable
    {
        private const int GroupLengthEnd = 144;

        private readonly IncrementalHash all = IncrementalHash.CreateHash(HashAlgorithmName.SHA256);
        private readonly IncrementalHash dataSet = IncrementalHash.CreateHash(HashAlgorithmName.SHA256);
        private readonly byte[] head = new byte[GroupLengthEnd];
        private long length;
        private long dataSetStart = long.MaxValue;

        public void Add(ReadOnlySpan<byte> bytes)
        {
            all.AppendData(bytes);
            if (length < GroupLengthEnd)
            {
                int taken = (int)Math.Min(bytes.Length, GroupLengthEnd - length);
                bytes[..taken].CopyTo(head.AsSpan((int)length));
                if (length + taken == GroupLengthEnd && head.AsSpan(128, 12).SequenceEqual("DICM\x02\0\0\0UL\x04\0"u8))
                {
                    dataSetStart = GroupLengthEnd + BinaryPrimitives.ReadUInt32LittleEndian(head.AsSpan(140));
                }
            }

            long skip = Math.Max(0, dataSetStart - length);
            if (skip < bytes.Length)
            {
                dataSet.AppendData(bytes[(int)skip..]);
            }

            length += bytes.Length;
        }

        public RetrievedHashes Finish() => new(
            length,
            Convert.ToHexStringLower(all.GetHashAndReset()),
            dataSetStart <= length ? Convert.ToHexStringLower(dataSet.GetHashAndReset()) : null);

        public void Dispose()
        {
            all.Dispose();
            dataSet.Dispose();
        }
    }
}
