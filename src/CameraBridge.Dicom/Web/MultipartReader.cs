using System.Globalization;
using System.Net.Http.Headers;
using System.Text;
using CameraBridge.Dicom.Part10;

namespace CameraBridge.Dicom.Web;

/// <summary>
/// Reads a multipart body (RFC 2046 section 5.1) part by part from a stream, with a window of fixed size: neither a part nor what stands before the first one is
/// held. Lone line feeds in heads, padding after a boundary and parts without a head are forgiven; a body that ends without its closing boundary is not.
/// </summary>
public sealed class MultipartReader
{
    private const int WindowBytes = 64 * 1024;
    private const int MaxBoundary = 70;
    private const int MaxHeadBytes = 16 * 1024;
    private const int MaxParts = 100_000;

    private readonly Stream stream;
    private readonly byte[] delimiter;
    private readonly byte[] window = new byte[WindowBytes];
    private int start;
    private int end;
    private long position;
    private bool ended;

    // What stands before the first boundary is part 0: passed over like the others.
    private int current;
    private bool isCurrentRead;

    /// <param name="stream">The body; read forward, not disposed.</param>
    /// <param name="boundary">What parts the parts, without its hyphens.</param>
    /// <exception cref="MalformedException">The boundary is empty, or longer than RFC 2046 section 5.1.1 allows.</exception>
    public MultipartReader(Stream stream, string boundary)
    {
        ArgumentNullException.ThrowIfNull(stream);
        ArgumentNullException.ThrowIfNull(boundary);
        if (boundary.Length is 0 or > MaxBoundary || !Ascii.IsValid(boundary))
        {
            throw new MalformedException(0, "", "a multipart boundary has 1 to 70 characters (RFC 2046 section 5.1.1)");
        }

        this.stream = stream;
        delimiter = Encoding.ASCII.GetBytes("\r\n--" + boundary);

        // The first boundary may stand at the very beginning, where no line ended before it.
        window[0] = (byte)'\r';
        window[1] = (byte)'\n';
        end = 2;
        position = -end;
    }

    /// <summary>Goes on to the next part; what was not read of the one before is passed over.</summary>
    /// <returns>Null after the last part.</returns>
    /// <exception cref="MalformedException">The body is torn, or is no multipart body.</exception>
    /// <exception cref="IOException">The stream broke.</exception>
    public async Task<MultipartPart?> ReadNextAsync(CancellationToken cancellationToken)
    {
        if (ended)
        {
            return null;
        }

        while (!isCurrentRead)
        {
            await TakeAsync(Memory<byte>.Empty, int.MaxValue, cancellationToken).ConfigureAwait(false);
        }

        if (await IsLastAsync(cancellationToken).ConfigureAwait(false))
        {
            ended = true;
            return null;
        }

        if (++current > MaxParts)
        {
            throw Malformed("too many parts");
        }

        Dictionary<string, string> headers = await ReadHeadAsync(cancellationToken).ConfigureAwait(false);
        isCurrentRead = false;
        return new MultipartPart(headers, new PartStream(this, current));
    }

    /// <summary>The boundary that a Content-Type names.</summary>
    /// <exception cref="MalformedException">There is none.</exception>
    internal static string BoundaryOf(MediaTypeHeaderValue? contentType) =>
        contentType?.Parameters.FirstOrDefault(parameter => parameter.Name.Equals("boundary", StringComparison.OrdinalIgnoreCase))?.Value?.Trim('"')
        ?? throw new MalformedException(0, "", "a multipart body whose Content-Type names no boundary (RFC 2046 section 5.1)");

    private MalformedException Malformed(string rule) => new(Math.Max(0, position + start), "", rule + " (RFC 2046 section 5.1.1)");

    /// <summary>Gets more bytes behind those of the window.</summary>
    /// <returns>False at the end of the stream.</returns>
    private async ValueTask<bool> FillAsync(CancellationToken cancellationToken)
    {
        if (start > 0)
        {
            window.AsSpan(start, end - start).CopyTo(window);
            position += start;
            end -= start;
            start = 0;
        }

        int read = await stream.ReadAsync(window.AsMemory(end), cancellationToken).ConfigureAwait(false);
        end += read;
        return read > 0;
    }

    /// <summary>Steps over bytes of the current part, up to so many, and copies them where there is a place for them.</summary>
    /// <returns>How many; 0 at its end.</returns>
    private async ValueTask<int> TakeAsync(Memory<byte> target, int most, CancellationToken cancellationToken)
    {
        int available = Math.Min(await AvailableAsync(cancellationToken).ConfigureAwait(false), most);
        if (!target.IsEmpty)
        {
            window.AsSpan(start, available).CopyTo(target.Span);
        }

        start += available;
        isCurrentRead = available == 0;
        return available;
    }

    /// <summary>Bytes of the current part that are in the window; 0 when its delimiter comes next.</summary>
    private async ValueTask<int> AvailableAsync(CancellationToken cancellationToken)
    {
        while (true)
        {
            int found = window.AsSpan(start, end - start).IndexOf(delimiter);
            if (found >= 0)
            {
                return found;
            }

            // The last bytes may be the beginning of a delimiter.
            int sure = end - start - (delimiter.Length - 1);
            if (sure > 0)
            {
                return sure;
            }

            if (!await FillAsync(cancellationToken).ConfigureAwait(false))
            {
                throw Malformed("the body ends without its closing boundary");
            }
        }
    }

