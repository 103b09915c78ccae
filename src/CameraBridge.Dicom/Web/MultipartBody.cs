using System.Buffers;
using System.Net;
using System.Net.Http.Headers;
using System.Security.Cryptography;
using System.Text;
using CameraBridge.Dicom.Data;

namespace CameraBridge.Dicom.Web;

/// <summary>One part of a <see cref="MultipartBody"/>.</summary>
/// <param name="ContentType">Media type with its parameters, such as "application/dicom" or "image/jpeg; transfer-syntax=1.2.840.10008.1.2.4.50".</param>
/// <param name="Content">The bytes, streamed from where they are.</param>
/// <param name="ContentLocation">For bulk data: the BulkDataURI of the metadata that refers to it (PS3.18 section 8.6.1.2), else null.</param>
public sealed record MultipartBodyPart(string ContentType, PixelSource Content, string? ContentLocation = null);

/// <summary>
/// A multipart/related body (RFC 2387, RFC 2046 section 5.1; PS3.18 section 8.6.1.2, edition 2024d) whose parts are streamed from files: its length is known
/// before, and no part is ever held in memory.
/// </summary>
public sealed class MultipartBody : HttpContent
{
    private const int BufferBytes = 128 * 1024;
    private const int BoundaryBytes = 20;

    private readonly PixelSource content;

    /// <param name="type">Media type of the parts, or of the first part, for the parameter "type".</param>
    /// <param name="parts">One or more.</param>
    /// <exception cref="ArgumentException">No part, or a media type or location that would break its header line.</exception>
    public MultipartBody(string type, params IReadOnlyList<MultipartBodyPart> parts)
    {
        ArgumentException.ThrowIfNullOrEmpty(type);
        ArgumentNullException.ThrowIfNull(parts);
        if (parts.Count == 0)
        {
            throw new ArgumentException("A multipart body has a part at least (RFC 2046 section 5.1).", nameof(parts));
        }

        // 160 random bits, drawn after the parts were given: nobody can have put them into a picture. That a gigabyte holds them by chance has a probability of 2^-130.
        Boundary = Convert.ToHexStringLower(RandomNumberGenerator.GetBytes(BoundaryBytes));
        var pieces = new List<PixelSource>((2 * parts.Count) + 1);
        string before = "";
        foreach (MultipartBodyPart part in parts)
        {
            string location = part.ContentLocation is { } uri ? $"Content-Location: {OneLine(uri)}\r\n" : "";
            pieces.Add(Literal($"{before}--{Boundary}\r\nContent-Type: {OneLine(part.ContentType)}\r\n{location}\r\n"));
            pieces.Add(part.Content);
            before = "\r\n";
        }

        pieces.Add(Literal($"\r\n--{Boundary}--\r\n"));
        content = PixelSource.Concat(pieces);

        // Both parameters in quotes: "type" must be, for its slash (RFC 2045 section 5.1), and some servers read the boundary only so.
        Headers.ContentType = MediaTypeHeaderValue.Parse($"multipart/related; type=\"{type}\"; boundary=\"{Boundary}\"");
    }

    /// <summary>What parts the parts.</summary>
    public string Boundary { get; }

    /// <summary>Bytes in all.</summary>
    public long Length => content.Length;

    /// <summary>Why the bytes could not be read from where they are, if that is what broke a request: our fault, not the peer's.</summary>
    internal IOException? SourceFailure { get; private set; }

    /// <summary>Told when the first byte is about to go: after a server was asked whether it wants the body, when it has answered or that wait is over.</summary>
    internal Action? Begins { get; set; }

    /// <summary>Told of each write that the connection has taken: false before the last of them, true after it.</summary>
    internal Action<bool>? Progress { get; set; }

    /// <inheritdoc />
    protected override bool TryComputeLength(out long length)
    {
        length = content.Length;
        return true;
    }

    /// <inheritdoc />
    protected override Task SerializeToStreamAsync(Stream stream, TransportContext? context) => SerializeToStreamAsync(stream, context, CancellationToken.None);

    /// <inheritdoc />
    protected override async Task SerializeToStreamAsync(Stream stream, TransportContext? context, CancellationToken cancellationToken)
    {
        byte[] buffer = ArrayPool<byte>.Shared.Rent(BufferBytes);
        try
        {
            Begins?.Invoke();
            Progress?.Invoke(false);
            Stream source = content.OpenRead();
            await using (source.ConfigureAwait(false))
            {
                for (int count = await FillAsync(source, buffer, cancellationToken).ConfigureAwait(false); count > 0;
                    count = await FillAsync(source, buffer, cancellationToken).ConfigureAwait(false))
                {
                    if (content.Pace is { } pace)
                    {
                        await pace(count, cancellationToken).ConfigureAwait(false);
                    }

                    await stream.WriteAsync(buffer.AsMemory(0, count), cancellationToken).ConfigureAwait(false);
                    Progress?.Invoke(false);
                }
            }

            await stream.FlushAsync(cancellationToken).ConfigureAwait(false);
            Progress?.Invoke(true);
        }
        finally
        {
            ArrayPool<byte>.Shared.Return(buffer);
        }
    }

    private static PixelSource Literal(string text) => PixelSource.FromBytes(Encoding.ASCII.GetBytes(text));

    private static string OneLine(string value) =>
        value.Length > 0 && value.All(c => c is >= ' ' and < '\x7F')
            ? value
            : throw new ArgumentException("A header of a part is printable ASCII on one line (RFC 5322 section 2.2).", nameof(value));

    /// <summary>Small pieces (a head, a still's header) go out together with what follows: one write, one packet.</summary>
    private async ValueTask<int> FillAsync(Stream source, byte[] buffer, CancellationToken cancellationToken)
    {
        try
        {
            return await source.ReadAtLeastAsync(buffer.AsMemory(0, BufferBytes), BufferBytes, throwOnEndOfStream: false, cancellationToken).ConfigureAwait(false);
        }
        catch (IOException broken)
        {
            SourceFailure = broken;
            throw;
        }
        catch (UnauthorizedAccessException denied)
        {
            SourceFailure = new IOException(denied.Message, denied);
            throw SourceFailure;
        }
    }
}
