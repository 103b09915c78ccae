using System.Net.Http.Headers;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Part10;

namespace CameraBridge.Dicom.Web;

/// <summary>Reads the data sets of an answer that is in memory, whichever of the two models it is in. Servers mislabel; a body that begins like JSON is JSON.</summary>
internal static class WebAnswers
{
    /// <summary>What an answer may cost: it names objects, and holds no pixels.</summary>
    public static readonly ReadLimits Limits = new() { MaxElements = 2_000_000, MaxDepth = 16, MaxElementBytes = 1024 * 1024 };

    /// <summary>One data set: a JSON object or an array of one, or an XML document, alone or as the only part of a multipart body.</summary>
    /// <exception cref="MalformedException">There is none.</exception>
    public static async Task<DataSet> ReadDataSetAsync(MediaTypeHeaderValue? contentType, ReadOnlyMemory<byte> body, CancellationToken cancellationToken)
    {
        IReadOnlyList<DataSet> dataSets = await ReadAsync(contentType, body, cancellationToken).ConfigureAwait(false);
        return dataSets.Count == 1 ? dataSets[0] : throw new MalformedException(0, "", "one data set was due");
    }

    /// <summary>Any number of data sets: a JSON array, or XML documents as the parts of a multipart body.</summary>
    /// <exception cref="MalformedException">It is neither.</exception>
    public static async Task<IReadOnlyList<DataSet>> ReadAsync(MediaTypeHeaderValue? contentType, ReadOnlyMemory<byte> body, CancellationToken cancellationToken)
    {
        if (contentType?.MediaType?.StartsWith("multipart/", StringComparison.OrdinalIgnoreCase) == true)
        {
            var dataSets = new List<DataSet>();
            using var stream = new MemoryStream(body.ToArray(), writable: false);
            var reader = new MultipartReader(stream, MultipartReader.BoundaryOf(contentType));
            while (await reader.ReadNextAsync(cancellationToken).ConfigureAwait(false) is { } part)
            {
                using var bytes = new MemoryStream();
                await part.Body.CopyToAsync(bytes, cancellationToken).ConfigureAwait(false);
                dataSets.AddRange(ReadPart(bytes.GetBuffer().AsMemory(0, (int)bytes.Length)));
            }

            return dataSets;
        }

        return ReadPart(body);
    }

    private static IReadOnlyList<DataSet> ReadPart(ReadOnlyMemory<byte> body)
    {
        ReadOnlySpan<byte> ByteOrderMark = [0xEF, 0xBB, 0xBF];
        if (body.Span.StartsWith(ByteOrderMark))
        {
            body = body[ByteOrderMark.Length..];
        }

        ReadOnlySpan<byte> first = body.Span.TrimStart(" \t\r\n"u8);
        return first.IsEmpty ? throw new MalformedException(0, "", "the answer is empty")
            : first[0] == '<' ? [DicomXml.Read(body, Limits)]
            : DicomJson.ReadArray(body, null, Limits);
    }
}

/// <summary>The parts of an address.</summary>
internal static class WebPaths
{
    /// <summary>A UID as it may stand in an address.</summary>
    /// <exception cref="ArgumentException">It has other characters than a UID, and could lead elsewhere.</exception>
    public static string Uid(string uid) =>
        uid.Length is > 0 and <= Uids.MaximumLength && uid.All(c => char.IsAsciiDigit(c) || c == '.') && uid.Any(char.IsAsciiDigit) && !uid.Contains("..", StringComparison.Ordinal)
            ? uid
            : throw new ArgumentException("A UID has digits and dots, 64 characters at most (PS3.5 section 9.1).", nameof(uid));
}