    /// <summary>Steps over a delimiter.</summary>
    /// <returns>True when it closes the body.</returns>
    private async ValueTask<bool> IsLastAsync(CancellationToken cancellationToken)
    {
        start += delimiter.Length;
        while (end - start < 2)
        {
            if (!await FillAsync(cancellationToken).ConfigureAwait(false))
            {
                throw Malformed("the body ends within a boundary");
            }
        }

        if (window[start] == '-' && window[start + 1] == '-')
        {
            return true;
        }

        // Padding may follow up to the end of the line.
        string rest = await ReadLineAsync(cancellationToken).ConfigureAwait(false);
        return rest.AsSpan().Trim(" \t").Length > 0 ? throw Malformed("something other than white space follows a boundary") : false;
    }

    private async Task<Dictionary<string, string>> ReadHeadAsync(CancellationToken cancellationToken)
    {
        var headers = new Dictionary<string, string>(StringComparer.OrdinalIgnoreCase);
        string? last = null;
        int bytes = 0;
        while (true)
        {
            // A part without any header begins with its empty line.
            string line = await ReadLineAsync(cancellationToken).ConfigureAwait(false);
            if (line.Length == 0)
            {
                return headers;
            }

            bytes += line.Length;
            if (bytes > MaxHeadBytes)
            {
                throw Malformed("a part's head is longer than 16 KiB");
            }

            if (line[0] is ' ' or '\t' && last is not null)
            {
                headers[last] += line.TrimEnd();
                continue;
            }

            int colon = line.IndexOf(':', StringComparison.Ordinal);
            if (colon <= 0)
            {
                throw Malformed("a line of a part's head has no colon");
            }

            last = line[..colon].Trim();
            headers[last] = line[(colon + 1)..].Trim();
        }
    }

    private async ValueTask<string> ReadLineAsync(CancellationToken cancellationToken)
    {
        while (true)
        {
            int length = window.AsSpan(start, end - start).IndexOf((byte)'\n');
            if (length >= 0)
            {
                string line = Encoding.Latin1.GetString(window, start, length).TrimEnd('\r');
                start += length + 1;
                return line;
            }

            if (end - start >= MaxHeadBytes)
            {
                throw Malformed("a line of a part's head is longer than 16 KiB");
            }

            if (!await FillAsync(cancellationToken).ConfigureAwait(false))
            {
                throw Malformed("the body ends within a part's head");
            }
        }
    }

    /// <summary>The bytes of one part, until its delimiter.</summary>
    private sealed class PartStream(MultipartReader reader, int part) : ForwardStream
    {
        public override async ValueTask<int> ReadAsync(Memory<byte> buffer, CancellationToken cancellationToken = default)
        {
            if (reader.current != part)
            {
                throw new InvalidOperationException("The reader has gone on to another part.");
            }

            return reader.isCurrentRead || buffer.IsEmpty ? 0 : await reader.TakeAsync(buffer, buffer.Length, cancellationToken).ConfigureAwait(false);
        }
    }
}

/// <summary>One part of a multipart body.</summary>
public sealed class MultipartPart
{
    internal MultipartPart(IReadOnlyDictionary<string, string> headers, Stream body)
    {
        Headers = headers;
        Body = body;
    }

    /// <summary>The head of the part; names without regard to case.</summary>
    public IReadOnlyDictionary<string, string> Headers { get; }

    /// <summary>The bytes; to be read before the reader goes on. Reading throws <see cref="MalformedException"/> when the body is torn.</summary>
    public Stream Body { get; }

    /// <summary>Media type without parameters, in small letters; "" when there is none, or none that can be read.</summary>
    public string MediaType =>
        Headers.TryGetValue("Content-Type", out string? text) && MediaTypeHeaderValue.TryParse(text, out MediaTypeHeaderValue? type)
            ? type.MediaType!.ToLower(CultureInfo.InvariantCulture)
            : "";
}

/// <summary>What a stream is that can only be read, asynchronously and forward.</summary>
internal abstract class ForwardStream : Stream
{
    public override bool CanRead => true;

    public override bool CanSeek => false;

    public override bool CanWrite => false;

    public override long Length => throw new NotSupportedException("The length is not known before the end.");

    public override long Position
    {
        get => throw new NotSupportedException("This stream is read forward only.");
        set => throw new NotSupportedException("This stream is read forward only.");
    }

    public abstract override ValueTask<int> ReadAsync(Memory<byte> buffer, CancellationToken cancellationToken = default);

    public override Task<int> ReadAsync(byte[] buffer, int offset, int count, CancellationToken cancellationToken) =>
        ReadAsync(buffer.AsMemory(offset, count), cancellationToken).AsTask();

    public override int Read(byte[] buffer, int offset, int count) => throw new NotSupportedException("This stream is read asynchronously.");

    public override void Flush()
    {
    }

    public override long Seek(long offset, SeekOrigin origin) => throw new NotSupportedException("This stream is read forward only.");

    public override void SetLength(long value) => throw new NotSupportedException("This stream is read only.");

    public override void Write(byte[] buffer, int offset, int count) => throw new NotSupportedException("This stream is read only.");
}
